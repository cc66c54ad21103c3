"""Writes one wave into capture files by libraries that other people wrote, and
the wave itself as text, one sample a line, for the test to compare."""

import csv
import io
import struct
import sys
import wave
from pathlib import Path

import numpy as np
from scipy.io import wavfile

folder = Path(sys.argv[1])
RATE = 250_000
STEP = 0.125
n = np.arange(2_000)
# Whole steps from -100 to 100: every type below has them exactly.
codes = ((n * 37) % 201) - 100
volts = codes * STEP
other = np.roll(codes, 7)

for name, kind, shift in [
    ("i1", "i1", 0), ("i2", "<i2", 0), ("i2be", ">i2", 0), ("i4", "<i4", 0), ("i8", "<i8", 0),
    ("u1", "u1", 100), ("u2", "<u2", 100), ("u4", "<u4", 100), ("f2", "<f2", 0), ("f4", "<f4", 0), ("f8", ">f8", 0),
]:
    np.save(folder / f"{name}.npy", (codes + shift).astype(kind))
pair = np.stack([other, codes], axis=1).astype("<i2")
np.save(folder / "rows.npy", pair)
np.save(folder / "columns.npy", np.ascontiguousarray(pair.T))
np.save(folder / "fortran.npy", np.asfortranarray(pair))
np.save(folder / "fortran_columns.npy", np.asfortranarray(pair.T))
with open(folder / "version2.npy", "wb") as file:
    np.lib.format.write_array(file, codes.astype("<i2"), version=(2, 0))

for name, width in [("w8", 1), ("w16", 2), ("w24", 3), ("w32", 4)]:
    with wave.open(str(folder / f"{name}.wav"), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(width)
        file.setframerate(RATE)
        both = np.stack([other, codes], axis=1).ravel()
        if width == 1:
            file.writeframes((both + 128).astype("u1").tobytes())
        else:
            file.writeframes(b"".join(int(c).to_bytes(width, "little", signed=True) for c in both))
wavfile.write(folder / "s16.wav", RATE, codes.astype("<i2"))
wavfile.write(folder / "s32.wav", RATE, codes.astype("<i4"))
wavfile.write(folder / "sf32.wav", RATE, codes.astype("<f4"))
wavfile.write(folder / "sf64.wav", RATE, codes.astype("<f8"))
# A recording that was broken off: the header still has the sizes it began with.
data = codes.astype("<i2").tobytes()
head = b"RIFF" + struct.pack("<I", 0) + b"WAVEfmt " + struct.pack("<IHHIIHH", 16, 1, 1, RATE, 2 * RATE, 2, 16)
(folder / "open.wav").write_bytes(head + b"data" + struct.pack("<I", 0) + data)
# The form for more than 4 GB (EBU Tech 3306, from memory): sizes of 64 bits in a chunk
# of their own, and what follows the samples is none of them.
sizes = struct.pack("<IQQQI", 28, 36 + 44 + len(data) + 12, len(data), len(codes), 0)
form = b"fmt " + struct.pack("<IHHIIHH", 16, 1, 1, RATE, 2 * RATE, 2, 16)
tail = b"note" + struct.pack("<I", 4) + b"done"
(folder / "long.wav").write_bytes(
    b"RF64" + b"\xff" * 4 + b"WAVEds64" + sizes + form + b"data" + b"\xff" * 4 + data + tail)

times = n / RATE
for name, dialect, decimal in [("excel", "excel", "."), ("tabs", "excel-tab", "."), ("unix", "unix", ".")]:
    with open(folder / f"{name}.csv", "w", newline="") as file:
        writer = csv.writer(file, dialect)
        writer.writerow(["time (s)", "rail (V)"])
        writer.writerows([f"{t:.9g}", f"{v:.6g}"] for t, v in zip(times, volts))
with open(folder / "semicolons.csv", "w", newline="", encoding="utf-16") as file:
    writer = csv.writer(file, delimiter=";", quoting=csv.QUOTE_ALL)
    writer.writerow(["Zeit (s)", "Gleis (V)"])
    writer.writerows([f"{t:.9f}".replace(".", ","), f"{v:.4f}".replace(".", ",")] for t, v in zip(times, volts))
np.savetxt(folder / "savetxt.csv", np.stack([times, volts], axis=1), delimiter=",", header="time (s),rail (V)")
text = io.StringIO()
np.savetxt(text, np.stack([times, volts], axis=1), delimiter="\t", fmt="%.8e", header="time\trail\ns\tV", comments="")
(folder / "savetxt.tsv").write_text(text.getvalue())
(folder / "truth.txt").write_text("\n".join(str(int(c)) for c in codes))
