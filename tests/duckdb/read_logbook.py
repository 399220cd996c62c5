"""Reads a logbook with DuckDB and pyarrow alone, and holds what they find against `check --json`.

A logbook has to be readable without the program that wrote it. This makes one of the samples in a folder that goes away,
lets the program write its results, and asks other programs for them. It measures nothing itself.

    python read_logbook.py HINGEWRIGHT

Ends with exit status 1 and the differences where there are any.
"""

import datetime
import json
import math
import pathlib
import shutil
import subprocess
import sys
import tempfile

import duckdb
import pyarrow.dataset
import pyarrow.parquet

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1]))
import club

SAMPLES = pathlib.Path(__file__).resolve().parents[2] / "samples"

# The README's line, run in the logbook's folder.
ONE_LINE = (
    "SELECT started, surface, round(friction_ncm, 1) AS friction, verdict"
    " FROM read_parquet('results/**/*.parquet', hive_partitioning = true) ORDER BY started"
)

# The README's: a season's counts, medians and latest values, run in the logbook's folder.
SEASON = """
SELECT surface, quantity, count(value) AS count, median(value) AS median, arg_max(value, started) AS latest
FROM (
    UNPIVOT (
        SELECT surface, started, stiffness_ncm_per_deg, friction_ncm, slop_deg, rest_deg, hold_neutral_ma, share_of_stall, lead_mohm
        FROM read_parquet('results/**/*.parquet', hive_partitioning = true)
        WHERE finished AND started <= now() AND purpose IS DISTINCT FROM 'break-in'
    ) ON stiffness_ncm_per_deg, friction_ncm, slop_deg, rest_deg, hold_neutral_ma, share_of_stall, lead_mohm
    INTO NAME quantity VALUE value
)
GROUP BY surface, quantity ORDER BY surface, quantity
"""

# The README's: the same of a folder of logbooks, with its slopes, run in that folder. FILES stands for the files.
CLUB = """
WITH readings AS (
    UNPIVOT (
        SELECT split_part(filename, '/results/', 1) AS logbook, aircraft, surface, started,
            stiffness_ncm_per_deg, friction_ncm, slop_deg, rest_deg, hold_neutral_ma, share_of_stall, lead_mohm
        FROM read_parquet('*/results/**/*.parquet', hive_partitioning = true, hive_types_autocast = false,
            filename = true, union_by_name = true)
        WHERE finished AND started <= now() AND purpose IS DISTINCT FROM 'break-in'
    ) ON stiffness_ncm_per_deg, friction_ncm, slop_deg, rest_deg, hold_neutral_ma, share_of_stall, lead_mohm
    INTO NAME quantity VALUE value
), slopes AS (
    SELECT a.logbook, a.aircraft, a.surface, a.quantity,
        median((b.value - a.value) / (epoch(b.started) - epoch(a.started))) * 86400 * 30 AS slope
    FROM readings a JOIN readings b USING (logbook, aircraft, surface, quantity) WHERE a.started < b.started
    GROUP BY ALL
)
SELECT logbook, aircraft, surface, quantity, count(value) AS count, median(value) AS median,
    arg_max(value, started) AS latest, any_value(slope) AS slope
FROM readings LEFT JOIN slopes USING (logbook, aircraft, surface, quantity) GROUP BY ALL ORDER BY ALL
"""

# The results of another version than the program's, by their files' metadata.
OTHER_VERSIONS = """
SELECT file_name FROM parquet_kv_metadata(?) WHERE decode(key) = 'hingewright.schema' AND decode(value) <> 'hingewright.result/1'
"""

# Column of a quantity: where it stands in the JSON.
QUANTITIES = {
    "stiffness_ncm_per_deg": ("curve", "stiffness_ncm_per_deg"),
    "friction_ncm": ("curve", "friction_ncm"),
    "neutral_torque_ncm": ("curve", "neutral_torque_ncm"),
    "slop_deg": ("slop_deg",),
    "lead_mohm": ("lead_mohm",),
    "peak_torque_ncm": ("load", "peak_torque_ncm"),
    "share_of_stall": ("load", "share_of_stall"),
}
ENDINGS = {"": "value", "_u": "u", "_lo95": "lo95", "_hi95": "hi95"}

differences = []


def said_in_the_readme(what, sql):
    readme = " ".join((SAMPLES.parent / "README.md").read_text().split())
    if " ".join(sql.split()) not in readme:
        differences.append(f"{what}: the README has another SQL")


def same(what, found, wanted):
    if found != wanted:
        differences.append(f"{what}: {found!r} in the logbook, {wanted!r} in the JSON")


def run(program, folder, *arguments):
    done = subprocess.run([program, *arguments], cwd=folder, capture_output=True, text=True)
    # 1 is a fault found in a sample, as there should be.
    if done.returncode > 1:
        sys.exit(f"{' '.join(arguments)}: exit status {done.returncode}\n{done.stderr}")
    return done.stdout


def make_logbook(program, folder):
    (folder / "recordings").mkdir()
    for file in SAMPLES.glob("*.toml"):
        shutil.copy(file, folder)
    for file in SAMPLES.glob("*.log"):
        shutil.copy(file, folder / "recordings")
    # Upright in a folder's name, and never a number: names are text.
    renamed = folder / "aircraft.toml"
    text = renamed.read_text(encoding="utf-8").replace('name = "Dunlin"', 'name = "Dünlin 50% / a=b"')
    renamed.write_text(text, encoding="utf-8")
    print(run(program, folder, "recheck", "--logbook", ".").strip())


def checked(program, folder):
    names = sorted(str(p.relative_to(folder)) for p in folder.glob("recordings/*"))
    lines = run(program, folder, "check", "--json", "--aircraft", "aircraft.toml", *names)
    return {line["recording"]["file"]: line for line in map(json.loads, lines.splitlines())}


def at(line, path):
    for key in path:
        line = line and line[key]
    return line


def compare(row, line, name):
    same(f"{name}: surface", row["surface"], line["recording"]["surface"])
    same(f"{name}: aircraft", row["aircraft"], "Dünlin 50% / a=b")
    for column in ("samples", "lost", "damaged_lines", "restarts", "span_s", "rate_hz", "events"):
        same(f"{name}: {column}", row[column], line["recording"][column])
    for column in ("verdict", "torque_from"):
        same(f"{name}: {column}", row[column], line[column])
    for column, path in QUANTITIES.items():
        quantity = at(line, path) or dict.fromkeys(ENDINGS.values())
        for ending, key in ENDINGS.items():
            same(f"{name}: {column}{ending}", row[column + ending], quantity[key])
    for level in ("stop", "work", "watch"):
        count = sum(f["level"] == level for f in line["findings"])
        same(f"{name}: findings_{level}", row[f"findings_{level}"], count)
    # The pairs' comparison is in both: the logbook's recordings were checked together.
    same(f"{name}: check_json", json.loads(row["check_json"]), line)
    for column, value in row.items():
        if isinstance(value, float) and math.isnan(value):
            differences.append(f"{name}: {column} is NaN")


def by_duckdb(folder, lines):
    connection = duckdb.connect()
    connection.execute(f"SET file_search_path = '{folder}'")
    connection.execute("SET TimeZone = 'UTC'")
    print(connection.sql(ONE_LINE))
    found = connection.execute("SELECT * FROM read_parquet('results/**/*.parquet', hive_partitioning = true)")
    columns = [c[0] for c in found.description]
    rows = [dict(zip(columns, row)) for row in found.fetchall()]
    same("DuckDB: recordings", sorted(r["file"] for r in rows), sorted(lines))
    for row in rows:
        compare(row, lines[row["file"]], f"DuckDB, {row['id']}")
        started = row["started"].astimezone(datetime.timezone.utc)
        text = (folder / row["file"]).read_bytes().split(b"# started=")[1].split()[0].decode()
        same(f"{row['id']}: started", started.strftime("%Y-%m-%dT%H:%M:%SZ"), text)
    asked = (
        "SELECT DISTINCT decode(key) AS key, decode(value) AS value"
        " FROM parquet_kv_metadata('results/**/*.parquet') WHERE decode(key) LIKE 'hingewright.%' ORDER BY key"
    )
    metadata = dict(connection.execute(asked).fetchall())
    same("schema", metadata.get("hingewright.schema"), "hingewright.result/1")
    same("metadata", sorted(metadata), ["hingewright.schema", "hingewright.version"])


def seasons(program, folder):
    """Recordings of eight weeks, and what the program and DuckDB say of the season."""
    club.weeks(folder / "recordings", "1-*.log", datetime.date(2026, 5, 1), 8)
    run(program, folder, "recheck", "--logbook", ".")
    season = json.loads(run(program, folder, "season", "--json", "--logbook", "."))
    told = {}
    for subject in season["subjects"]:
        for one in subject["quantities"] if subject["kind"] == "surface" else []:
            told[subject["name"], one["quantity"]] = (one["count"], one["median"], one["latest"]["value"])
    connection = duckdb.connect()
    connection.execute(f"SET file_search_path = '{folder}'")
    found = {(row[0], row[1]): row[2:] for row in connection.execute(SEASON).fetchall()}
    same("season: what is followed", sorted(found), sorted(told))
    for key, (count, median, latest) in found.items():
        same(f"season, {key}: count and latest", (count, latest), (told[key][0], told[key][2]))
        # Of an even count the median is a mean: its last bit depends on the order of adding.
        if not math.isclose(median, told[key][1], rel_tol=1e-14):
            differences.append(f"season, {key}: median {median} by DuckDB, {told[key][1]} by season")
    print(f"DuckDB and season agree on {len(found)} quantities of {season['recordings']['used']} recordings")


def a_club(program, folder):
    """A folder of logbooks, one of them spoiled: the same files are named, and of the others the same is said."""
    club.make(program, folder)
    told = club.told(program, folder)
    named = club.named_files(told)
    connection = duckdb.connect()
    connection.execute(f"SET file_search_path = '{folder}'")
    files = sorted(str(p) for p in folder.glob("*/results/**/*.parquet"))
    try:
        connection.execute(CLUB).fetchall()
        differences.append("a club: DuckDB reads a file that is cut off")
    except duckdb.Error as error:
        # The query is the README's as it stands, and it names a file that the program names.
        same("a club: the file that DuckDB cannot read", [f for f in named if f[len(str(folder)) :] in str(error)], named[:1])
    whole = [f for f in files if f != named[0]]
    other = [row[0] for row in connection.execute(OTHER_VERSIONS, [whole]).fetchall()]
    same("a club: the files of another version", other, named[1:])
    used = [f for f in whole if f not in other]
    query = CLUB.replace("'*/results/**/*.parquet'", str(used))
    own = club.own_aircraft(told)
    found, others = {}, 0
    for path, aircraft, surface, quantity, *numbers in connection.execute(query).fetchall():
        logbook = pathlib.Path(path).name
        if (logbook, aircraft) in own:
            found[logbook, aircraft, surface, quantity] = numbers
        elif quantity == "slop_deg":
            others += numbers[0]
    same("a club: of another aircraft", others, told["recordings"]["of_other_aircraft"])
    same("a club: later than now", told["recordings"]["in_the_future"], 1)
    wanted = club.surfaces(told)
    same("a club: what is followed", sorted(found), sorted(wanted))
    slopes = 0
    for key, (count, median, latest, slope) in found.items():
        if key not in wanted:
            continue
        one = wanted[key]
        same(f"a club, {key}: count and latest", (count, latest), (one["count"], one["latest"]["value"]))
        if not math.isclose(median, one["median"], rel_tol=1e-14):
            differences.append(f"a club, {key}: median {median} by DuckDB, {one['median']} by season")
        # Where nothing was set aside, no baseline began anew and days are what it is per.
        if one["trend"] and one["trend"]["per"] == "30 days" and not one["set_aside"] and one["in_baseline"] == one["count"]:
            slopes += 1
            if not math.isclose(slope, one["trend"]["slope"], rel_tol=1e-9, abs_tol=1e-15):
                differences.append(f"a club, {key}: slope {slope} by DuckDB, {one['trend']['slope']} by season")
    if slopes < 10:
        differences.append(f"a club: only {slopes} slopes were compared")
    print(f"DuckDB and season --all-in agree on {len(found)} quantities of {len(own)} logbooks, {slopes} slopes among them")


def by_pyarrow(folder, lines):
    results = folder / "results"
    # A program that was killed leaves such a file: nobody reads it.
    next(results.glob("*/*")).joinpath(".hingewright-killed.part").write_bytes(b"PAR1 half")
    table = pyarrow.dataset.dataset(results, format="parquet", partitioning="hive").to_table()
    for row in table.to_pylist():
        compare(row, lines[row["file"]], f"pyarrow, {row['id']}")
    same("pyarrow: recordings", table.num_rows, len(lines))
    file = next(results.rglob("*.parquet"))
    column = pyarrow.parquet.ParquetFile(file).metadata.row_group(0).column(0)
    same("compression", column.compression, "UNCOMPRESSED")


def main():
    program = str(pathlib.Path(sys.argv[1]).resolve(strict=True))
    said_in_the_readme("the one line", ONE_LINE)
    said_in_the_readme("a season", SEASON)
    said_in_the_readme("a folder of logbooks", CLUB)
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder).resolve()
        make_logbook(program, folder)
        lines = checked(program, folder)
        if len(lines) < 6:
            sys.exit(f"only {len(lines)} samples were checked")
        by_duckdb(folder, lines)
        by_pyarrow(folder, lines)
        seasons(program, folder)
    with tempfile.TemporaryDirectory() as folder:
        a_club(program, pathlib.Path(folder).resolve())
    if differences:
        sys.exit("\n".join(differences))
    print(f"DuckDB {duckdb.__version__} and pyarrow {pyarrow.__version__} read {len(lines)} recordings as check --json has them")


if __name__ == "__main__":
    main()
