"""Reads logbooks with Spark alone: a season's counts, medians, latest values and slopes of every surface.

Java 17 or later and `pip install pyspark`; `tests/spark/run` sets both up, and holds the answers against the program's.

    python read_logbook.py LOGBOOK/results                   # a table; or a club's: 'CLUB/*/results'
    python read_logbook.py --json 'CLUB/*/results'           # one line of JSON a row
    python read_logbook.py 'CLUB/*/results' --without FILE…  # without results that `season` could not use

A path may be any that Spark can read, on object storage too. Results that give no row (damaged ones) are named, and the
exit status is 2 unless they are among those left out.
"""

import argparse
import json
import sys
import urllib.parse

from pyspark.sql import SparkSession
from pyspark.sql.functions import input_file_name

QUANTITIES = (
    "stiffness_ncm_per_deg",
    "friction_ncm",
    "slop_deg",
    "rest_deg",
    "hold_neutral_ma",
    "share_of_stall",
    "lead_mohm",
)
# A file of an older program has fewer columns; asked for by name, those that are missing are null.
COLUMNS = "id string, started timestamp, finished boolean, purpose string, " + ", ".join(f"{q} double" for q in QUANTITIES)

# The season of `readings`. All pairs of a long series are too many: from 300 readings on there is no slope here.
SEASON = """
WITH counted AS (
    SELECT logbook, aircraft, surface, quantity, count(value) AS count, percentile(value, 0.5) AS median,
        max_by(value, started) AS latest
    FROM readings GROUP BY logbook, aircraft, surface, quantity
), short AS (
    SELECT readings.* FROM readings JOIN counted USING (logbook, aircraft, surface, quantity) WHERE count <= 300
), slopes AS (
    SELECT a.logbook, a.aircraft, a.surface, a.quantity,
        percentile((b.value - a.value) / ((unix_micros(b.started) - unix_micros(a.started)) / 1e6), 0.5) * 86400 * 30 AS slope
    FROM short a JOIN short b USING (logbook, aircraft, surface, quantity) WHERE a.started < b.started
    GROUP BY a.logbook, a.aircraft, a.surface, a.quantity
)
SELECT * FROM counted LEFT JOIN slopes USING (logbook, aircraft, surface, quantity)
ORDER BY logbook, aircraft, surface, quantity
"""


def local(path):
    """A path of this machine without its scheme; any other as it is."""
    return path.removeprefix("file://") if path.startswith("file:///") else path.removeprefix("file:")


def plain(uri):
    """`input_file_name` is a URI, in which the folders' own % is escaped once more."""
    return local(urllib.parse.unquote(uri))


def main():
    parser = argparse.ArgumentParser(description="A season's counts, medians, latest values and slopes, by Spark.")
    parser.add_argument("paths", nargs="+")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--without", nargs="+", default=[], metavar="FILE")
    asked = parser.parse_args()
    spark = SparkSession.builder.appName("logbook").config("spark.ui.enabled", "false").getOrCreate()
    spark.sparkContext.setLogLevel("ERROR")
    spark.conf.set("spark.sql.session.timeZone", "UTC")
    spark.conf.set("spark.sql.files.ignoreCorruptFiles", "true")
    # A shuffle of few rows: hundreds of tasks would take longer than the work.
    spark.conf.set("spark.sql.shuffle.partitions", "8")
    # Of several logbooks Spark takes the folders' columns for a conflict: they are taken from the files' names instead.
    every = {"recursiveFileLookup": "true", "pathGlobFilter": "*.parquet"}
    rows = spark.read.schema(COLUMNS).options(**every).parquet(*asked.paths).withColumn("file", input_file_name()).cache()
    read = {row.file for row in rows.select("file").distinct().collect()}
    there = spark.read.format("binaryFile").options(**every).load(asked.paths).select("path").collect()
    without = {local(file) for file in asked.without}
    left = [file for file in read if plain(file) in without]
    rows = rows.where(~rows.file.isin(left)) if left else rows
    rows = rows.where("finished AND started <= now() AND NOT (purpose <=> 'break-in')")
    pairs = ", ".join(f"'{name}', {name}" for name in QUANTITIES)
    long = rows.selectExpr(
        "substring_index(file, '/results/', 1) AS logbook",
        "url_decode(url_decode(regexp_extract(file, '/aircraft=([^/]*)/surface=', 1))) AS aircraft",
        "url_decode(url_decode(regexp_extract(file, '/surface=([^/]*)/[^/]*$', 1))) AS surface",
        "started",
        f"stack({len(QUANTITIES)}, {pairs}) AS (quantity, value)",
    )
    long.where("value IS NOT NULL").createOrReplaceTempView("readings")
    season = spark.sql(SEASON)
    if asked.json:
        for row in season.collect():
            print(json.dumps({**row.asDict(), "logbook": plain(row.logbook)}, ensure_ascii=False))
    else:
        season.show(1000, truncate=False)
    lost = sorted({local(row.path) for row in there} - {plain(file) for file in read} - without)
    for file in lost:
        print(f"no row could be read: {file}", file=sys.stderr)
    sys.exit(2 if lost else 0)


if __name__ == "__main__":
    main()
