"""Judges the results that TestResultsForComparison wrote: everything is worked
out again with SciPy and NumPy, by other algorithms where there are any."""
import json
import sys
from decimal import Decimal, getcontext

import numpy as np
from scipy import signal, stats

getcontext().prec = 60
with open(sys.argv[1]) as f:
    data = json.load(f)
bad = 0
worst = {}
count = {}


def check(what, got, want, tol, relative=True):
    global bad
    scale = max(abs(want), 1e-300) if relative else 1.0
    off = abs(got - want) / scale
    worst[what] = max(worst.get(what, 0.0), off)
    count[what] = count.get(what, 0) + 1
    if not off <= tol:
        bad += 1
        print(f"{what}: got {got!r}, SciPy {want!r}: off by {off:.3g}, allowed {tol:g}")


def frozen(part):
    u = part["U"]
    if part["Shape"] == "t":
        return stats.t(part["Dof"], scale=u)
    if part["Shape"] == "rectangular":
        a = u * np.sqrt(3)
        return stats.uniform(-a, 2 * a)
    if part["Shape"] == "triangular":
        a = u * np.sqrt(6)
        return stats.triang(0.5, -a, 2 * a)
    return stats.norm(0, u)


# Budgets: densities on a grid, convolved by FFT.
cells = 1 << 16
for e in data["Combine"]:
    u = np.sqrt(sum(p["U"] ** 2 for p in e["Parts"]))
    reach = 80 * u
    edge = np.linspace(-reach, reach, cells + 2)
    h = edge[1] - edge[0]
    total = None
    for p in e["Parts"]:
        cdf = frozen(p).cdf(edge)
        cdf[0], cdf[-1] = 0.0, 1.0
        mass = np.diff(cdf)
        total = mass if total is None else signal.fftconvolve(total, mass)
    mid = (len(total) - 1) / 2
    acc = np.cumsum(total)
    at = (np.arange(len(total)) - mid + 0.5) * h
    for x, got in zip(e["X"], e["CDF"]):
        check("convolved probability", got, float(np.interp(x, at, acc)), 5e-6, relative=False)
    held = np.interp(e["U95"], at, acc) - np.interp(-e["U95"], at, acc)
    check("probability within U95", 0.95, float(held), 5e-6, relative=False)

# Least squares: orthogonal decomposition.
for e in data["Fit"]:
    y = np.array(e["Y"])
    x = np.column_stack([np.ones(len(y)), np.array(e["X"])])
    coef, *_ = np.linalg.lstsq(x, y, rcond=None)
    res = y - x @ coef
    dof = len(y) - x.shape[1]
    sd = np.sqrt(res @ res / dof)
    se = sd * np.sqrt(np.diag(np.linalg.inv(x.T @ x)))
    tss = ((y - y.mean()) ** 2).sum()
    r2 = 1 - res @ res / tss
    for a, b in zip(e["Coef"], coef):
        check("fit: coefficient", a, b, 1e-9)
    for a, b in zip(e["SE"], se):
        check("fit: standard uncertainty", a, b, 1e-8)
    check("fit: residual sd", e["SD"], sd, 1e-10)
    check("fit: R2", e["R2"], r2, 1e-10)
    check("fit: F", e["F"], (r2 / (x.shape[1] - 1)) / ((1 - r2) / dof), 1e-8)
    poly = np.polynomial.Polynomial.fit(np.array(e["PolyX"]), y, e["PolyDegree"]).convert().coef
    scale = max(abs(poly))
    for a, b in zip(e["PolyCoef"], poly):
        check("fit: polynomial", a / scale, b / scale, 1e-8, relative=False)

for e in data["OneWay"]:
    f, p = stats.f_oneway(*e["Groups"])
    check("one way: F", e["F"], f, 1e-10)
    check("one way: p", e["P"], p, 1e-9)

# Crossed studies: sums of squares by projection.
for e in data["Crossed"]:
    c = np.array(e["Cells"])  # part, person, trial
    p, o, r = c.shape
    grand = c.mean()
    by_part, by_person, by_cell = c.mean(axis=(1, 2)), c.mean(axis=(0, 2)), c.mean(axis=2)
    ss = {
        "parts": o * r * ((by_part - grand) ** 2).sum(),
        "people": p * r * ((by_person - grand) ** 2).sum(),
        "people x parts": r * ((by_cell - by_part[:, None] - by_person[None, :] + grand) ** 2).sum(),
        "repeatability": ((c - by_cell[:, :, None]) ** 2).sum(),
        "total": ((c - grand) ** 2).sum(),
    }
    dof = {"parts": p - 1, "people": o - 1, "people x parts": (p - 1) * (o - 1), "repeatability": p * o * (r - 1), "total": p * o * r - 1}
    ms = {k: ss[k] / dof[k] for k in ss}
    under = {"parts": "people x parts", "people": "people x parts", "people x parts": "repeatability"}
    for s in e["Table"]:
        n = s["Name"]
        check("study: sum of squares", s["SS"], ss[n], 1e-10)
        if n in under:
            f = ms[n] / ms[under[n]]
            check("study: F", s["F"], f, 1e-9)
            check("study: p", s["P"], stats.f.sf(f, dof[n], dof[under[n]]), 1e-8)
    inter = max(0.0, (ms["people x parts"] - ms["repeatability"]) / r)
    people = max(0.0, (ms["people"] - ms["people x parts"]) / (p * r))
    parts = max(0.0, (ms["parts"] - ms["people x parts"]) / (o * r))
    both = ms["repeatability"] + inter + people
    for name, v in {"repeatability": ms["repeatability"], "people x parts": inter, "people": people, "parts": parts, "set-up": both, "total": both + parts}.items():
        check("study: component", e["SD"][name], np.sqrt(v), 1e-7, relative=v > 1e-12)
    n = dof["repeatability"]
    check("study: interval", e["RepeatLow"], np.sqrt(ss["repeatability"] / stats.chi2.ppf(0.975, n)), 1e-8)
    check("study: interval", e["RepeatHi"], np.sqrt(ss["repeatability"] / stats.chi2.ppf(0.025, n)), 1e-8)

# Plain statistics: sixty-digit decimals.
for e in data["Sample"]:
    v = [Decimal(s) for s in e["Text"]]
    n = len(v)
    mean = sum(v) / n
    d = [x - mean for x in v]
    ss = sum(x * x for x in d)
    check("sample: mean", e["Mean"], float(mean), 1e-15)
    check("sample: sd", e["SD"], float((ss / (n - 1)).sqrt()), 1e-13)
    check("sample: lag-1", e["R1"], float(sum(a * b for a, b in zip(d, d[1:])) / ss), 1e-11, relative=False)

# Monte Carlo against Monte Carlo: probabilities at its quantiles.
rng = np.random.default_rng(12345)
for e in data["Sampled"]:
    n = 400_000
    ab = [v + sum(frozen(p).rvs(n, random_state=rng) for p in parts) for v, parts in zip(e["Values"], e["Parts"])]
    y = np.maximum(ab[0], ab[1]) - ab[0] * ab[1]
    for q, x in zip([0.05, 0.25, 0.5, 0.75, 0.95], e["Quantiles"]):
        check("Monte Carlo: probability", q, float((y <= x).mean()), 0.008, relative=False)

for what in sorted(worst):
    print(f"{what:28s} {count[what]:5d} compared, largest difference {worst[what]:.2g}")
if bad or len(worst) < 15:
    sys.exit(f"{bad} of {sum(count.values())} results differ")
