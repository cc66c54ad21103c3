"""Makes noisy captures at both sides of limits in closed form, and judges verdicts.

    noisy_signal.py limits FOLDER             captures at both sides of limits
    noisy_signal.py check-limits FOLDER       judges what the command said of them

Every instant of a capture is known before it is sampled; nothing here reads a
waveform. Edges are straight. Then come noise (white or through one pole), the
converter's range and its codes. What lies within a limit by next to nothing may
be called a violation as often as U promises (a normal law has 2.3 % beyond two
deviations on one side; binomial interval), what lies far beyond it always is.
"""

import json
import math
import pathlib
import sys

import numpy as np
from scipy.signal import lfilter
from scipy.stats import binom

SLEW = 4.0  # V, S-9.1:2020: between -4 V and +4 V


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
    """Whole bits of packets by S-9.2: ones, then bytes behind zeros, then a 1."""
    found = []
    for _ in range(packets):
        address, order = rng.integers(0, 128), rng.integers(0, 256)
        found += [1] * preamble
        for byte in (address, order, address ^ order):
            found += [0] + [byte >> bit & 1 for bit in range(7, -1, -1)]
        found.append(1)
    return found


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


# Rows of the command on NMRA S-9.1:2020 table 1: name, the limit, by how
# much (SI) a capture lies within it that must not be a violation, and by how
# much beyond it one that must be; its sign says on which side "beyond" lies.
LIMITS = [
    ("half of a 1 too short", 55e-6, 2e-9, -0.2e-6),
    ("half of a 1 too long", 61e-6, 2e-9, 0.2e-6),
    ("halves of a 1 differ", 3e-6, 2e-9, 0.3e-6),
    ("half of a 0 too short", 95e-6, 2e-9, -0.2e-6),
]
EACH = 8  # seeds a side


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
    else:
        zero[:] = value
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
    for (what, inside), list_ in sorted(tally.items()):
        found, wrong = sum(found for found, _ in list_), [w for _, ws in list_ for w in ws]
        print(f"{what}, {'inside' if inside else 'beyond'}: {found} of {len(list_)} violations, others {wrong}")
        failed += len(wrong) + (0 if inside else len(list_) - found)
        false += found if inside else 0
    inside = len(LIMITS) * EACH
    # One side of U holds what a normal law has beyond two deviations: 2.3 %.
    failed += false > binom.ppf(0.99, inside, 0.023)
    print(f"{len(tally)} sides of limits, {false} of {inside} false violations, {failed} failed")
    sys.exit(bool(failed) or len(tally) != 2 * len(LIMITS))


if __name__ == "__main__":
    place = pathlib.Path(sys.argv[2])
    if sys.argv[1] == "limits":
        limits(place)
    else:
        check_limits(place)
