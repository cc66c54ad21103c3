"""Makes noisy captures of a track signal in closed form, and judges readings.

    noisy_signal.py make FOLDER COUNT FIRST   writes arrays and their truth
    noisy_signal.py check FOLDER COUNT        judges what the command read
    noisy_signal.py limits FOLDER             captures at both sides of limits
    noisy_signal.py check-limits FOLDER       judges what the command said of them

Every instant, level, duration, slope and overshoot of a capture is known before
it is sampled; nothing here reads a waveform. Edges are straight, half a cosine
or exponential; ringing begins where a straight edge ends. Then come noise (white
or through one pole), the converter's range and its codes. What errors over the
stated standard uncertainty may be is said beside the figures that allow it.
Every capture must have been read, every kind of reading must be there, and often
enough as a value and as a bound, or nothing is judged.
"""

import json
import math
import pathlib
import sys

import numpy as np
from scipy.signal import lfilter
from scipy.stats import binom

RATES = [1e6, 2e6, 4e6, 10e6, 25e6, 50e6, 100e6]
SLEW = 4.0  # V, S-9.1:2020: between -4 V and +4 V

# A standard uncertainty is the root mean square of its errors (GUM 2.3.1, in the
# long run). Our own acceptance: 15 % more, of every kind and by noise, rate and
# bits; half as much at least over all, since without noise, or of a few samples
# an edge, U holds what they do not show of its shape.
MOST_RMS, LEAST_RMS = 1.15, 0.5
# Beyond U = 2 u a normal law has 4.6 %. Our own acceptance: 6 %. A bound that may
# err by U on one side has 2.3 %; our own acceptance: 5 %.
BEYOND_U, BEYOND_BOUND = 0.06, 0.05
# Chance is left its due: so often a count as large as the accepted share makes it
# passes (our own acceptance), by the binomial law of the number of readings.
CONFIDENCE = 0.99
# What a normal law leaves beyond two deviations on one side.
ONE_SIDED = 0.023
# Least readings of each kind, a capture: values and bounds. Our own acceptance,
# some tenths under what the captures drawn here give: both directions and both
# signs count, tops are cut off flat in one of seven, and edges of few samples
# bound slew and overshoot.
LEAST_VALUES = {
    **dict.fromkeys(("amplitude", "positive level", "negative level", "symmetry"), 0.7),
    **dict.fromkeys(("asymmetry", "difference"), 0.9),
    **dict.fromkeys((f"{bit} {what}" for bit in ("one", "zero") for what in (
        "mean", "shortest", "longest", "positive mean", "negative mean")), 0.9),
    **dict.fromkeys(("duration", "longest"), 1.4),
    **dict.fromkeys(("slew", "slowest"), 1.4),
    **dict.fromkeys(("overshoot", "worst overshoot"), 0.8),
}
LEAST_BOUNDS = {
    **dict.fromkeys(("amplitude", "positive level", "negative level"), 0.05),
    **dict.fromkeys(("slew", "slowest"), 0.2),
    **dict.fromkeys(("overshoot", "worst overshoot"), 0.4),
}


class Edge:
    """One direction: its shape in closed form, from `start` to `end` volts."""

    def __init__(self, shape, slope, start, end):
        self.shape, self.start, self.end = shape, start, end
        self.swing = abs(end - start)
        self.sign = math.copysign(1.0, end - start)
        zero = abs(start) / self.swing
        # `scale` (s) such that the slope at the zero crossing is `slope`.
        if shape == "straight":
            self.scale = self.swing / slope
        elif shape == "cosine":
            self.scale = self.swing * math.pi / 2 * math.sin(math.acos(1 - 2 * zero)) / slope
        else:
            self.scale = self.swing * (1 - zero) / slope
        self.ring = None
        self.zero = self.when(zero)

    def when(self, way):
        """After its start, the time at which it has gone the share `way`."""
        if self.shape == "straight":
            return way * self.scale
        if self.shape == "cosine":
            return math.acos(1 - 2 * way) / math.pi * self.scale
        return -math.log(1 - way) * self.scale

    def at(self, volts):
        return self.when((volts - self.start) / (self.end - self.start))

    def value(self, time):
        share = np.maximum(time, 0.0) / self.scale
        if self.shape == "straight":
            way = np.minimum(share, 1.0)
        elif self.shape == "cosine":
            way = (1 - np.cos(np.pi * np.minimum(share, 1.0))) / 2
        else:
            way = 1 - np.exp(-share)
        volts = self.start + (self.end - self.start) * way
        if self.ring:
            height, omega, tau = self.ring
            past = np.maximum(time - self.scale, 0.0)
            volts = volts + self.sign * height * np.exp(-past / tau) * np.sin(omega * past)
        return volts

    def duration(self):
        return self.when(0.9) - self.when(0.1)

    def slew(self):
        return 2 * SLEW / abs(self.at(SLEW) - self.at(-SLEW))

    def overshoot(self):
        if not self.ring:
            return 0.0
        height, omega, tau = self.ring
        peak = math.atan(omega * tau) / omega
        return height * math.exp(-peak / tau) * math.sin(omega * peak) / self.swing


def bits(rng, packets, preamble):
    """Whole bits of packets by S-9.2:2004: ones, then bytes behind zeros, then a 1."""
    found = []
    for _ in range(packets):
        address, order = rng.integers(0, 128), rng.integers(0, 256)
        found += [1] * preamble
        for byte in (address, order, address ^ order):
            found += [0] + [byte >> bit & 1 for bit in range(7, -1, -1)]
        found.append(1)
    return found


def draw(number):
    rng = np.random.default_rng([20_260, 9, number])
    rate = RATES[number % len(RATES)]
    period = 1 / rate
    depth = int(rng.choice([8, 10, 12, 14, 16]))
    amplitude = rng.uniform(8, 22)
    offset = rng.choice([0.0, rng.uniform(-0.5, 0.5), rng.uniform(-2.5, 2.5)])
    high, low = amplitude + offset, -amplitude + offset
    high, low = min(high, 24), max(low, -24)
    if min(high, -low) < 5.5:
        high, low = amplitude, -amplitude
    noise = rng.choice([0.0, 10 ** rng.uniform(-2.5, -1.5), 10 ** rng.uniform(-1.5, math.log10(0.5))])
    pole = rng.choice([0.0, 10 ** rng.uniform(-7.5, -6)])
    shape = rng.choice(["straight", "straight", "cosine", "exponential"])
    steep = 1e6 * 10 ** rng.uniform(0, math.log10(60), 2)
    # Edges that do not settle within their half are no signal of a booster.
    longest = {"straight": 1 / 36e-6, "cosine": math.pi / 2 / 36e-6, "exponential": 0.5 / 2e-6}
    steep = np.maximum(steep, (high - low) * longest[str(shape)])
    rising, falling = Edge(shape, steep[0], low, high), Edge(shape, steep[1], high, low)
    rings = shape == "straight" and rng.random() < 0.6
    if rings:
        for edge in (rising, falling):
            # Its first peak within three durations, gone when the half ends.
            room = (45e-6 - edge.scale) / 6
            turn = max(rng.uniform(0.5, 4) * edge.duration(), 0.3e-6)
            omega = 2 * math.pi / min(turn, 8e-6)
            tau = min(rng.uniform(0.5, 2.0) * 2 * math.pi / omega, 3e-6, room)
            edge.ring = (rng.uniform(0.01, 0.2) * edge.swing, omega, tau)
    one = rng.uniform(56, 60, 2) * 1e-6
    zero = np.repeat(rng.uniform(98, 110), 2) * 1e-6
    coherent = rng.random() < 0.25
    if coherent:
        grid = period * rng.choice([1, 2])
        one, zero = np.round(one / grid) * grid, np.round(zero / grid) * grid
    clock = 1.0 if coherent else 1 + rng.uniform(-50e-6, 50e-6)
    length = 10e-3 if rate > 30e6 else 20e-3
    return {
        "rng": rng, "rate": rate, "depth": depth, "high": high, "low": low, "noise": noise,
        "pole": pole, "shape": str(shape), "edges": (rising, falling), "one": one * clock,
        "zero": zero * clock, "length": length, "coherent": bool(coherent), "rings": rings,
        "odd": str(rng.choice(["", "", "", "cutouts", "glitches", "dead", "clipped"])),
    }


def make_one(folder, number, drawn):
    rng, rate = drawn["rng"], drawn["rate"]
    rising, falling = drawn["edges"]
    count = int(drawn["length"] * rate)
    # Crossings, alternating from the first one upwards.
    at, crossings, kinds, joined = 60e-6 + rng.uniform(0, 10) / rate, [], [], []
    crossings.append(at)
    packet = 0
    while at < drawn["length"] - 120e-6:
        stream = bits(rng, 1, 18 if drawn["odd"] == "cutouts" else 15)
        for bit in stream:
            for half in drawn["one"] if bit else drawn["zero"]:
                at += half
                crossings.append(at)
                kinds.append(bit)
        packet += 1
        if drawn["odd"] == "cutouts":
            joined.append((at + 29e-6, at + 471e-6))
            # Eight halves of the next preamble are covered.
            for half in np.tile(drawn["one"], 4):
                at += half
                crossings.append(at)
                kinds.append(None)
    # The last level is held to the end, so that all crossings here are seen.
    crossings = np.array(crossings)
    crossings = crossings[crossings < drawn["length"] - 60e-6]
    kinds = np.array(kinds[: len(crossings) - 1], dtype=object)
    time = np.arange(count) / rate
    volts = np.full(count, drawn["low"])
    ups = np.arange(len(crossings)) % 2 == 0
    for index, crossing in enumerate(crossings):
        edge = rising if ups[index] else falling
        begun = crossing - edge.zero
        after = crossings[index + 1] if index + 1 < len(crossings) else drawn["length"] + 1e-3
        other = falling if ups[index] else rising
        until = after - other.zero
        part = slice(max(0, math.ceil(begun * rate)), max(0, math.ceil(until * rate)))
        volts[part] = edge.value(time[part] - begun)
    if drawn["odd"] == "dead":
        # Both borders within a half of a 1, so that no rest of a 0 is left.
        ones = crossings[:-1][kinds == 1]
        begin = drawn["length"] * rng.uniform(0.2, 0.4)
        joined = [tuple(ones[np.searchsorted(ones, at)] + 29e-6 for at in (begin, begin + drawn["length"] / 3))]
    stain = np.zeros(len(kinds), dtype=bool)
    for begin, end in joined:
        volts[(time >= begin) & (time < end)] = 0.0
        stain |= (crossings[1:] > begin) & (crossings[:-1] < end)
        # A rest of less than a glitch is no half, and takes the next one along.
        after = np.searchsorted(crossings, end)
        if after < len(kinds) and crossings[after] - end < 20e-6:
            stain[after] = True
    if drawn["odd"] == "glitches":
        for half in rng.choice(len(kinds), 12, replace=False):
            middle = crossings[half] + rng.uniform(0.5, 0.7) * (crossings[half + 1] - crossings[half])
            wide = rng.uniform(0.3e-6, 4e-6)
            near = (time >= middle) & (time < middle + wide)
            volts[near] = -0.6 * volts[near]
    noise = rng.standard_normal(count)
    if drawn["pole"] > 0:
        keep = math.exp(-1 / rate / drawn["pole"])
        noise = lfilter([math.sqrt(1 - keep * keep)], [1, -keep], noise)
    volts = volts + drawn["noise"] * noise
    depth = drawn["depth"]
    top = max(drawn["high"], -drawn["low"])
    reach = top * (rng.uniform(0.8, 0.95) if drawn["odd"] == "clipped" else rng.uniform(1.3, 2.0))
    step = reach / 2 ** (depth - 1)
    codes = np.clip(np.round(volts / step), -(2 ** (depth - 1)), 2 ** (depth - 1) - 1)
    np.save(folder / f"case-{number}.npy", codes.astype(np.int8 if depth == 8 else np.int16))
    halves = np.diff(crossings)
    good = ~stain
    truth = {"positive level": drawn["high"], "negative level": -drawn["low"],
             "amplitude": (drawn["high"] - drawn["low"]) / 2, "symmetry": drawn["high"] + drawn["low"]}
    for name, bit in (("one", 1), ("zero", 0)):
        of = good & (kinds == bit)
        if of.any():
            truth[f"{name} mean"] = halves[of].mean()
            truth[f"{name} shortest"] = halves[of].min()
            truth[f"{name} longest"] = halves[of].max()
            for sign, ways in (("positive", ups[:-1]), ("negative", ~ups[:-1])):
                truth[f"{name} {sign} mean"] = halves[of & ways].mean()
    truth["asymmetry"] = drawn["one"][0] - drawn["one"][1]
    truth["difference"] = abs(truth["asymmetry"])
    for way, edge in (("rising", rising), ("falling", falling)):
        truth[f"{way} duration"] = edge.duration()
        truth[f"{way} longest"] = edge.duration()
        truth[f"{way} slew"] = edge.slew()
        truth[f"{way} slowest"] = edge.slew()
        truth[f"{way} overshoot"] = edge.overshoot()
        truth[f"{way} worst overshoot"] = edge.overshoot()
    facts = {key: drawn[key] for key in ("rate", "depth", "high", "low", "noise", "pole", "shape", "coherent", "odd")}
    facts["steep"] = [float(rising.slew()), float(falling.slew())]
    facts["rings"] = bool(drawn["rings"])
    (folder / f"case-{number}.json").write_text(json.dumps(
        {"rate": rate, "step": step, "facts": facts, "truth": truth}, default=float))


def make(folder, count, first):
    for number in range(first, first + count):
        make_one(folder, number, draw(number))
    print(f"{count} captures")


# Rows of the command: name, the limit (SI) and the table of NMRA S-9.1:2020 that
# has it, by how much a capture lies within it that must not be a violation, and by
# how much beyond it one that must be; its sign says on which side "beyond" lies.
# Both margins are our own acceptance: within it next to nothing, in this noise;
# beyond it more than U of one reading.
LIMITS = [
    ("half of a 1 too short", 55e-6, 2e-9, -0.2e-6),  # table 1
    ("half of a 1 too long", 61e-6, 2e-9, 0.2e-6),  # table 1
    ("halves of a 1 differ", 3e-6, 2e-9, 0.3e-6),  # table 1
    ("half of a 0 too short", 95e-6, 2e-9, -0.2e-6),  # table 1
    ("rising slew low", 2.4e6, 1e3, -0.15e6),  # no table: -4 V to +4 V
    ("falling slew low", 2.4e6, 1e3, -0.15e6),  # no table: -4 V to +4 V
    ("amplitude too low, any scale", 8.5, 1e-3, -0.1),  # table 3
    ("amplitude too high", 22.0, 1e-3, 0.1),  # table 3
]
EACH = 8  # seeds a side, our own choice


def at_limit(number):
    """A capture at one side of one limit, in noise."""
    what, limit, within, beyond = LIMITS[number // (2 * EACH)]
    inside = number // EACH % 2 == 0
    rng = np.random.default_rng([20_260, 91, number])
    value = limit - math.copysign(within, beyond) if inside else limit + beyond
    one, zero = np.array([58e-6, 58e-6]), np.array([100e-6, 100e-6])
    amplitude, steep = 15.0, [20e6, 20e6]
    if what.startswith("half of a 1"):
        one[:] = value
    elif what.startswith("halves"):
        one += np.array([value, -value]) / 2 * rng.choice([-1, 1])
    elif what.startswith("half of a 0"):
        zero[:] = value
    elif what.endswith("slew low"):
        steep[what.startswith("falling")] = value
    else:
        amplitude = value
    drawn = {
        "rng": rng, "rate": 10e6, "depth": 12, "high": amplitude, "low": -amplitude,
        "noise": rng.uniform(0.02, 0.3), "pole": rng.choice([0.0, 2e-7]), "shape": "straight",
        "edges": (Edge("straight", steep[0], -amplitude, amplitude), Edge("straight", steep[1], amplitude, -amplitude)),
        "one": one, "zero": zero, "length": 15e-3, "coherent": False, "rings": False, "odd": "",
    }
    return what, inside, drawn


def limits(folder):
    count = len(LIMITS) * 2 * EACH
    for number in range(count):
        what, inside, drawn = at_limit(number)
        make_one(folder, number, drawn)
        path = folder / f"case-{number}.json"
        made = json.loads(path.read_text())
        path.write_text(json.dumps(made | {"what": what, "inside": inside}))
    print(f"{count} captures")


def check_limits(folder):
    tally = {}
    for path in folder.glob("rows-*.json"):
        made = json.loads((folder / path.name.replace("rows", "case")).read_text())
        rows = {row["what"]: row["standing"] for row in json.loads(path.read_text())}
        # What is at its limit is judged; nothing else may be a violation.
        wrong = [what for what, standing in rows.items() if standing == "violation" and what != made["what"]]
        found = rows.get(made["what"]) == "violation"
        tally.setdefault((made["what"], made["inside"]), []).append((found, wrong))
    failed, false = 0, 0
    for what, *_ in LIMITS:
        for inside in (True, False):
            read = len(tally.get((what, inside), []))
            if read != EACH:
                print(f"FAULT {what}, {'inside' if inside else 'beyond'}: {read} of {EACH} captures read")
                failed += 1
    for (what, inside), list_ in sorted(tally.items()):
        found, wrong = sum(found for found, _ in list_), [w for _, ws in list_ for w in ws]
        print(f"{what}, {'inside' if inside else 'beyond'}: {found} of {len(list_)} violations, others {wrong}")
        failed += len(wrong) + (0 if inside else len(list_) - found)
        false += found if inside else 0
    inside = len(LIMITS) * EACH
    failed += false > binom.ppf(CONFIDENCE, inside, ONE_SIDED)
    print(f"{len(tally)} sides of limits, {false} of {inside} false violations, {failed} failed")
    sys.exit(bool(failed) or len(tally) != 2 * len(LIMITS))


def readings(signal):
    """What the command reported: name to (value, u, is it a bound)."""
    found = {}

    def add(name, estimate, bound=False):
        if estimate:
            found[name] = (estimate["value"], estimate["u"], bound)

    levels = signal["levels"]
    if levels:
        clipped = levels.get("clipped") or {}
        up, down = bool(clipped.get("positive")), bool(clipped.get("negative"))
        add("positive level", levels["positive"], up)
        add("negative level", levels["negative"], down)
        add("amplitude", levels["amplitude"], up or down)
        if not up and not down:
            add("symmetry", levels["symmetry"])
    for name in ("one", "zero"):
        halves = signal[f"{name}s"]
        if halves["all"]:
            add(f"{name} mean", halves["all"]["mean"])
            add(f"{name} shortest", halves["all"]["least"]["estimate"])
            add(f"{name} longest", halves["all"]["maximum"]["estimate"])
        for sign in ("positive", "negative"):
            if halves[sign]:
                add(f"{name} {sign} mean", halves[sign]["mean"])
    if signal["asymmetry"]:
        add("asymmetry", signal["asymmetry"]["mean"])
        add("difference", signal["difference"]["maximum"]["estimate"])
    for way in ("rising", "falling"):
        figures = (signal["shape"] or {}).get(way)
        if not figures:
            continue
        add(f"{way} duration", figures["duration"])
        add(f"{way} longest", figures["longest"])
        bound = figures["slew_bounded"] > 0
        add(f"{way} slew", figures["slew"], bound)
        add(f"{way} slowest", figures["slowest"], bound)
        if figures["overshoot"]:
            clipped = (levels or {}).get("clipped") or {}
            if not clipped.get("positive") and not clipped.get("negative"):
                least = figures["overshoot_bounded"]
                add(f"{way} overshoot", figures["overshoot"][0], least)
                add(f"{way} worst overshoot", figures["overshoot"][1], least)
    return found


def groups(facts):
    noise = facts["noise"]
    yield "all"
    yield f"noise {'none' if noise == 0 else 'low' if noise < 0.05 else 'high'}"
    yield f"rate {'to 2 MHz' if facts['rate'] < 3e6 else 'to 10 MHz' if facts['rate'] < 2e7 else 'above'}"
    yield f"bits {'8' if facts['depth'] == 8 else '10 to 12' if facts['depth'] < 13 else '14 to 16'}"


def quantity(name):
    """Both directions and both signs are one quantity."""
    return name.replace("rising ", "").replace("falling ", "")


def missing(cases, count, tally, bounds):
    """Captures that were not read, and kinds of readings that are too few."""
    faults = [] if cases == count else [f"{cases} of {count} captures read"]
    for what, found, wanted in (("values", tally, LEAST_VALUES), ("bounds", bounds, LEAST_BOUNDS)):
        kinds = {kind for kind, group in found if group == "all"}
        faults += [f"{kind}: {what} of a kind that is not expected" for kind in sorted(kinds - wanted.keys())]
        for kind, share in wanted.items():
            read = len(found.get((kind, "all"), []))
            if read < max(1, math.floor(share * count)):
                faults.append(f"{kind}: {read} {what}, at least {share} a capture are expected")
    return faults


def check(folder, count, verbose=False):
    tally, bounds, worst = {}, {}, {}
    cases = sorted(folder.glob("read-*.json"))
    for path in cases:
        number = int(path.stem.split("-")[1])
        made = json.loads((folder / f"case-{number}.json").read_text())
        signal = json.loads(path.read_text())
        for name, (value, u, bound) in readings(signal).items():
            if name not in made["truth"]:
                continue
            error = value - made["truth"][name]
            kind = quantity(name)
            for group in groups(made["facts"]):
                if bound:
                    bounds.setdefault((kind, group), []).append(error > 2 * u + 1e-12)
                else:
                    score = error / u if u > 0 else (0.0 if abs(error) < 1e-12 else 1e9)
                    tally.setdefault((kind, group), []).append(score)
                    if group == "all":
                        worst.setdefault(kind, []).append((abs(score), score, number, name, value, error, u, made["facts"]))
    faults = missing(len(cases), count, tally, bounds)
    for (kind, group), scores in sorted(tally.items()):
        scores = np.array(scores)
        rms, out = float(np.sqrt(np.mean(np.minimum(np.abs(scores), 1e6) ** 2))), int(np.sum(np.abs(scores) > 2))
        # The rms of n readings scatters by 1 / sqrt(2 n) of itself.
        room = 1 + 2 / math.sqrt(2 * len(scores))
        few = binom.ppf(CONFIDENCE, len(scores), BEYOND_U)
        line = f"{kind}, {group}: rms {rms:.2f} of {len(scores)}, {100 * out / len(scores):.1f} % beyond U, mean {scores.mean():.2f}"
        # What samples do not show of an edge is in U where it happens to be nil.
        idle = group == "all" and rms < LEAST_RMS / room
        bad = idle or rms > MOST_RMS * room or out > few
        if bad:
            faults.append(line)
        if verbose or group == "all":
            print(("BAD " if bad else "    ") + line)
    for (kind, group), broken in sorted(bounds.items()):
        line = f"{kind}, {group}: bound violated {sum(broken)} of {len(broken)}"
        if sum(broken) > binom.ppf(CONFIDENCE, len(broken), BEYOND_BOUND):
            faults.append(line)
        if group == "all":
            print("    " + line)
    if verbose:
        for kind, list_ in worst.items():
            print("==", kind)
            for _, score, number, name, value, error, u, facts in sorted(list_, key=lambda x: -x[0])[:6]:
                told = {k: (round(v, 4) if isinstance(v, float) else v) for k, v in facts.items() if k != "steep"}
                print(f"  score {score:9.2f} case {number} {name} {value:.6g} error {error:.3g} u {u:.3g} {told} {np.round(np.array(facts['steep'])/1e6, 2)}")
    for line in faults:
        print("FAULT", line)
    print(f"{len(cases)} captures, {len(tally) + len(bounds)} groups, {len(faults)} failed")
    sys.exit(bool(faults))


if __name__ == "__main__":
    place = pathlib.Path(sys.argv[2])
    if sys.argv[1] == "make":
        make(place, int(sys.argv[3]), int(sys.argv[4]))
    elif sys.argv[1] == "limits":
        limits(place)
    elif sys.argv[1] == "check-limits":
        check_limits(place)
    else:
        check(place, int(sys.argv[3]), "-v" in sys.argv)
