"""The job of `check` done straightforwardly with NumPy and SciPy, as a yardstick for speed.

    python3 benches/straightforward.py [--alternating] RECORDING...

For each capture with a torque sensor: parse lines and check each CRC, smooth and differentiate the angle
(Savitzky-Golay), find strokes, friction as half the difference of the branches, a knee on either side by grid search of
least squares, and 95 % intervals from the scatter between strokes. Prints the results, and the seconds that a recording
takes. What an able engineer would write in an afternoon: vectorised where that comes naturally, nothing slowed down,
nothing tuned. It does less than `check`: no supply power, tight spots, slop, throws, load or verdict.

The two knees are searched jointly, every place on one side with every place on the other, which cannot miss the best
pair. --alternating searches one side, then the other, twice: several times cheaper, and usually the same answer.

Linear algebra runs on one thread: with more, libraries spend longer on handing over such small problems than on solving
them (measured on two busy cores: over ten times slower), and a yardstick must not win or lose by that.
"""

import os

for library in ("OMP", "OPENBLAS", "MKL"):
    os.environ.setdefault(f"{library}_NUM_THREADS", "1")

import binascii
import itertools
import pathlib
import sys
import time

import numpy as np
import scipy.signal
import scipy.stats

SMOOTHING_S = 0.1
SLOWEST_DEG_S = 2.0
SHORTEST_STROKE_DEG = 5.0
AFTER_REVERSAL_DEG = 4.0
KNEE_STEP_DEG = 0.5
KNEE_FROM_DEG = 4.0
KNEE_TO_END_DEG = 2.0
FALSE_ALARM = 0.001


def parse(raw):
    """Columns by channel name, with t_s and the counts of damaged and lost samples. The last start of the rig counts."""
    channels, rows, damaged = [], [], 0
    for line in raw.split(b"\n"):
        line = line.rstrip(b"\r")
        if not line or line.startswith(b"#"):
            continue
        payload, star, crc = line.rpartition(b"*")
        try:
            # crc_hqx with 0xFFFF is CRC-16/IBM-3740.
            good = star and len(crc) == 4 and int(crc, 16) == binascii.crc_hqx(payload, 0xFFFF)
            fields = payload.decode("ascii").split(",")
            if not good:
                damaged += 1
            elif fields[0] == "RIG":
                channels, rows = fields[6:], []
            elif fields[0] == "S" and len(fields) == 3 + len(channels):
                rows.append([float(f) if f else np.nan for f in fields[1:]])
        except ValueError:
            damaged += 1
    table = np.array(rows).reshape(-1, 2 + len(channels))
    sequence = unwrap(table[:, 0], 2.0**16)
    columns = {name: table[:, 2 + k] for k, name in enumerate(channels)}
    columns["t_s"] = unwrap(table[:, 1], 2.0**32) * 1e-6
    lost = int(sequence[-1] - sequence[0] + 1 - len(sequence)) if len(sequence) else 0
    return columns, damaged, lost


def unwrap(counter, period):
    steps = np.diff(counter, prepend=counter[:1])
    return counter[:1].sum() + np.cumsum(np.where(steps < 0, steps + period, steps))


def even(t, values, step):
    """Values on an even grid: lost samples and missing readings are bridged by straight lines."""
    grid = np.arange(t[0], t[-1], step)
    seen = np.isfinite(values)
    return np.interp(grid, t[seen], values[seen])


def strokes(angle, speed):
    """Slices of steady motion in one direction, the stretch just after each reversal left out, with +1 or -1."""
    direction = np.where(speed > SLOWEST_DEG_S, 1, np.where(speed < -SLOWEST_DEG_S, -1, 0))
    edges = np.flatnonzero(np.diff(direction)) + 1
    found = []
    for start, end in zip(np.r_[0, edges], np.r_[edges, len(direction)]):
        sign = direction[start]
        if sign == 0 or abs(angle[end - 1] - angle[start]) < SHORTEST_STROKE_DEG:
            continue
        settled = np.flatnonzero(sign * (angle[start:end] - angle[start]) > AFTER_REVERSAL_DEG)
        if settled.size:
            found.append((slice(start + settled[0], end), sign))
    return found


def half_difference(angle, torque, found):
    """Friction: half the mean distance of up and down branches over the angles that all strokes cover."""
    low = max(angle[s].min() for s, _ in found)
    high = min(angle[s].max() for s, _ in found)
    grid = np.linspace(low, high, 60)
    branch = {1: [], -1: []}
    for s, sign in found:
        order = np.argsort(angle[s])
        branch[sign].append(np.interp(grid, angle[s][order], torque[s][order]))
    if not branch[1] or not branch[-1]:
        return np.array([])
    pairs = min(len(branch[1]), len(branch[-1]))
    return np.array([(u - d).mean() / 2 for u, d in zip(branch[1][:pairs], branch[-1][:pairs])])


def design(angle, speed, sign, up, down):
    columns = [np.ones_like(angle), angle, sign, speed]
    if up is not None:
        columns.append(np.maximum(0.0, angle - up))
    if down is not None:
        columns.append(-np.maximum(0.0, down - angle))
    return np.column_stack(columns)


def sum_of_squares(x, y):
    coefficients, *_ = np.linalg.lstsq(x, y, rcond=None)
    residual = y - x @ coefficients
    return residual @ residual, coefficients


def search_jointly(ups, downs, score):
    pairs = list(itertools.product(ups if len(ups) else [None], downs if len(downs) else [None]))
    scores = [score(up, down) for up, down in pairs]
    best = int(np.argmin(scores))
    return (*pairs[best], scores[best])


def search_alternating(ups, downs, score):
    up = down = None
    for _ in range(2):
        if len(ups):
            up = ups[int(np.argmin([score(c, down) for c in ups]))]
        if len(downs):
            down = downs[int(np.argmin([score(up, c) for c in downs]))]
    return up, down, score(up, down)


def knees(angle, speed, sign, torque, search):
    """Grid search of least squares over both sides; a knee is kept where an F test says so."""
    ups = np.arange(KNEE_FROM_DEG, angle.max() - KNEE_TO_END_DEG, KNEE_STEP_DEG)
    downs = np.arange(angle.min() + KNEE_TO_END_DEG, -KNEE_FROM_DEG, KNEE_STEP_DEG)

    def score(up, down):
        return sum_of_squares(design(angle, speed, sign, up, down), torque)[0]

    up, down, best = search(ups, downs, score)
    left = len(torque) - 8
    limit = 1 + scipy.stats.f.ppf(1 - FALSE_ALARM, 2, left) * 2 / left
    keep_up = up is not None and score(None, down) > limit * best
    keep_down = down is not None and score(up, None) > limit * best
    return (up if keep_up else None), (down if keep_down else None)


def mean_and_interval(values):
    values = np.asarray(values)
    if values.size < 2:
        return (values.mean() if values.size else np.nan), np.nan
    half = scipy.stats.t.ppf(0.975, values.size - 1) * values.std(ddof=1) / np.sqrt(values.size)
    return values.mean(), half


def check(raw, search):
    columns, damaged, lost = parse(raw)
    if "angle_deg" not in columns or "torque_ncm" not in columns or len(columns["t_s"]) < 50:
        return "no angle and torque to work with"
    step = float(np.median(np.diff(columns["t_s"])))
    angle = even(columns["t_s"], columns["angle_deg"], step)
    torque = even(columns["t_s"], columns["torque_ncm"], step)
    window = max(5, int(SMOOTHING_S / step) | 1)
    smooth = scipy.signal.savgol_filter(angle, window, 2)
    speed = scipy.signal.savgol_filter(angle, window, 2, deriv=1, delta=step)
    found = strokes(smooth, speed)
    if len(found) < 2:
        return f"{len(found)} strokes: too few"
    friction, friction_half = mean_and_interval(half_difference(smooth, torque, found))
    used = np.concatenate([np.arange(s.start, s.stop) for s, _ in found])
    sign = np.concatenate([np.full(s.stop - s.start, float(d)) for s, d in found])
    up, down = knees(smooth[used], speed[used], sign, torque[used], search)
    slopes = []
    for s, d in found:
        x = design(smooth[s], speed[s], np.full(s.stop - s.start, float(d)), up, down)
        slopes.append(sum_of_squares(x, torque[s])[1][1])
    slope, slope_half = mean_and_interval(slopes)
    return (
        f"{len(columns['t_s'])} samples, {lost} lost, {damaged} damaged, {len(found)} strokes; "
        f"stiffness {slope:.4f} ± {slope_half:.4f} N·cm/deg, friction {friction:.3f} ± {friction_half:.3f} N·cm, "
        f"knees up {up}, down {down}"
    )


def main():
    names = [a for a in sys.argv[1:] if a != "--alternating"]
    if not names:
        print(__doc__)
        return 2
    search = search_alternating if "--alternating" in sys.argv[1:] else search_jointly
    seconds = []
    for name in names:
        start = time.perf_counter()
        result = check(pathlib.Path(name).read_bytes(), search)
        seconds.append(time.perf_counter() - start)
        print(f"{name}: {result}")
    print(f"{len(seconds)} recordings, {np.mean(seconds):.3f} s a recording (median {np.median(seconds):.3f} s)")
    return 0


if __name__ == "__main__":
    sys.exit(main())
