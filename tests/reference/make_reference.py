"""Computes with NumPy, SciPy, statsmodels and pymannkendall what the Rust code is compared with, for one small recording-like data set.

    python3 -m venv venv && venv/bin/pip install -r tests/reference/requirements.txt
    venv/bin/python tests/reference/make_reference.py          # writes recording.csv and reference.json
    venv/bin/python tests/reference/make_reference.py --check  # computes again, compares with what is stored

The recording is invented: a surface swept up and down three times, torque with stiffness, friction, offset, a knee
that the fit does not know of, noise and a few wild samples; from a fixed seed.
"""

import argparse
import json
import math
import pathlib
import sys

import numpy as np
import pymannkendall
import scipy.optimize
import scipy.integrate
import scipy.optimize
import scipy.signal
import scipy.stats
import statsmodels.api as sm
from statsmodels.formula.api import ols as ols_by_formula
from statsmodels.stats.anova import anova_lm
import pandas

HERE = pathlib.Path(__file__).resolve().parent
SEED = 20260402
RATE_HZ = 200.0
SAVGOL_CASES = [(11, 1), (11, 2), (21, 3), (31, 4)]
T_CASES = [(p, df) for df in (1, 2, 3, 4.5, 9, 17.776, 30, 120, 1e4) for p in (0.005, 0.3, 0.9, 0.975, 0.9995)]
WELCH_CASES = [[[0, 10], [400, 415]], [[0, 120], [600, 900]], [[100, 105], [120, 320]]]
# Arm, horn, rod, base in mm; arm at neutral away from square, degrees.
LINKAGES = [[18, 22, 95, 97, 0], [14, 18, 78, 80, -8], [20, 20, 93, 90, 0], [25, 14, 102, 100, 12], [16, 24, 101, 95, 5], [26, 16, 80, 80, 0], [12, 26, 60, 66, -15]]
LINKAGE_ARMS_DEG = [-35, -20, -5, 0, 10, 25, 40]
FLAP_SHARES = (0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.7, 0.95)
# Libraries and processors may differ in the last digits; a wrong formula differs in the first.
RELATIVE = 1e-8
ABSOLUTE = 1e-10


def make_recording():
    """Columns t_s, angle_deg, torque_ncm; rounded as they are stored, so that all readers see the same numbers."""
    rng = np.random.default_rng(SEED)
    n = 1200
    t = np.arange(n) / RATE_HZ
    period_s = 2.0
    phase = (t / period_s) % 1.0
    angle = np.where(phase < 0.5, -20.0 + 80.0 * phase, 60.0 - 80.0 * phase)
    moving_up = np.where(phase < 0.5, 1.0, -1.0)
    torque = 0.8 + 0.42 * angle + 3.1 * moving_up + 0.9 * np.maximum(0.0, angle - 15.0)
    torque += rng.normal(0.0, 0.35, n)
    wild = rng.choice(n, 18, replace=False)
    torque[wild] += rng.normal(0.0, 25.0, wild.size)
    angle = np.round((angle + rng.normal(0.0, 0.02, n)) / (360.0 / 4096.0)) * (360.0 / 4096.0)
    return np.round(t, 6), np.round(angle, 6), np.round(torque, 4)


def write_recording(path):
    t, angle, torque = make_recording()
    lines = ["t_s,angle_deg,torque_ncm"]
    lines += [f"{a:.6f},{b:.6f},{c:.4f}" for a, b, c in zip(t, angle, torque)]
    path.write_text("\n".join(lines) + "\n")


def branches(angle):
    """+1 where the angle rises over five samples either way, −1 elsewhere: a comparison, exact in any language."""
    n = angle.size
    ahead = angle[np.minimum(np.arange(n) + 5, n - 1)]
    behind = angle[np.maximum(np.arange(n) - 5, 0)]
    return np.where(ahead > behind, 1.0, -1.0)


def ols(design, torque):
    fit = sm.OLS(torque, design).fit()
    return {
        "coefficients": fit.params.tolist(),
        "standard_errors": fit.bse.tolist(),
        "residual_sd": math.sqrt(fit.scale),
        "degrees_of_freedom": int(fit.df_resid),
    }


def wls(design, torque, angle):
    fit = sm.WLS(torque, design, weights=1.0 / (1.0 + (angle / 10.0) ** 2)).fit()
    return {"coefficients": fit.params.tolist(), "standard_errors": fit.bse.tolist(), "residual_sd": math.sqrt(fit.scale)}


def huber(design, torque):
    model = sm.RLM(torque, design, M=sm.robust.norms.HuberT(t=1.345))
    # Scale: median |residual| about zero over 0.6745, anew each round; covariance: Huber's first ("H1").
    fit = model.fit(scale_est="mad", cov="H1", conv="coefs", tol=1e-13, maxiter=500)
    return {
        "coefficients": fit.params.tolist(),
        "standard_errors": fit.bse.tolist(),
        "scale": float(fit.scale),
        "weights_below_one": int(np.sum(fit.weights < 1.0)),
    }


def savgol(torque):
    out = []
    for window, order in SAVGOL_CASES:
        smooth = scipy.signal.savgol_filter(torque, window, order, mode="interp")
        slope = scipy.signal.savgol_filter(torque, window, order, deriv=1, delta=1.0 / RATE_HZ, mode="interp")
        out.append({"window": window, "order": order, "smooth": smooth.tolist(), "derivative": slope.tolist()})
    return out


def welch(torque):
    """After − before, unequal variances; stretches of the recording stand for two samples."""
    out = []
    for before, after in WELCH_CASES:
        found = scipy.stats.ttest_ind(torque[slice(*after)], torque[slice(*before)], equal_var=False)
        interval = found.confidence_interval(0.95)
        out.append({
            "before": before, "after": after, "t": float(found.statistic), "df": float(found.df), "p": float(found.pvalue),
            "lo95": float(interval.low), "hi95": float(interval.high),
        })
    return out


def series():
    """Two years of invented readings at uneven days: without ties, with ties in both, and seven of no trend."""
    days = [0, 9, 16, 30, 41, 55, 60, 77, 90, 104, 118, 131, 150, 163, 181]
    rising = [3.1, 3.05, 3.22, 3.18, 3.3, 3.27, 3.41, 3.36, 3.52, 3.47, 9.9, 3.6, 3.58, 3.71, 3.69]
    tied_days = [0, 7, 7, 14, 21, 21, 28, 35, 42, 49, 56, 56]
    tied = [5, 5, 4, 6, 6, 7, 6, 8, 7, 8, 9, 8]
    flat = [1.2, 0.9, 1.1, 1.3, 0.8, 1.15, 1.05]
    return [(days, rising), (tied_days, tied), (list(range(7)), flat)]


def trends():
    out = []
    for x, y in series():
        slope, at_zero, low, high = scipy.stats.theilslopes(y, x, alpha=0.95, method="separate")
        test = pymannkendall.original_test(y)
        case = {"x": x, "y": y, "slope": float(slope), "at_zero": float(at_zero), "interval": [float(low), float(high)]}
        case |= {"s": int(test.s), "variance": float(test.var_s), "z": float(test.z), "p_normal": float(test.p)}
        # Counted over all orders, where there is no tie.
        exact = len(set(y)) == len(y)
        counted = scipy.stats.kendalltau(range(len(y)), y, method="exact").pvalue if exact else None
        out.append(case | {"p_counted": counted and float(counted)})
    return out


def plain_flap(share):
    """Lift and hinge-moment slopes of a plain flap, per radian, by quadrature of the vortex sheet's pressure jump.

    Thin-aerofoil theory (H. Glauert, ARC R&M 1095): for attack the jump over the dynamic pressure is 4 cot(t/2); for
    deflection 4 [(pi - p)/pi cot(t/2) + 1/pi ln |sin((t + p)/2)/sin((t - p)/2)|], the Fourier series summed.
    """
    p = math.acos(2.0 * share - 1.0)

    def by_attack(t):
        return 4.0 / math.tan(t / 2.0)

    def by_deflection(t):
        sheet = math.log(abs(math.sin((t + p) / 2.0) / math.sin((t - p) / 2.0)))
        return 4.0 / math.pi * ((math.pi - p) / math.tan(t / 2.0) + sheet)

    def over(function, low, high):
        return scipy.integrate.quad(function, low, high, epsabs=1e-13, epsrel=1e-13, limit=400)[0]

    def lift(jump):
        return 0.5 * (over(lambda t: jump(t) * math.sin(t), 0.0, p) + over(lambda t: jump(t) * math.sin(t), p, math.pi))

    def hinge(jump):
        arm = over(lambda t: jump(t) * (math.cos(p) - math.cos(t)) * math.sin(t), p, math.pi)
        return -arm / (4.0 * share * share)

    found = {"a1": lift(by_attack), "a2": lift(by_deflection), "b1": hinge(by_attack), "b2": hinge(by_deflection)}
    return {"share": share} | {name: float(value) for name, value in found.items()}


def known_angles():
    """What an angle sensor reads at known angles: fives from end to end, some held twice; errors in both, unlike each other."""
    known = [-20.0, -10.0, 0.0, 10.0, 20.0, 20.0, 0.0]
    known_u = [0.2, 0.2, 0.1, 0.2, 0.3, 0.2, 0.1]
    read = [-18.91, -9.04, 0.93, 10.42, 20.61, 20.33, 0.71]
    read_u = [0.05, 0.02, 0.02, 0.1, 0.02, 0.05, 0.15]
    return np.array(known), np.array(known_u), np.array(read), np.array(read_u)


def line_with_errors_in_both():
    """known = a + b * read by least squares over a, b and the true readings; then zero = -a / b and the covariance of b, zero."""
    known, known_u, read, read_u = known_angles()

    def residuals(p):
        a, b, true = p[0], p[1], p[2:]
        return np.concatenate([(true - read) / read_u, (a + b * true - known) / known_u])

    fit = scipy.optimize.least_squares(residuals, np.concatenate([[0.0, 1.0], read]), xtol=1e-15, ftol=1e-15, gtol=1e-15)
    a, b = fit.x[:2]
    covariance = np.linalg.inv(fit.jac.T @ fit.jac)[:2, :2]
    by = np.array([[0.0, 1.0], [-1.0 / b, a / b**2]])
    return {
        "known": known.tolist(), "known_u": known_u.tolist(), "read": read.tolist(), "read_u": read_u.tolist(),
        "slope": float(b), "zero": float(-a / b), "covariance": (by @ covariance @ by.T).tolist(), "chi2": float(2.0 * fit.cost),
    }


def power_balance():
    """A servo's four numbers from levels of supply power, copper's temperature known to 1.5 K; scatter above chance enlarges."""
    rng = np.random.default_rng(SEED + 1)
    arm_m, gravity, per_k, noise_w2_s = 0.06, 9.80665, 0.00393, 4e-6
    rows = [(0.0, 0.0, 1.0, "rest")] * 3
    for mass in (0.0, 0.2, 0.5, 0.8):
        for speed in (0.5, 1.6):
            rows += [(mass, speed, 0.6 / speed, "lift")] * 3
    mass = np.array([r[0] for r in rows])
    speed = np.array([r[1] for r in rows])
    span = np.array([r[2] for r in rows])
    lifts = np.array([r[3] == "lift" for r in rows])
    sigma = np.sqrt(noise_w2_s / span)

    def power(p):
        idle, winding, friction, gear, kelvin = p
        x = np.where(lifts, (1.0 + gear) * gravity * mass * arm_m + friction, 0.0)
        return idle + winding * (1.0 + per_k * kelvin) * x**2 + speed * x

    measured = np.round(power([0.21, 8.4, 0.06, 0.18, 0.0]) + 1.3 * sigma * rng.normal(size=len(rows)), 7)

    def fitted(enlarged, start):
        def residuals(p):
            return np.append((power(p) - measured) / (enlarged * sigma), p[4] / 1.5)

        return scipy.optimize.least_squares(residuals, start, jac="3-point", x_scale=[0.1, 1, 0.01, 0.1, 1], xtol=1e-15, ftol=1e-15, gtol=1e-15)

    first = fitted(1.0, [0.2, 8.0, 0.05, 0.2, 0.0])
    df = len(rows) - 4
    per_df = 2.0 * first.cost / df
    fit = fitted(max(1.0, math.sqrt(per_df)), first.x)
    wider = scipy.stats.t.ppf(0.975, df) / scipy.stats.norm.ppf(0.975)
    errors = wider * np.sqrt(np.diag(np.linalg.inv(fit.jac.T @ fit.jac)))[:4]
    return {
        "noise_w2_s": noise_w2_s, "mass": mass.tolist(), "speed": speed.tolist(), "span": span.tolist(), "power": measured.tolist(),
        "values": fit.x[:4].tolist(), "standard_errors": errors.tolist(), "chi2_per_df": float(per_df),
    }


def module_temperatures():
    """Thermal performance of power modules, degrees C per watt: ten parts, three operators, three times each.

    R. E. Houf, D. B. Burman, Statistical analysis of power module thermal test equipment performance, IEEE Transactions on
    Components, Hybrids, and Manufacturing Technology 11 (1988) 516; the data as reprinted in the SAS/STAT 14.2 User's Guide, chapter
    "The VARCOMP Procedure", example 123.2.
    """
    return [
        [[37, 38, 37], [41, 41, 40], [41, 42, 41]],
        [[42, 41, 43], [42, 42, 42], [43, 42, 43]],
        [[30, 31, 31], [31, 31, 31], [29, 30, 28]],
        [[42, 43, 42], [43, 43, 43], [42, 42, 42]],
        [[28, 30, 29], [29, 30, 29], [31, 29, 29]],
        [[42, 42, 43], [45, 45, 45], [44, 46, 45]],
        [[25, 26, 27], [28, 28, 30], [29, 27, 27]],
        [[40, 40, 40], [43, 42, 42], [43, 43, 41]],
        [[25, 25, 25], [27, 29, 28], [26, 26, 26]],
        [[35, 34, 34], [35, 35, 34], [35, 34, 35]],
    ]


def gauge_study():
    """statsmodels' table of a crossed gauge study, and of one part of it by itself; limits of the sum by SciPy's chi-square."""
    cells = module_temperatures()
    rows = [(i, j, y) for i, row in enumerate(cells) for j, cell in enumerate(row) for y in cell]
    frame = pandas.DataFrame(rows, columns=["part", "person", "y"])
    table = anova_lm(ols_by_formula("y ~ C(part) * C(person)", frame).fit(), typ=2)
    rows = ["C(part)", "C(person)", "C(part):C(person)", "Residual"]
    squares = [[float(table["sum_sq"][row] / table["df"][row]), float(table["df"][row])] for row in rows]
    one = frame[frame.part == 6]
    alone = anova_lm(ols_by_formula("y ~ C(person)", one).fit(), typ=2)
    single = [[float(alone["sum_sq"][row] / alone["df"][row]), float(alone["df"][row])] for row in ("C(person)", "Residual")]
    # Variance of the measurement, all of it: (MS_person + 9 MS_both + 20 MS_error) / 30, and its modified large-sample limits.
    terms = [(1 / 30, *squares[1]), (9 / 30, *squares[2]), (20 / 30, *squares[3])]
    value = sum(c * ms for c, ms, _ in terms)
    short = sum((c * ms * (1 - df / scipy.stats.chi2.ppf(0.975, df))) ** 2 for c, ms, df in terms)
    over = sum((c * ms * (df / scipy.stats.chi2.ppf(0.025, df) - 1)) ** 2 for c, ms, df in terms)
    return {
        "cells": cells, "mean_squares": squares, "one_part": 6, "one_part_mean_squares": single,
        "person_f": float(squares[1][0] / squares[3][0]), "person_p": float(scipy.stats.f.sf(squares[1][0] / squares[3][0], 2, 60)),
        "measurement": [float(value), float(value - math.sqrt(short)), float(value + math.sqrt(over))],
        "f_quantiles": [
            [p, a, b, float(scipy.stats.f.ppf(p, a, b))]
            for p in (0.025, 0.5, 0.975) for a in (1, 2, 7.5) for b in (1, 4, 60, 300)
        ],
        "chi_square_quantiles": [[p, df, float(scipy.stats.chi2.ppf(p, df))] for p in (0.025, 0.3, 0.975) for df in (1, 2, 4.4, 60)],
    }


def compute(path):
    _, angle, torque = np.loadtxt(path, delimiter=",", skiprows=1, unpack=True)
    design = np.column_stack([np.ones_like(angle), angle, branches(angle)])
    return {
        "made_by": "make_reference.py",
        "ols": ols(design, torque),
        "wls": wls(design, torque, angle),
        "huber": huber(design, torque),
        "t_quantiles": [[p, df, float(scipy.stats.t.ppf(p, df))] for p, df in T_CASES],
        "t_two_sided_p": [[t, df, float(2 * scipy.stats.t.sf(t, df))] for t in (0.1, 1.0, 2.5, 8.0) for df in (1, 4.5, 30)],
        "welch": welch(torque),
        # A part of the signal keeps the stored file small; edges included.
        "savgol_samples": 120,
        "savgol": savgol(torque[:120]),
        "quantiles": [[p, float(np.quantile(torque, p))] for p in (0.025, 0.25, 0.5, 0.9)],
        "trends": trends(),
        "linkages": [linkage(*lengths) for lengths in LINKAGES],
        "plain_flap": [plain_flap(share) for share in FLAP_SHARES],
        "line_with_errors_in_both": line_with_errors_in_both(),
        "power_balance": power_balance(),
        "gauge_study": gauge_study(),
        "mad": float(scipy.stats.median_abs_deviation(torque, scale="normal")),
    }


def linkage(arm, horn, rod, base, zero_deg):
    """The closed loop arm + rod = base + horn by a root solver, followed from neutral; angles positive towards the hinge."""
    neutral = math.radians(90.0 - zero_deg)

    def loop(unknown, phi):
        psi, gamma = unknown
        return [
            arm * math.cos(phi) + rod * math.cos(gamma) - base - horn * math.cos(psi),
            arm * math.sin(phi) + rod * math.sin(gamma) - horn * math.sin(psi),
        ]

    def slopes(unknown, _):
        psi, gamma = unknown
        return [[horn * math.sin(psi), -rod * math.sin(gamma)], [-horn * math.cos(psi), rod * math.cos(gamma)]]

    def tip(phi):
        return arm * math.cos(phi), arm * math.sin(phi)

    def length(psi):
        x, y = tip(neutral)
        return math.hypot(base + horn * math.cos(psi) - x, horn * math.sin(psi) - y) - rod

    x, y = tip(neutral)
    towards = math.atan2(y, x - base)
    psi = scipy.optimize.brentq(length, towards - math.pi, towards, xtol=1e-14)
    start = [psi, math.atan2(horn * math.sin(psi) - y, base + horn * math.cos(psi) - x)]

    def at(arm_deg):
        unknown = np.array(start)
        for part in np.linspace(0.0, 1.0, 2 + int(abs(arm_deg) * 4)):
            phi = neutral - math.radians(arm_deg * part)
            found = scipy.optimize.root(loop, unknown, args=(phi,), jac=slopes, tol=1e-14)
            if not found.success and max(map(abs, loop(found.x, phi))) > 1e-9:
                return None
            unknown = found.x
        phi = neutral - math.radians(arm_deg)
        by_phi = [arm * math.sin(phi), -arm * math.cos(phi)]
        ratio = np.linalg.solve(slopes(unknown, phi), by_phi)[0]
        return math.degrees(start[0] - unknown[0]), float(ratio)

    def ends(sign):
        """Arm angles where it turns back, by the ratio's zero, or where the loop opens, by the reach from hinge to arm tip."""

        def reach(arm_deg):
            tip_x, tip_y = tip(neutral - math.radians(arm_deg))
            return math.hypot(tip_x - base, tip_y)

        last = 0.0
        for arm_deg in np.arange(1.0, 175.0) * sign:
            for limit in (rod + horn, abs(rod - horn)):
                if (reach(arm_deg) - limit) * (reach(last) - limit) < 0:
                    return "horn", scipy.optimize.brentq(lambda a: reach(a) - limit, last, arm_deg, xtol=1e-13)
            if at(arm_deg)[1] < 0:
                return "arm", scipy.optimize.brentq(lambda a: at(a)[1], last, arm_deg, xtol=1e-13)
            last = arm_deg
        return "none", None

    rows = [[deg, *(at(deg) or (None, None))] for deg in LINKAGE_ARMS_DEG]
    return {"lengths": [arm, horn, rod, base, zero_deg], "rows": rows, "ends": [list(ends(1)), list(ends(-1))]}


def differences(stored, fresh, where=""):
    if isinstance(stored, dict) and isinstance(fresh, dict):
        for key in sorted(stored.keys() | fresh.keys()):
            yield from differences(stored.get(key), fresh.get(key), f"{where}.{key}")
    elif isinstance(stored, list) and isinstance(fresh, list) and len(stored) == len(fresh):
        for i, (a, b) in enumerate(zip(stored, fresh)):
            yield from differences(a, b, f"{where}[{i}]")
    elif isinstance(stored, (int, float)) and isinstance(fresh, (int, float)):
        if not math.isclose(stored, fresh, rel_tol=RELATIVE, abs_tol=ABSOLUTE):
            yield f"{where}: stored {stored}, computed {fresh}"
    elif stored != fresh:
        yield f"{where}: stored {stored!r}, computed {fresh!r}"


def check():
    recording, reference = HERE / "recording.csv", HERE / "reference.json"
    # Draws of a random generator are only promised to stay the same within a version: the stored file counts, and
    # whether the generator still makes it is said apart.
    fresh_recording = HERE / "recording.csv.fresh"
    write_recording(fresh_recording)
    same = fresh_recording.read_bytes() == recording.read_bytes()
    fresh_recording.unlink()
    found = [] if same else ["recording.csv: the generator now makes another file"]
    found += differences(json.loads(reference.read_text()), compute(recording))
    for line in found[:20]:
        print(line)
    print(f"{len(found)} differences between the stored reference and what is computed now")
    return 1 if found else 0


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true", help="compare with the stored files and write nothing")
    if parser.parse_args().check:
        return check()
    write_recording(HERE / "recording.csv")
    (HERE / "reference.json").write_text(json.dumps(compute(HERE / "recording.csv"), indent=1) + "\n")
    print(f"wrote {HERE / 'recording.csv'} and {HERE / 'reference.json'}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
