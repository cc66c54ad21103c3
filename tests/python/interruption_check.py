"""Captures of shorts, retries and reversals whose truth is analytic, and what
an evaluation says of them held against that truth.

It shares no code with the program. `generate FOLDER SEED COUNT` writes the
captures (codes as .npy, facts as cases.json); the caller evaluates them and
writes results.json; `judge FOLDER` computes each truth in closed form at the
levels that the evaluation states, and demands of every quantity, pooled and by
noise, rate and resolution, an rms of error / u from 0.5 to 1.15 and no more than
6 % of errors beyond U = 2 u, within the binomial interval.

The current is that of an alternating source closed through R and L: between
two edges it goes to plus or minus V / R with exp(-t R / L), and after the trip it
decays; textbook transients, as the d.c. component of IEC 60909-0:2016 (from memory).
"""

import json
import math
import sys
from pathlib import Path

import numpy as np
from scipy.stats import binom

RATES = [0.2e6, 0.5e6, 1e6, 2.5e6, 10e6]
BITS = [8, 10, 12, 16]
NOISES = [0.0, 0.002, 0.005, 0.01, 0.02]
PRE = 2e-3
ONSET = 4.0
RATED = 3.0
MOST_SAMPLES = 1_300_000


class Pieces:
    """A current made of exponentials: from `start` on it goes from `value`
    towards `aim` with time constant `tau`."""

    def __init__(self):
        self.start, self.value, self.aim, self.tau = [], [], [], []

    def add(self, start, value, aim, tau):
        self.start.append(start)
        self.value.append(value)
        self.aim.append(aim)
        self.tau.append(tau)

    def closed(self, end):
        self.end = end
        self.arrays = [np.array(x) for x in (self.start, self.value, self.aim, self.tau)]
        return self

    def at(self, times):
        start, value, aim, tau = self.arrays
        index = np.searchsorted(start, times, side="right") - 1
        inside = index >= 0
        index = np.maximum(index, 0)
        decay = np.exp(-np.maximum(times - start[index], 0) / tau[index])
        return np.where(inside, aim[index] + (value[index] - aim[index]) * decay, 0.0)

    def spans(self):
        ends = self.start[1:] + [self.end]
        return zip(self.start, ends, self.value, self.aim, self.tau)

    def crossings(self, level):
        """Every instant at which the magnitude passes `level`, with its sense."""
        found = []
        for start, end, value, aim, tau in self.spans():
            for sign in (1.0, -1.0):
                target = sign * level
                if value == aim or (target - aim) == 0:
                    continue
                ratio = (target - aim) / (value - aim)
                if ratio <= 0 or ratio > 1:
                    continue
                at = start - tau * math.log(ratio)
                if start < at <= end:
                    rising = (abs(aim) > level) and (aim * sign > 0)
                    found.append((at, rising))
        return sorted(found)

    def peak(self, start, end):
        """The largest magnitude: each piece is monotonous."""
        ends = [start, end] + [t for t in self.start if start <= t <= end]
        return float(np.abs(self.at(np.array(ends))).max())

    def squares(self, start, end):
        """Integral of the square from `start` to `end`."""
        whole = 0.0
        for s, e, value, aim, tau in self.spans():
            a, b = max(s, start), min(e, end)
            if b <= a:
                continue
            d = value - aim
            at = lambda t: (
                aim * aim * t
                - 2 * aim * d * tau * math.exp(-(t - s) / tau)
                - d * d * tau / 2 * math.exp(-2 * (t - s) / tau)
            )
            whole += at(b) - at(a)
        return whole


def edges(rng, start, end):
    """Edges of a track signal: halves of ones, some of zeros."""
    times = [start - rng.uniform(0, 58e-6)]
    while times[-1] < end:
        half = 58e-6 if rng.random() < 0.7 else 100e-6
        times += [times[-1] + half, times[-1] + 2 * half]
    return times


def burst(pieces, rng, closes, trips, opens, signal, loop):
    """A current that flows from `closes` to `trips`, its contact apart where
    `opens` says, and decays then."""
    prospective, tau, decay = loop
    stops = sorted(
        [(t, "edge") for t in signal if closes < t < trips]
        + [(a, "apart") for a, b in opens if a < trips]
        + [(b, "shut") for a, b in opens if b < trips]
        + [(trips, "trip")]
    )
    before = [t for t in signal if t <= closes]
    sign = 1.0 if len(before) % 2 else -1.0
    at, value, aim, speed = closes, 0.0, sign * prospective, tau
    apart = False
    pieces.add(at, value, aim, speed)
    for time, what in stops:
        value = aim + (value - aim) * math.exp(-(time - at) / speed)
        at = time
        if what == "edge":
            sign = -sign
        apart = what == "apart" or (apart and what == "edge")
        if what == "trip" or apart:
            aim, speed = 0.0, decay
        else:
            aim, speed = sign * prospective, tau
        pieces.add(at, value, aim, speed)


def noise(rng, count, sd, pole):
    """White, or white behind a one-pole filter that forgets with `pole` a
    sample; of standard deviation `sd` either way."""
    white = rng.standard_normal(count)
    if pole > 0:
        from scipy.signal import lfilter

        shaped = lfilter([math.sqrt(1 - pole * pole)], [1, -pole], white)
        # Settled from the first sample on.
        shaped += white[0] * (1 - math.sqrt(1 - pole * pole)) * pole ** np.arange(count)
        white = shaped
    return sd * white


def codes(values, reach, bits):
    step = 2 * reach / 2**bits
    coded = np.clip(np.rint(values / step), -(2 ** (bits - 1)), 2 ** (bits - 1) - 1)
    return coded.astype(np.int16), step


def drawn(rng, number):
    """What a case varies; the grid is walked so that every value is met."""
    return {
        "rate": RATES[number % len(RATES)],
        "bits": BITS[(number // 5) % len(BITS)],
        "noise": NOISES[(number // 20) % len(NOISES)],
        "pole": 0.0
        if (number // 100) % 2 == 0
        else math.exp(-2 * math.pi * 10 ** rng.uniform(math.log10(0.02), math.log10(0.3))),
    }


def short(rng, number, retries):
    case = drawn(rng, number)
    rate = case["rate"]
    longest = min(0.1, MOST_SAMPLES / rate / (3.0 if retries else 1.2) - PRE)
    trip = math.exp(rng.uniform(math.log(1e-3), math.log(longest / (2 if retries else 1))))
    peak = rng.uniform(12, 28)
    loop = (peak, 10 ** rng.uniform(-5.3, -4.2), 10 ** rng.uniform(-5.7, -4.7))
    pieces = Pieces()
    closes, ends = rng.uniform(0, 1 / rate), []
    bursts = int(rng.integers(2, 4)) if retries else 1
    wait = rng.uniform(2e-3, 8e-3)
    closings = []
    signal = edges(rng, closes, closes + bursts * (trip + wait) + 1e-3)
    opens = []
    for which in range(bursts):
        apart = []
        if rng.random() < 0.4 and which == 0:
            a = closes + rng.uniform(100e-6, 600e-6)
            apart = [(a, a + rng.uniform(20e-6, 300e-6))]
            opens += apart
        burst(pieces, rng, closes, closes + trip, apart, signal, loop)
        closings.append(closes)
        closes += trip + wait
        if retries:
            closes += rng.uniform(0, 1e-5)
    end = closes + (0.5e-3 if retries else 1e-3)
    pieces.closed(end)
    count = int((end + PRE) * rate)
    times = -PRE + np.arange(count) / rate
    sd = case["noise"] * peak
    values = pieces.at(times) + noise(rng, count, sd, case["pole"])
    coded, step = codes(values, peak * rng.uniform(1.15, 1.8), case["bits"])
    case.update(
        kind="retry" if retries else "short",
        first=-PRE,
        period=1 / rate,
        step=step,
        closed=closings[0],
        apart=opens,
        pieces=[pieces.start, pieces.value, pieces.aim, pieces.tau],
        end=end,
    )
    return case, {"current": coded}


def reversal(rng, number):
    case = drawn(rng, number)
    rate = case["rate"]
    turn = math.exp(rng.uniform(math.log(0.3e-3), math.log(8e-3)))
    closed = rng.uniform(0, 1 / rate)
    opened = closed + turn + 3e-3
    end = opened + 3e-3
    count = int((end + PRE) * rate)
    times = -PRE + np.arange(count) / rate
    signal = np.array(edges(rng, -PRE - 2e-4, end + 2e-4))
    index = np.searchsorted(signal, times, side="right") - 1
    sign = np.where(index % 2 == 0, 1.0, -1.0)
    volts = rng.uniform(12, 20)
    rest = rng.uniform(0.02, 0.1) * volts
    slew = 10 ** rng.uniform(0.5, 1.5) * 1e6
    at = closed + turn
    half = int(np.searchsorted(signal, at, side="right") - 1)
    # In the first part of a half-bit, so that its mean shows the turn.
    at = signal[half] + rng.uniform(0.05, 0.5) * (signal[half + 1] - signal[half])
    along = 1.0 if half % 2 == 0 else -1.0
    node = np.where(times < closed, volts * sign, rest * sign)
    after = times >= at
    node = np.where(after, -volts * sign, node)
    # The turn itself: from the contested rest through zero.
    ramp = rest * along - slew * along * (times - at)
    span = (times >= at) & (times < at + (rest + volts) / slew) & (times < signal[half + 1])
    node = np.where(span, ramp, node)
    amperes = rng.uniform(8, 20)
    fights = (times >= closed) & (times < at)
    current = np.where(fights, amperes * sign, 0.0)
    sd = case["noise"]
    node = node + noise(rng, count, sd * volts, case["pole"])
    current = current + noise(rng, count, sd * amperes, case["pole"])
    coded_node, node_step = codes(node, volts * rng.uniform(1.15, 1.8), case["bits"])
    coded_current, step = codes(current, amperes * rng.uniform(1.15, 1.8), case["bits"])
    place = lambda t: int(math.ceil((t + PRE) * rate - 1e-9))
    changes = [place(t) for t in signal if 0 < place(t) < count]
    case.update(
        kind="reversal",
        first=-PRE,
        period=1 / rate,
        step=step,
        node_step=node_step,
        volts=volts,
        signal_first=bool(sign[0] > 0),
        signal=sorted(set(changes)),
        gap=[place(closed), place(opened)],
        truth=at + rest / slew - closed,
    )
    return case, {"current": coded_current, "node": coded_node}


def generate(folder, seed, count):
    rng = np.random.default_rng(seed)
    cases = []
    for number in range(count):
        makers = [lambda: short(rng, number, False), lambda: short(rng, number, True)]
        makers.append(lambda: reversal(rng, number))
        for maker in makers:
            case, channels = maker()
            case["number"] = len(cases)
            for name, coded in channels.items():
                np.save(folder / f"{len(cases)}-{name}.npy", coded)
            cases.append(case)
    (folder / "cases.json").write_text(json.dumps(cases))


def truths(case, result):
    """Truth of each quantity that the evaluation gave a value for."""
    if case["kind"] == "reversal":
        return {"reversal time": case["truth"]}
    pieces = Pieces()
    pieces.start, pieces.value, pieces.aim, pieces.tau = case["pieces"]
    pieces.closed(case["end"])
    off = result.get("off_level")
    if off is None:
        return {}
    ends, onsets = [], []
    level_on = [(t, r) for t, r in pieces.crossings(ONSET) if r]
    falls = [t for t, r in pieces.crossings(off) if not r]
    rises = [t for t, r in pieces.crossings(off) if r]
    quiet = result["quiet"]
    # Falls after which the magnitude stays under the level for longer than quiet.
    last = [t for t in falls if not any(t < r <= t + quiet for r in rises)]
    merged = []
    for end in last:
        apart = [(a, b) for a, b in case["apart"] if a - 5e-5 <= end <= b]
        if not apart:
            merged.append(end)
    onsets = [next(t for t, _ in level_on)]
    for end in merged[:-1]:
        onsets.append(next(t for t, _ in level_on if t > end))
    first = pieces.start[0]
    if case["kind"] == "retry":
        gaps = [b - a for a, b in zip(merged, onsets[1:])]
        return {"retry interval": float(np.mean(gaps))}
    end = merged[0]
    return {
        "trip time": end - onsets[0],
        "peak": pieces.peak(first, end),
        "let-through": pieces.squares(first, end),
    }


def judge(folder):
    cases = json.loads((folder / "cases.json").read_text())
    results = json.loads((folder / "results.json").read_text())
    groups, bounds, worst = {}, {}, {}
    for case, result in zip(cases, results):
        for name, truth in truths(case, result).items():
            found = result["found"].get(name)
            if found is None:
                bounds.setdefault(name, []).append("missing")
                continue
            if found["is"] != "value":
                below = found["is"] == "below"
                u = 2 * found.get("u", 0)
                kept = truth <= found["value"] + u if below else truth >= found["value"] - u
                bounds.setdefault(name, []).append("kept" if kept else "broken")
                continue
            z = (found["value"] - truth) / found["u"] if found["u"] > 0 else math.inf
            worst.setdefault(name, []).append((abs(z), case["number"], z, found["value"] - truth, found["u"], case["rate"], case["bits"], case["noise"], round(case["pole"], 3)))
            for group in [
                "all",
                f"rate {case['rate'] / 1e6:g} MS/s",
                f"{case['bits']:2d} bits",
                f"noise {case['noise']:.1%}",
                "one-pole" if case["pole"] > 0 else "white",
            ]:
                groups.setdefault((name, group), []).append(z)
    failed = 0
    for (name, group), zs in sorted(groups.items()):
        zs = np.array(zs)
        rms = math.sqrt(np.mean(zs**2))
        beyond = int((np.abs(zs) > 2).sum())
        # The binomial interval of 6 %.
        allowed = binom.ppf(0.999, len(zs), 0.06)
        # Of the rms of as many normal numbers.
        play = 3 / math.sqrt(2 * len(zs))
        good = 0.5 * (1 - play) <= rms <= 1.15 * (1 + play) and beyond <= allowed
        failed += not good
        print(
            f"{'ok ' if good else 'BAD'} {name:15} {group:14} n {len(zs):5d}  "
            f"rms z {rms:6.3f}  bias {zs.mean():+6.3f}  beyond U {beyond / len(zs):6.1%}"
        )
    for name, kinds in sorted(bounds.items()):
        broken = kinds.count("broken")
        missing = kinds.count("missing")
        seen = len(kinds) + len(groups.get((name, "all"), []))
        allowed = binom.ppf(0.999, seen, 0.05)
        good = broken <= binom.ppf(0.999, len(kinds), 0.05) and missing <= allowed
        failed += not good
        print(f"{'ok ' if good else 'BAD'} {name:15} bounds {len(kinds)}, broken {broken}, missing {kinds.count('missing')}")
    if "-v" in sys.argv:
        for name, rows in worst.items():
            for row in sorted(rows, reverse=True)[:8]:
                print(name, "case %d z %+.2f err %.3e u %.3e rate %g bits %d noise %g pole %g" % row[1:])
    print(f"{failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    where = Path(sys.argv[2])
    if sys.argv[1] == "generate":
        generate(where, int(sys.argv[3]), int(sys.argv[4]))
    else:
        sys.exit(judge(where))
