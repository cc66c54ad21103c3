"""What `inspect` reads from one channel, by NumPy in pieces that stay in the
cache: crossings with hysteresis and linear interpolation, state levels,
transition durations, slew, overshoot, half-bits and their histogram, bits,
asymmetry, packets. Prints the seconds from opening the file to the last figure;
NumPy is loaded before."""

import sys
import time

import numpy as np

PIECE = 1 << 17
LEVEL = 2500  # 2.5 V in steps of 1 mV
RATE = 10e6


def edges_of(piece, state, first):
    """Changes of polarity: sample before and sample at which the new polarity
    is reached, and which it is."""
    high, low = piece >= LEVEL, piece <= -LEVEL
    ups = np.flatnonzero(high[1:] > high[:-1]) + 1
    downs = np.flatnonzero(low[1:] > low[:-1]) + 1
    if high[0]:
        ups = np.concatenate(([0], ups))
    if low[0]:
        downs = np.concatenate(([0], downs))
    at = np.concatenate((ups, downs))
    to = np.concatenate((np.ones(len(ups), np.int8), np.full(len(downs), -1, np.int8)))
    order = np.argsort(at, kind="stable")
    at, to = at[order], to[order]
    changed = np.diff(to, prepend=state) != 0
    return at[changed] + first, to[changed]


def main(path):
    begun = time.perf_counter()
    with open(path, "rb") as file:
        np.lib.format.read_magic(file)
        _, _, kind = np.lib.format.read_array_header_1_0(file)
        counted, places, tos, windows = [], [], [], []
        state, tail, first = 0, np.zeros(0, kind), 0
        least, greatest = 32767, -32768
        stride_from = 0
        while True:
            piece = np.fromfile(file, kind, PIECE)
            if not len(piece):
                break
            least, greatest = min(least, piece.min()), max(greatest, piece.max())
            counted.append(piece[stride_from::127].astype(np.int32))
            stride_from = (stride_from - len(piece)) % 127
            at, to = edges_of(piece, state, first)
            if len(to):
                state = to[-1]
            # The samples around each change, those cut by the border of the
            # piece left out of the shapes but not out of the crossings.
            whole = np.concatenate((tail, piece))
            local = at - first + len(tail)
            back = local[:, None] + np.arange(-64, 1)
            around = whole[np.clip(back, 0, len(whole) - 1)].astype(np.int32)
            signed = around * to[:, None]
            # The last sample below zero before the change is complete.
            before = 64 - np.argmax(signed[:, ::-1] < 0, axis=1)
            row = np.arange(len(at))
            a, b = signed[row, before], signed[row, np.minimum(before + 1, 64)]
            share = np.where(b != a, -a / np.where(b != a, b - a, 1), 0)
            places.append(at - 64 + before + share)
            tos.append(to)
            inside = (local > 200) & (local < len(whole) - 200)
            chosen = local[inside][:: max(1, len(local) // 4)]
            if len(windows) < 512 and len(chosen):
                windows += [whole[i - 180 : i + 181].astype(np.float64) for i in chosen]
            tail, first = piece[-256:], first + len(piece)
    levels = shape_levels(np.bincount(np.concatenate(counted) + 32768, minlength=65536))
    shapes = [s for s in (measure(w, *levels) for w in windows) if s]
    durations, slews, overshoots = np.array(shapes).T
    place, to = np.concatenate(places)[1:], np.concatenate(tos)[1:]
    length = np.diff(place) / RATE
    sign = to[:-1]
    one = length < 76e-6
    histogram = np.bincount(np.round(length * 1e6).astype(np.int64).clip(0, 512))
    for kind_of in (one, ~one):
        for chosen in (kind_of, kind_of & (sign > 0), kind_of & (sign < 0)):
            part = length[chosen]
            if len(part):
                part.mean(), part.std(), part.min(), part.max()
    packets, differences = packets_of(length, one, sign)
    taken = time.perf_counter() - begun
    print(taken, len(place), sum(packets.values()), file=sys.stdout)
    assert histogram.sum() == len(length) and levels[0] < levels[1]
    assert durations.min() > 0 and slews.min() > 0 and overshoots.max() < 1
    assert len(differences)


def shape_levels(counts):
    full = np.flatnonzero(counts)
    middle = (full[0] + full[-1]) // 2
    found = []
    for low, high in ((full[0], middle), (middle, full[-1] + 1)):
        mode = low + np.argmax(counts[low:high])
        near = np.arange(mode - 150, mode + 151).clip(0, 65535)
        found.append((counts[near] * (near - 32768.0)).sum() / counts[near].sum())
    return found


def measure(window, low, high):
    if window[-1] < window[0]:
        window, low, high = -window, -high, -low
    swing = high - low
    middle = int(np.argmax(window > (low + high) / 2))

    def passed(level):
        i = middle
        while i > 0 and window[i - 1] > level:
            i -= 1
        while i < len(window) - 1 and window[i] < level:
            i += 1
        a, b = window[i - 1], window[i]
        return i - 1 + (level - a) / (b - a) if b > a else float(i)

    rise = passed(low + 0.9 * swing) - passed(low + 0.1 * swing)
    slew = 8000 / max(passed(4000.0) - passed(-4000.0), 1e-9)
    top = window[middle : middle + int(4 * rise) + 2].max()
    return rise, slew, max(0.0, (top - high) / swing)


def packets_of(length, one, sign):
    """Zeros begin a bit, so runs are paired from them; then preamble, bytes."""
    halves = one.astype(np.int8)
    turns = np.flatnonzero((halves[1:] == 0) & (halves[:-1] == 1)) + 1
    packets, at, differences = {}, 0, []
    bits = None
    if len(turns):
        start = turns[0] % 2
        pairs = (len(halves) - start) // 2
        pair = halves[start : start + 2 * pairs].reshape(-1, 2)
        bits = pair[:, 0] & pair[:, 1]
        both = length[start : start + 2 * pairs].reshape(-1, 2)
        signs = sign[start : start + 2 * pairs : 2]
        differences = ((both[:, 0] - both[:, 1]) * signs)[bits == 1]
        differences.mean(), differences.std()
        text = bits.tobytes()
        preamble = b"\1" * 10
        while True:
            at = text.find(preamble, at)
            if at < 0:
                break
            at = text.find(b"\0", at)
            if at < 0:
                break
            data = []
            while at + 9 <= len(text) and text[at] == 0:
                value = int(np.packbits(bits[at + 1 : at + 9])[0])
                data.append(value)
                at += 9
            check = 0
            for value in data:
                check ^= value
            if len(data) >= 3 and check == 0:
                key = bytes(data)
                packets[key] = packets.get(key, 0) + 1
    else:
        both = length[: len(length) // 2 * 2].reshape(-1, 2)
        differences = both[:, 0] - both[:, 1]
    return packets, differences


main(sys.argv[1])
