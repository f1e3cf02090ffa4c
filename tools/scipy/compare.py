#!/usr/bin/python3
"""Holds what the Go code made of the same data against SciPy, to 1e-9 where both
define it alike, and times the plain SciPy way of reading the same features.

usage: compare.py FOLDER   (written by compare.sh)
Prints two tables as Markdown. Ends with 1 when a figure differs."""

import json
import math
import os
import platform
import sys
import time

import numpy as np
import scipy
from scipy import fft, ndimage, optimize, signal, special, stats

TOLERANCE = 1e-9
RUNS = 15
folder = sys.argv[1]
with open(os.path.join(folder, "go.json")) as f:
    go = json.load(f)


def data(name):
    return np.fromfile(os.path.join(folder, name), dtype="<f8")


def clopper_pearson(k, n, level):
    ci = stats.binomtest(int(k), int(n)).proportion_ci(level, method="exact")
    return [ci.low, ci.high]


def poisson_limits(k, level):
    a = (1 - level) / 2
    return [stats.chi2.ppf(a, 2 * k) / 2 if k > 0 else 0.0, stats.chi2.ppf(1 - a, 2 * k + 2) / 2]


def grubbs(n, alpha):
    t = stats.t.ppf(1 - alpha / n, n - 2)
    return [(n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))]


def spectrum(x):
    c = fft.rfft(x)
    return np.column_stack([c.real, c.imag]).ravel()


def minmax(x, n):
    b = x.reshape(-1, int(n))
    return np.column_stack([b.min(axis=1), b.max(axis=1)]).ravel()


def moving_mean(x, n):
    return ndimage.uniform_filter1d(x, int(n), mode="nearest")


def parabola(x, first, n):
    y = x[int(first):int(first + n)]
    m = (n - 1) / 2
    c2, c1, c0 = np.polyfit(np.arange(n) - m, y, 2)
    if c2 >= 0:
        return [m, y.mean()]
    top = -c1 / (2 * c2)
    return [m + top, c0 + c1 * top + c2 * top * top] if abs(top) <= m else [m, c0]


def savgol(x, half, dt):
    half = int(half)
    return signal.savgol_filter(x, 2 * half + 1, 1, deriv=1, delta=dt)[half:len(x) - half]


def t_quantile(p, nu):
    # scipy's own is good to 1e-9 (636.6192494 where tan(0.4995 pi) = 636.6192488): a
    # step of Newton's with scipy's distribution makes it exact
    q = stats.t.ppf(p, nu)
    return [q + (stats.t.sf(q, nu) - (1 - p)) / stats.t.pdf(q, nu)]


FUNCTIONS = {
    "median": lambda x: [np.median(x)],
    "mad": lambda x: [stats.median_abs_deviation(x, scale="normal")],
    "quantile": lambda x, p: [np.quantile(x, p)],
    "spearman": lambda x, y: [stats.spearmanr(x, y).correlation],
    "slope": lambda x, y: [stats.linregress(x, y).slope],
    "clopper_pearson": clopper_pearson,
    "binomtest": lambda k, n, p: [stats.binomtest(int(k), int(n), p).pvalue],
    "binom_sf": lambda k, n, p: [stats.binom.sf(k - 1, n, p)],
    "poisson_limits": poisson_limits,
    "fisher": lambda a, b, c, d: [stats.fisher_exact([[a, b], [c, d]])[1]],
    "t_ppf": t_quantile,
    "t_two": lambda t, nu: [2 * stats.t.sf(t, nu)],
    "grubbs": grubbs,
    "moving_mean": moving_mean,
    "savgol_slope": savgol,
    "rfft": spectrum,
    # scipy gives half of the sum of squares that the fitted sine explains
    "lombscargle": lambda y, t, *hz: 2 * signal.lombscargle(t - t[0], y, 2 * math.pi * np.array(hz)),
    "minmax": minmax,
    "parabola": parabola,
}


def compare():
    rows, bad = {}, 0
    for c in go["cases"]:
        args = [data(c[k]) for k in ("data", "more") if c.get(k)] + c["args"]
        want, got = np.asarray(FUNCTIONS[c["fn"]](*args), dtype=float), np.asarray(c["go"], dtype=float)
        if c["fn"] == "moving_mean":  # at the ends the two differ by definition
            n = int(c["args"][0])
            want, got = want[n:-n], got[n:-n]
        if want.shape != got.shape:
            print(f"{c['name']}: {len(got)} values, SciPy has {len(want)}", file=sys.stderr)
            bad += 1
            continue
        size = np.abs(want).max()
        error = float(np.abs(want - got).max() / size) if size > 0 else float(np.abs(got).max())
        row = rows.setdefault(c["fn"], [c["name"], 0, 0, 0.0])
        row[1] += 1
        row[2] += len(want)
        row[3] = max(row[3], error)
        if not error <= TOLERANCE:
            print(f"{c['name']} {c['args']}: off by {error:.3g} of its size", file=sys.stderr)
            bad += 1
    print("| compared | inputs | figures | greatest difference, of the size |\n| --- | ---: | ---: | ---: |")
    for name, inputs, figures, error in rows.values():
        name = name.rstrip("0123456789").removesuffix(" of ")
        print(f"| {name} | {inputs} | {figures} | {error:.1e} |")
    return bad


def secondary(x, rate):
    """Firings, firing height, burn time, level and slope of the spark line, swings
    after it, scatter: what the Go reading of the trace gives as well."""
    noise = stats.median_abs_deviation(np.diff(x), scale="normal") / math.sqrt(2)
    base = np.median(x)
    y = x - base
    peaks, _ = signal.find_peaks(y, height=max(0.3 * y.max(), 8 * noise), distance=int(8e-3 * rate))
    heights, burns, levels, slopes, rings = [], [], [], [], []
    for p in peaks:
        after = y[p:p + int(8e-3 * rate)]
        smooth = ndimage.median_filter(after, 11)
        line = np.median(smooth[int(0.1e-3 * rate):int(0.6e-3 * rate)])
        below = np.nonzero(smooth[int(50e-6 * rate):] < 0.5 * line)[0]
        if len(below) == 0:
            continue
        end = below[0] + int(50e-6 * rate)
        part = smooth[int(0.1 * end):int(0.9 * end)]
        fit = stats.linregress(np.arange(len(part)) / rate, part)
        swings, _ = signal.find_peaks(np.abs(after[end:end + int(2e-3 * rate)]), height=6 * noise, distance=int(30e-6 * rate))
        heights.append(y[p])
        burns.append(end / rate)
        levels.append(np.median(part))
        slopes.append(fit.slope)
        rings.append(len(swings))
    for v in (heights, burns, levels, slopes, rings):
        np.median(v), stats.median_abs_deviation(v, scale="normal")
    return {"firing": np.median(heights), "burn": np.median(burns)}


def middle(v):
    """Median and its standard uncertainty from the scatter, as every reading has."""
    v = np.asarray(v)
    return np.median(v), 1.2533 * stats.median_abs_deviation(v, scale="normal") / math.sqrt(len(v))


def ramp(t, i0, s, k):
    return i0 + s * -np.expm1(-k * t) / k


def primary(x, rate):
    """Dwell, peak, slope, R and L, step, shelf and droop of each rise with their
    uncertainties: a fit past the winding's ring, one taken back to where the ring
    begins, and one of the first part alone for the lack of fit, as in the Go reading."""
    noise = stats.median_abs_deviation(np.diff(x), scale="normal") / math.sqrt(2)
    on = x > 0.1 * np.quantile(x, 0.999)
    edges = np.diff(on.astype(np.int8))
    starts, stops = np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0]
    rows, settle, back = [], int(30e-6 * rate), max(1, int(20e-6 * rate))
    for a in starts:
        b = stops[np.searchsorted(stops, a)] if a < stops[-1] else None
        if b is None or b - a < 0.5e-3 * rate or a < 1e-3 * rate or b + 1e-3 * rate > len(x):
            continue
        before = np.median(x[a - int(1e-3 * rate):a - 2])
        after = np.median(x[b + int(0.3e-3 * rate):b + int(1e-3 * rate)])
        y = x[a + 1:b]
        t = np.arange(len(y)) / rate
        end = np.median(y[-5:]) - before
        shelf = np.count_nonzero(y - before > end - max(0.03 * end, 2.5 * noise)) / rate
        first = max(settle, len(y) * 35 // 100)
        fit, cov = optimize.curve_fit(ramp, t[first:], y[first:], p0=[y[0], (y[-1] - y[0]) / t[-1], 100.0])
        n = (first - settle) // back
        if n > 0:  # the blocks before it, from the nearest one back, that lie on the curve
            off = (y[first - n * back:first] - ramp(t[first - n * back:first], *fit)).reshape(n, back).mean(axis=1)
            far = np.nonzero(np.abs(off) > max(1.5 * noise, 0.006 * end))[0]
            first -= (n - 1 - far[-1] if len(far) else n) * back
        fit, cov = optimize.curve_fit(ramp, t[first:], y[first:], p0=fit)
        cut = first + (len(y) - first) * 6 // 10
        early, _ = optimize.curve_fit(ramp, t[first:cut], y[first:cut], p0=fit)
        start = -math.log(max(1e-9, 1 - fit[2] * (before - fit[0]) / fit[1])) / fit[2]
        slope = fit[1] * math.exp(-fit[2] * start)
        dwell = (b - a) / rate - start - 1 / rate
        lead = x[a - int(0.25e-3 * rate):a + 3] - before
        left = np.nonzero(np.abs(lead) > max(5 * noise, 0.02 * end))[0]
        step = ramp((left[0] - len(lead) + 3) / rate, *fit) - before if len(left) else 0.0
        top = ramp(t[-1], *fit) - before
        flat = np.count_nonzero(y == y.max())
        droop = (before - after) / (slope * dwell * dwell / 2)
        rows.append((dwell, top, slope, fit[2], early[2] - fit[2], shelf, step, droop, flat, math.sqrt(cov[1, 1]), math.sqrt(cov[2, 2])))
    out = [middle(v) for v in np.array(rows).T]
    slope, k = out[2], out[3]
    tau = 1 / k[0]
    lack = max(0.0, abs(out[4][0]) - 2 * out[4][1]) / 2 + max(0.0, abs(out[7][0]) - 2 * out[7][1])
    k_sd = math.hypot(max(k[1], out[10][0] / math.sqrt(len(rows))), lack)
    inductance = 13.5 / slope[0]
    return {"dwell": out[0][0], "peak": out[1][0], "inductance": inductance, "resistance": inductance / tau, "resistance_sd": inductance * k_sd, "clipped": out[8][0] >= 4}


def cranking(x, rate, volt, sync, cylinders):
    """Humps of the starter current, crest and hump (from its feet on either side) of
    each cylinder by the sync with their uncertainties, mean current and speed with
    theirs, lowest voltages, and how far the lowest hump is below the others."""
    block = int(rate / 1000)
    y = x[:len(x) // block * block].reshape(-1, block).mean(axis=1)
    high, low = np.quantile(y, 0.75), np.quantile(y, 0.02)
    run = np.nonzero(y > low + 0.3 * (high - low))[0]
    before = y[:max(1, run[0] - 10)]
    zero, zero_sd = middle(before)
    y = y - zero
    inrush = y[run[0]:run[0] + 300].max()
    first, last = run[0] + 300, run[-1] - 50
    y = y[first:last]
    mean = y.mean()
    smooth = signal.sosfiltfilt(signal.butter(3, 40, fs=1000, output="sos"), y)
    z = y - ndimage.uniform_filter1d(y, 601)
    r = signal.correlate(z, z, mode="full", method="fft")[len(z) - 1:]
    tops, _ = signal.find_peaks(r[:2000], height=0.3 * r[0])
    period = tops[0]
    peaks, _ = signal.find_peaks(smooth, distance=int(0.65 * period), prominence=0.3 * smooth.std())
    half = period // 8
    peaks = peaks[(peaks >= half) & (peaks < len(y) - half - 1)]
    fits = [parabola(y, p - half, 2 * half + 1) for p in peaks]
    crests = np.array([f[1] for f in fits])
    places = np.array([p - half + f[0] for p, f in zip(peaks, fits)])
    # the foot between two humps is a parabola about the lowest point, turned over
    ends = np.concatenate([[max(half, peaks[0] - int(0.7 * period))], peaks, [min(len(y) - half - 1, peaks[-1] + int(0.7 * period))]])
    lows = [a + smooth[a:b].argmin() for a, b in zip(ends, ends[1:])]
    lows = np.clip(lows, half, len(y) - half - 1)
    feet = np.array([-parabola(-y, k - half, 2 * half + 1)[1] for k in lows])
    humps = crests - (feet[:-1] + feet[1:]) / 2
    whole = y[:len(y) // period * period].reshape(-1, period).mean(axis=1)
    mean_sd = math.hypot(middle(whole)[1], 0.02 * mean)
    turns = np.diff(places)
    period_now, period_sd = middle(turns)
    even = np.all((turns > 0.7 * period) & (turns < 1.4 * period))
    # how often it swings through its own middle, in the first and the second half
    fine, slow = ndimage.uniform_filter1d(y, max(3, period // 12)), ndimage.uniform_filter1d(y, 2 * period)
    halves = [np.count_nonzero(np.diff(np.sign(np.where(np.abs(d) > stats.median_abs_deviation(p, scale="normal") / 3, d, 0))) > 0)
              for p, d in zip(np.array_split(fine, 2), np.array_split(fine - slow, 2))]
    # each over the mean of the cycle about it
    weights = np.ones(cylinders + 1)
    weights[[0, -1]] = 0.5
    ratio, hump_ratio = (v / ndimage.convolve1d(v, weights / weights.sum(), mode="nearest") for v in (crests, humps))
    level = sync > (sync.min() + sync.max()) / 2
    edges = np.diff(level.astype(np.int8))
    up, down = np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0]
    mid = (up[:len(down)] + down[:len(up)]) / 2 / block - first
    mid = mid[(mid > places[0] - period / 2) & (mid < places[-1] + period / 2)]
    nearest = np.abs(places[None, :] - mid[:, None]).argmin(axis=1)
    one = np.bincount(nearest % cylinders, minlength=cylinders).argmax()
    offset = np.median(mid - places[nearest]) / period
    each = [middle(ratio[(one + c) % cylinders::cylinders]) for c in range(cylinders)]
    values = np.array([m for m, _ in each]) * crests.mean()
    sds = np.hypot(np.array([s for _, s in each]) * crests.mean(), np.hypot(zero_sd, 0.0015 * values))
    each = [middle(hump_ratio[(one + c) % cylinders::cylinders]) for c in range(cylinders)]
    hump_values = np.array([m for m, _ in each]) * humps.mean()
    hump_sds = np.hypot(np.array([s for _, s in each]) * humps.mean(), 0.005 * humps.mean())
    # what repeats after another number of humps than there are cylinders
    scatter = {n: stats.median_abs_deviation(crests[n:] - crests[:-n], scale="normal") for n in (3, 4, 5, 6, 8, 10, 12) if len(crests) - n >= 6}
    volts = ndimage.uniform_filter1d(volt, int(2e-3 * rate))
    rest = np.median(volt[:max(1, (run[0] - 10) * block)])
    dip, lowest = volts[run[0] * block:last * block].min(), volts[first * block:last * block].min()
    worst = hump_values.argmin()
    others = (hump_values.sum() - hump_values[worst]) / (cylinders - 1)
    doubt = math.sqrt(2) * special.erfinv(1 - 0.10 / cylinders) * hump_sds[worst] / others
    return {"rpm": 120 / (cylinders * period_now * 1e-3), "current": mean, "lowest": lowest, "first_cylinder": values[0], "first_hump": hump_values[0]}


def best(runs, f):
    """The least processor time of several runs: on a machine with other work the wall
    clock measures that."""
    least, out = math.inf, None
    for _ in range(runs):
        begin = time.process_time()
        out = f()
        least = min(least, time.process_time() - begin)
    return least, out


def speed():
    bad, times = 0, {}
    for name, f in (("secondary", secondary), ("primary", primary), ("cranking", cranking)):
        x, have = data(name), go["features"][name]
        more = (data("cranking_volt"), data("cranking_sync"), 4) if f is cranking else ()
        times["features: " + name], got = best(RUNS, lambda: f(x, have["rate"], *more))
        for k, v in got.items():  # the same job, or the times say nothing
            if k in have and abs(v / have[k] - 1) > 0.05:
                print(f"{name}: {k} is {v:.5g} here and {have[k]:.5g} in Go", file=sys.stderr)
                bad += 1
    x = data("million")
    times["FFT of 2^20"], _ = best(RUNS, lambda: fft.rfft(x))
    times["256 FFTs of 2^12"], _ = best(RUNS, lambda: fft.rfft(x.reshape(256, -1), axis=1))
    times["moving mean of 41 over 2^20"], _ = best(RUNS, lambda: ndimage.uniform_filter1d(x, 41))
    times["least and greatest of 64 over 2^20"], _ = best(RUNS, lambda: minmax(x, 64))
    times["median of 2^20"], _ = best(RUNS, lambda: np.median(x))
    times["MAD sigma of 2^20"], _ = best(RUNS, lambda: stats.median_abs_deviation(x, scale="normal"))
    print(f"\n| processor time, best of {RUNS} | Go, ms | SciPy, ms | Go is faster by | goal | |\n| --- | ---: | ---: | ---: | ---: | --- |")
    for name, mine in times.items():
        theirs = go["times"][name]
        goal = 10 if name.startswith("features") else 0.5
        ratio = mine / theirs
        print(f"| {name} | {1e3 * theirs:.2f} | {1e3 * mine:.2f} | {ratio:.2f} x | {goal:g} x | {'reached' if ratio >= goal else 'MISSED'} |")
    return bad


print(f"Go code against SciPy {scipy.__version__}, NumPy {np.__version__}, Python {platform.python_version()}, one core.\n")
failed = compare()
failed += speed()
sys.exit(1 if failed else 0)
