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
from scipy import fft, ndimage, optimize, signal, stats

TOLERANCE = 1e-9
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


def primary(x, rate):
    """Dwells, peak, and R and L by a fit to each rise."""
    on = x > 0.1 * np.quantile(x, 0.999)
    edges = np.diff(on.astype(np.int8))
    starts, stops = np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0]
    dwells, peaks, inductances = [], [], []
    for a in starts:
        b = stops[np.searchsorted(stops, a)] if a < stops[-1] else None
        if b is None or b - a < 0.5e-3 * rate:
            continue
        y = x[a + 1:b]
        t = np.arange(len(y)) / rate
        fit, cov = optimize.curve_fit(lambda t, i0, s, k: i0 + s * -np.expm1(-k * t) / k, t, y, p0=[y[0], (y[-1] - y[0]) / t[-1], 100.0])
        back = fit[0] / fit[1]
        dwells.append((b - a) / rate + max(back, 0) - 1 / rate)
        peaks.append(np.median(y[-5:]))
        inductances.append(13.5 / (fit[1] + fit[0] * fit[2]))
    return {"dwell": np.median(dwells), "peak": np.median(peaks), "inductance": np.median(inductances)}


def cranking(x, rate):
    """Humps of the starter current, their crests and the speed."""
    block = int(rate / 1000)
    y = x[:len(x) // block * block].reshape(-1, block).mean(axis=1)
    zero = np.median(y[:200])
    y = y - zero
    run = np.nonzero(y > 0.3 * np.quantile(y, 0.75))[0]
    y = y[run[0] + 300:run[-1] - 50]
    smooth = signal.sosfiltfilt(signal.butter(3, 40, fs=1000, output="sos"), y)
    z = smooth - smooth.mean()
    r = signal.correlate(z, z, mode="full", method="fft")[len(z) - 1:]
    tops, _ = signal.find_peaks(r[:2000], height=0.3 * r[0])
    period = tops[0]
    peaks, _ = signal.find_peaks(smooth, distance=int(0.65 * period), prominence=0.3 * smooth.std())
    crests = [parabola(y, p - period // 8, 2 * (period // 8) + 1)[1] for p in peaks if period // 8 <= p < len(y) - period // 8 - 1]
    np.median(crests)
    return {"rpm": 120 / (4 * np.median(np.diff(peaks)) * 1e-3)}


def best(runs, f):
    least, out = math.inf, None
    for _ in range(runs):
        begin = time.perf_counter()
        out = f()
        least = min(least, time.perf_counter() - begin)
    return least, out


def speed():
    bad, times = 0, {}
    for name, f in (("secondary", secondary), ("primary", primary), ("cranking", cranking)):
        x, have = data(name), go["features"][name]
        times["features: " + name], got = best(5, lambda: f(x, have["rate"]))
        for k, v in got.items():  # the same job, or the times say nothing
            if abs(v / have[k] - 1) > 0.05:
                print(f"{name}: {k} is {v:.5g} here and {have[k]:.5g} in Go", file=sys.stderr)
                bad += 1
    x = data("million")
    times["FFT of 2^20"], _ = best(5, lambda: fft.rfft(x))
    times["256 FFTs of 2^12"], _ = best(5, lambda: fft.rfft(x.reshape(256, -1), axis=1))
    times["moving mean of 41 over 2^20"], _ = best(5, lambda: ndimage.uniform_filter1d(x, 41))
    times["least and greatest of 64 over 2^20"], _ = best(5, lambda: minmax(x, 64))
    times["median of 2^20"], _ = best(5, lambda: np.median(x))
    times["MAD sigma of 2^20"], _ = best(5, lambda: stats.median_abs_deviation(x, scale="normal"))
    print("\n| timed, best of 5 | Go, ms | SciPy, ms | Go is faster by | goal | |\n| --- | ---: | ---: | ---: | ---: | --- |")
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
