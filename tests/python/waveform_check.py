"""Reads synthetic captures with NumPy and SciPy and compares with the crate.

    waveform_check.py make FOLDER     writes captures as arrays, with a list
    waveform_check.py check FOLDER    compares with what the crate read in them

Crossings are roots of a spline of degree one, state levels the mean of settled
samples (definitions of IEEE Std 181-2011, from memory). Crossings must agree
within 1e-3 of a sample, levels within 2e-4 of the amplitude, and what was made
without noise with its closed form. The command reads all edges together and so
better than any two samples: its transition durations and halves must lie within
three standard uncertainties, as stated, of what they were made with. It judges no
signal.
"""

import json
import pathlib
import sys

import numpy as np
from scipy.interpolate import PPoly, make_interp_spline

BAND = 2.5  # V either side of zero: less is no crossing
SETTLED = 30  # samples away from a crossing
SAMPLE = 1e-3  # of a sample
LEVEL = 2e-4  # of the amplitude
CASES = 24
INSTANT = 3e-6  # samples of 1 us: instants are kept in whole picoseconds, edge and fit


def wave(rng, case):
    """Samples, the crossings they were made with and whether these are exact."""
    high, low = rng.uniform(12, 20, 2)
    duration = rng.uniform(5, 24)  # samples, the whole edge
    halves = np.where(rng.random(60) < 0.7, rng.uniform(230, 240), rng.uniform(380, 420))
    crossings = rng.uniform(100, 140) + np.concatenate([[0], np.cumsum(halves)])
    n = np.arange(int(crossings[-1] + 150))
    # Straight edges in even cases, half cosines in odd ones.
    shape = (lambda x: x) if case % 2 == 0 else (lambda x: (1 - np.cos(np.pi * x)) / 2)
    undo = (lambda y: y) if case % 2 == 0 else (lambda y: np.arccos(1 - 2 * y) / np.pi)
    volts = np.full(len(n), -low)
    for index, at in enumerate(crossings):
        start, end = (-low, high) if index % 2 == 0 else (high, -low)
        begun = at - duration * undo(-start / (end - start))
        way = shape(np.clip((n - begun) / duration, 0, 1))
        volts = np.where(n >= begun, start + (end - start) * way, volts)
    noise = 0.0 if case < 6 else rng.uniform(2e-3, 40e-3)
    volts = volts + noise * rng.standard_normal(len(n))
    if case % 3 == 2:
        volts = np.round(volts / 0.01) * 0.01
    exact = case % 2 == 0 and noise == 0 and case % 3 != 2
    span = duration * (undo(0.9) - undo(0.1))
    return volts, crossings, exact, span


def make(folder):
    rng = np.random.default_rng(20_260)
    made = []
    for case in range(CASES):
        volts, crossings, exact, span = wave(rng, case)
        np.save(folder / f"case-{case}.npy", volts)
        made.append({"crossings": crossings.tolist(), "exact": exact, "duration": span})
    (folder / "made.json").write_text(json.dumps(made))
    print(f"{CASES} captures")


def roots(volts, level):
    spline = make_interp_spline(np.arange(len(volts)), volts - level, k=1)
    found = PPoly.from_spline(spline).roots(extrapolate=False)
    return np.sort(found[np.isfinite(found)])


def read_crossings(volts):
    side = np.where(volts >= BAND, 1, np.where(volts <= -BAND, -1, 0))
    outside = np.flatnonzero(side)
    turns = np.flatnonzero(np.diff(side[outside]))
    zero = roots(volts, 0.0)
    found = []
    for last, first in zip(outside[turns], outside[turns + 1], strict=True):
        within = zero[(zero >= last) & (zero <= first)]
        found.append((within[0] + within[-1]) / 2)
    return np.array(found)


def read_levels(volts, crossings):
    n = np.arange(len(volts))
    away = np.min(np.abs(n[:, None] - crossings[None, :]), axis=1) > SETTLED
    return volts[away & (volts < 0)].mean(), volts[away & (volts > 0)].mean()


def check(folder):
    made = json.loads((folder / "made.json").read_text())
    worst = {}

    def compare(what, got, want, tolerance):
        got, want = np.atleast_1d(got), np.atleast_1d(want)
        assert got.shape == want.shape, f"{what}: {got.shape} for {want.shape}"
        error = float(np.max(np.abs(got - want)))
        worst[what] = max(worst.get(what, 0.0), error / tolerance)

    for case, truth in enumerate(made):
        volts = np.load(folder / f"case-{case}.npy")
        ours = json.loads((folder / f"read-{case}.json").read_text())
        crossings = read_crossings(volts)
        low, high = read_levels(volts, crossings)
        near = LEVEL * (high - low)
        compare("crossings", ours["crossings"], crossings, SAMPLE)
        compare("levels", ours["levels"], [low, high], near)
        compare("levels of the command", ours["command"]["levels"], [low, high], near)
        halves = np.diff(truth["crossings"])
        short = halves[halves < 300]
        wanted = {"durations": [truth["duration"]] * 2, "halves": [short.min(), short.max()]}
        for what, expected in wanted.items():
            for (value, u), want in zip(ours["command"][what], expected, strict=True):
                compare(f"{what} of the command", value, want, 3 * u + INSTANT)
        if truth["exact"]:
            compare("crossings in closed form", ours["crossings"], truth["crossings"], SAMPLE)
    for what, share in worst.items():
        print(f"{what}: worst {share:.3f} of its tolerance")
    failed = [what for what, share in worst.items() if share > 1]
    print(f"{len(failed)} failed {failed or ''}".strip())
    sys.exit(bool(failed) or len(worst) != 6)


if __name__ == "__main__":
    {"make": make, "check": check}[sys.argv[1]](pathlib.Path(sys.argv[2]))
