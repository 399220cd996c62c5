"""Reads logbooks with Spark alone and prints a season's counts, medians and latest values.

Run by hand, with a Java runtime (17 or later) and `pip install pyspark`; CI does not run it.

    python read_logbook.py LOGBOOK/results          # or a club's: 'CLUB/*/results'
"""

import sys

from pyspark.sql import SparkSession

QUANTITIES = (
    "stiffness_ncm_per_deg",
    "friction_ncm",
    "slop_deg",
    "rest_deg",
    "hold_neutral_ma",
    "share_of_stall",
    "lead_mohm",
)


def main():
    spark = SparkSession.builder.appName("logbook").config("spark.ui.enabled", "false").getOrCreate()
    spark.sparkContext.setLogLevel("ERROR")
    # Surfaces and aircraft may be called 7 or 2026-04-18: they are text.
    spark.conf.set("spark.sql.sources.partitionColumnTypeInference.enabled", "false")
    results = spark.read.parquet(sys.argv[1])
    rows = results.where("finished AND started <= now() AND NOT (purpose <=> 'break-in')")
    pairs = ", ".join(f"'{name}', {name}" for name in QUANTITIES)
    long = rows.selectExpr("aircraft", "surface", "started", f"stack({len(QUANTITIES)}, {pairs}) AS (quantity, value)")
    long.where("value IS NOT NULL").createOrReplaceTempView("readings")
    print(f"{rows.count()} recordings")
    spark.sql(
        "SELECT aircraft, surface, quantity, count(value) AS count, percentile(value, 0.5) AS median,"
        " max_by(value, started) AS latest FROM readings GROUP BY aircraft, surface, quantity"
        " ORDER BY aircraft, surface, quantity"
    ).show(1000, truncate=False)


if __name__ == "__main__":
    main()
