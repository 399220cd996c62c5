"""Holds what Spark finds in folders of logbooks against `season --all-in --json`, to the last digit but a median's and a
slope's last. Measures nothing itself, but how long each took.

    python compare.py HINGEWRIGHT MANY_RESULTS

A spoiled club (three logbooks, see `tests/club.py`), and one of 100,000 results in ten logbooks. Ends with exit status 1 and
the differences where there are any.
"""

import json
import math
import pathlib
import subprocess
import sys
import tempfile
import time

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))
import club

ROWS = 100_000
differences = []


def same(what, found, wanted):
    if found != wanted:
        differences.append(f"{what}: {found!r} by Spark, {wanted!r} by season")


def by_spark(folder, without, may_end):
    command = [sys.executable, HERE / "read_logbook.py", "--json", f"{folder}/*/results"]
    began = time.monotonic()
    done = subprocess.run([*command, *(["--without", *without] if without else [])], capture_output=True, text=True)
    if done.returncode != may_end:
        sys.exit(f"Spark: exit status {done.returncode}\n{done.stderr}")
    rows = [json.loads(line) for line in done.stdout.splitlines() if line.startswith("{")]
    return rows, done.stderr, time.monotonic() - began


def compare(what, rows, told):
    own = club.own_aircraft(told)
    wanted = club.surfaces(told)
    found, others, slopes = {}, 0, 0
    for row in rows:
        key = (pathlib.Path(row["logbook"]).name, row["aircraft"], row["surface"], row["quantity"])
        if key[:2] in own:
            found[key] = row
        elif row["quantity"] == "slop_deg":
            others += row["count"]
    same(f"{what}: of another aircraft", others, told["recordings"]["of_other_aircraft"])
    same(f"{what}: what is followed", sorted(found), sorted(wanted))
    for key in found.keys() & wanted.keys():
        row, one = found[key], wanted[key]
        same(f"{what}, {key}: count and latest", (row["count"], row["latest"]), (one["count"], one["latest"]["value"]))
        # Of an even count the median is a mean: its last bit depends on the order of adding.
        if not math.isclose(row["median"], one["median"], rel_tol=1e-14, abs_tol=1e-300):
            differences.append(f"{what}, {key}: median {row['median']} by Spark, {one['median']} by season")
        trend = one["trend"]
        # Where nothing was set aside, no baseline began anew and days are what it is per.
        if trend and row["slope"] is not None and trend["per"] == "30 days" and not one["set_aside"] and one["in_baseline"] == one["count"]:
            slopes += 1
            if not math.isclose(row["slope"], trend["slope"], rel_tol=1e-9, abs_tol=1e-15):
                differences.append(f"{what}, {key}: slope {row['slope']} by Spark, {trend['slope']} by season")
    return len(found), slopes


def spoiled(program, folder):
    club.make(program, folder)
    told = club.told(program, folder)
    named = club.named_files(told)
    # Without being told, it names the file that is cut off; the one of another version only the program knows.
    _, said, _ = by_spark(folder, [], may_end=2)
    same("a spoiled club: named", [f for f in named if f in said], named[:1])
    rows, _, seconds = by_spark(folder, named, may_end=0)
    count, slopes = compare("a spoiled club", rows, told)
    if slopes < 10:
        differences.append(f"a spoiled club: only {slopes} slopes were compared")
    print(f"a spoiled club: {count} quantities agree, {slopes} slopes among them; Spark took {seconds:.1f} s")


def large(program, many_results, folder):
    subprocess.run([many_results, folder, str(ROWS), "4"], check=True, stdout=subprocess.DEVNULL)
    began = time.monotonic()
    told = club.told(program, folder)
    ours = time.monotonic() - began
    same("a large club: results", told["recordings"]["used"], ROWS)
    rows, _, seconds = by_spark(folder, [], may_end=0)
    count, _ = compare("a large club", rows, told)
    print(f"{ROWS} results: {count} quantities agree; season took {ours:.1f} s, Spark {seconds:.1f} s")


def main():
    program, many_results = (str(pathlib.Path(path).resolve(strict=True)) for path in sys.argv[1:])
    for test in (lambda f: spoiled(program, f), lambda f: large(program, many_results, f)):
        with tempfile.TemporaryDirectory() as folder:
            test(pathlib.Path(folder).resolve())
    if differences:
        sys.exit("\n".join(differences))
    print("Spark and season --all-in agree")


if __name__ == "__main__":
    main()
