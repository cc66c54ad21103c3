"""What `inspect` says of slew, distortion and amplitude of a voltage in noise.

The voltage is made here with NumPy and shares no code with the reader: straight
edges between two levels, halves of 58 and 100 us (NMRA S-9.1:2020 table 1),
normal noise, rounded to the steps of an 8-bit instrument. The truth is known: a
signal within every bound must never be a violation, however near, and one far
beyond must be. Bounds: NMRA S-9.1:2020, slew 2.4 V/us between -4 and +4 V, table 2
(+-2 V about the crossing), table 3 (8.5 to 22 V).

Usage: shapes_check.py PROGRAM FOLDER CAPTURES
"""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np


def bits(packets):
    for packet in range(packets):
        yield from [1] * 16
        body = [3 + packet % 7, 0x3F, 0x80 | packet % 28]
        for byte in [*body, body[0] ^ body[1] ^ body[2]]:
            yield 0
            yield from (byte >> place & 1 for place in range(7, -1, -1))
        yield 1


def voltage(case, chance):
    """Codes of all samples: a ramp about each edge, clipped to the level."""
    instants, at = [], 0.0
    for bit in bits(case["packets"]):
        for _ in range(2):
            instants.append(at)
            at += 58e-6 if bit else 100e-6
    instants = np.array(instants)
    times = np.arange(int(at * case["rate"])) / case["rate"]
    half = np.searchsorted(instants, times, side="right") - 1
    sign = np.where(half % 2 == 0, 1.0, -1.0)
    slews = np.array([case["rising"], case["falling"]])
    since = (times - instants[half]) * slews[half % 2]
    after = np.append(instants, at)[half + 1]
    until = (after - times) * slews[(half + 1) % 2]
    volts = sign * np.minimum(case["level"], np.minimum(since, until))
    volts += chance.normal(0.0, case["noise"], volts.size)
    return np.clip(np.round(volts / case["step"]), -128, 127).astype("i1")


SOUND = dict(level=15.0, rising=10e6, falling=10e6, rate=10e6, packets=12, step=0.16)
# Within every bound, some by little; none may be called a violation.
WITHIN = {
    "plain": {},
    "amplitude near the least": {"level": 8.55},
    "amplitude near the least, long": {"level": 8.55, "packets": 60},
    "amplitude near the most": {"level": 21.9, "step": 0.25},
    "cut off at the last code": {"level": 21.9},
    "slew near the least": {"rising": 2.45e6, "falling": 2.45e6},
    "slew near the least, sampled often": {"rising": 2.45e6, "falling": 2.45e6, "rate": 50e6},
    "slew near the least, long": {"rising": 2.5e6, "falling": 2.5e6, "rate": 25e6, "packets": 40},
    "slow one way": {"rising": 3e6, "falling": 20e6, "rate": 25e6},
}
# Beyond one bound by far: a violation of that rule and of no other.
BEYOND = {
    "amplitude low": ({"level": 6.0}, "amplitude too low, any scale"),
    "amplitude high": ({"level": 26.0, "step": 0.25}, "amplitude too high"),
    "rising slow": ({"rising": 1.2e6}, "rising slew low"),
    "falling slow": ({"falling": 1.2e6}, "falling slew low"),
}
NOISES = [0.0, 0.05, 0.1, 0.3, 0.5]


def inspected(program, folder, case, chance):
    place = folder / "track.npy"
    np.save(place, voltage(case, chance))
    rate = f"{case['rate']:.0f} Hz"
    scale = f"{case['step']} V"
    words = [program, "inspect", place, "--rate", rate, "--scale", scale, "--json"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1, 2):
        raise SystemExit(f"{case}: status {done.returncode}: {done.stderr}")
    found = json.loads(done.stdout)
    return {row["what"]: row["standing"] for row in found["rules"]}


def main(program, folder, captures):
    folder, captures, wrong, looked = Path(folder), int(captures), [], 0
    for noise in NOISES:
        for number in range(captures):
            chance = np.random.default_rng([number, int(noise * 100)])
            for name, change in WITHIN.items():
                case = {**SOUND, **change, "noise": noise}
                looked += 1
                for what, standing in inspected(program, folder, case, chance).items():
                    if standing == "violation":
                        wrong.append(f"{name}, {noise} V, {number}: {what} is called violated")
            for name, (change, rule) in BEYOND.items():
                case = {**SOUND, **change, "noise": noise}
                looked += 1
                for what, standing in inspected(program, folder, case, chance).items():
                    if what == rule and standing != "violation":
                        wrong.append(f"{name}, {noise} V, {number}: {what} is {standing}")
                    if what != rule and standing == "violation":
                        wrong.append(f"{name}, {noise} V, {number}: {what} is called violated")
    print(f"{looked} captures, {len(wrong)} wrong")
    print("\n".join(wrong[:40]))
    return 1 if wrong or not looked else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
