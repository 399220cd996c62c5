"""A folder of logbooks with something of everything in it, and what `season --all-in` says of a folder. For the tests that
ask other programs the same: it reads no result itself and compares nothing.
"""

import datetime
import json
import pathlib
import shutil
import subprocess
import sys

SAMPLES = pathlib.Path(__file__).resolve().parent.parent / "samples"
QUANTITIES = (
    "stiffness_ncm_per_deg",
    "friction_ncm",
    "slop_deg",
    "rest_deg",
    "hold_neutral_ma",
    "share_of_stall",
    "lead_mohm",
)
VERSION = b"hingewright.result/1"


def run(program, folder, *arguments, may_end=(0, 1)):
    done = subprocess.run([program, *arguments], cwd=folder, capture_output=True, text=True)
    if done.returncode not in may_end:
        sys.exit(f"{' '.join(arguments)}: exit status {done.returncode}\n{done.stderr}")
    return done.stdout


def weeks(recordings, sample, first, count):
    """The same sample under other times, each a little shorter, so that no two are alike."""
    lines = next(SAMPLES.glob(sample)).read_bytes().split(b"\n")
    lines = [line for line in lines if not line.startswith(b"# started=")]
    recordings.mkdir(exist_ok=True)
    for week in range(count):
        day = first + datetime.timedelta(weeks=week)
        kept = [f"# started={day}T09:00:00Z".encode(), *lines[: len(lines) - 300 * week], b""]
        (recordings / f"{day}-{sample[0]}.log").write_bytes(b"\n".join(kept))


def logbook(program, root, name, weeks_of):
    root.mkdir(parents=True)
    for file in SAMPLES.glob("*.toml"):
        shutil.copy(file, root)
    text = (root / "aircraft.toml").read_text(encoding="utf-8")
    (root / "aircraft.toml").write_text(text.replace('name = "Dunlin"', f'name = "{name}"'), encoding="utf-8")
    for sample, first, count in weeks_of:
        weeks(root / "recordings", sample, first, count)
    run(program, root, "recheck", "--logbook", ".")


def make(program, folder):
    """Three logbooks: one sound, one spoiled in every way, one without its aircraft file and of a name to be escaped."""
    may = datetime.date(2026, 5, 1)
    logbook(program, folder / "sound", "Dunlin", [("1-*.log", may, 8), ("2-*.log", may, 6)])
    logbook(program, folder / "bare", "Möwe 50% / a=b", [("1-*.log", may, 5)])
    (folder / "bare/aircraft.toml").unlink()
    spoiled = folder / "spoiled"
    logbook(program, spoiled, "Plover", [("1-*.log", may, 9), ("1-*.log", datetime.date(2126, 1, 1), 1)])
    left = spoiled / "results/aircraft=Plover/surface=left%20elevator"
    files = sorted(left.glob("2026*.parquet"))
    # The surface had another name then.
    (left.parent / "surface=elevator").mkdir()
    for file in files[:2]:
        file.rename(left.parent / "surface=elevator" / file.name)
    # Another aircraft's result got into this logbook.
    other = spoiled / "results/aircraft=Heron/surface=rudder"
    other.mkdir(parents=True)
    shutil.copy(files[2], other)
    # Cut off, and of another version.
    whole = files[3].read_bytes()
    files[3].write_bytes(whole[: len(whole) // 2])
    files[4].write_bytes(files[4].read_bytes().replace(VERSION, VERSION[:-1] + b"7"))


def told(program, folder):
    """`season --all-in --json`, whatever its exit status."""
    out = run(program, folder, "season", "--json", "--all-in", ".", may_end=(0, 1, 2))
    return json.loads(out)


def surfaces(club):
    """(logbook, aircraft, surface, quantity): what is said of it."""
    found = {}
    for one in club["logbooks"]:
        for subject in one["subjects"]:
            for quantity in subject["quantities"] if subject["kind"] == "surface" else []:
                key = (pathlib.Path(one["logbook"]).name, one["aircraft"], subject["name"], quantity["quantity"])
                found[key] = quantity
    return found


def named_files(club):
    """The results that could not be used, by the paths that were named."""
    said = [remark for one in club["logbooks"] for remark in one["remarks"]]
    said = [remark.removeprefix("Not used: ") for remark in said if remark.startswith("Not used: ")]
    return sorted(remark[: remark.index(".parquet") + len(".parquet")] for remark in said)


def own_aircraft(club):
    """(logbook, aircraft) pairs that are told; a result of another pair is left out, and counted."""
    return {(pathlib.Path(one["logbook"]).name, one["aircraft"]) for one in club["logbooks"]}
