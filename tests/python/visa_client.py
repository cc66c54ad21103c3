"""Talks to `bufferstop model-bench` as a client that nobody of this project wrote: PyVISA with its pure-Python backend.

usage: visa_client.py PORTS.json

PORTS.json is what the command prints with --json. Each check is an assertion; the last line counts them. The error
numbers are those of SCPI-1999 volume 2, chapter 21 (-113 undefined header, -222 data out of range, 0 no error).
"""

import json
import sys
import time

import pyvisa

checks = 0


def check(truth, what):
    global checks
    checks += 1
    if not truth:
        raise SystemExit(f"check {checks} failed: {what}")


def open_port(manager, path):
    port = manager.open_resource(f"ASRL{path}::INSTR", baud_rate=115200)
    port.read_termination = "\n"
    port.write_termination = "\n"
    port.timeout = 5000
    return port


def main(ports_file):
    with open(ports_file, encoding="utf-8") as file:
        paths = {port["role"]: port["path"] for port in json.load(file)["ports"]}
    manager = pyvisa.ResourceManager("@py")
    supply, load, capture, drive = (open_port(manager, paths[role]) for role in ("supply", "load", "capture", "drive"))

    for role, port in (("SUPPLY", supply), ("LOAD", load), ("CAPTURE", capture), ("DRIVE", drive)):
        fields = port.query("*IDN?").split(",")
        check(len(fields) == 4, f"*IDN? of {role} has four fields: {fields}")  # IEEE 488.2-1992, 10.14
        check(fields[1] == role, f"*IDN? of {role} names it: {fields}")

    supply.write("*CLS")
    supply.write("VOLT 18")
    check(float(supply.query("VOLT?")) == 18.0, "a setting reads back")
    check(float(supply.query("SOURce:VOLTage:LEVel:IMMediate:AMPLitude?")) == 18.0, "so does its long form")
    supply.write("CURR 5;:OUTP ON")
    check(supply.query("*OPC?") == "1", "*OPC? answers 1")
    check(supply.query("OUTP?") == "1", "the output is on")
    check(abs(float(supply.query("MEAS:VOLT?")) - 18.0) < 0.05, "the supply measures what it gives")
    check(supply.query("SYST:ERR?") == '0,"No error"', "no error so far")

    supply.write("NONSENSE 1")
    check(supply.query("SYST:ERR?").startswith("-113,"), "an undefined header is error -113")
    supply.write("VOLT 1000")
    check(supply.query("SYST:ERR?").startswith("-222,"), "a voltage out of range is error -222")
    check(supply.query("SYST:ERR?").startswith("0,"), "reading empties the queue")
    check(float(supply.query("VOLT?")) == 18.0, "a refused setting changes nothing")

    drive.write("SIGN:HOLD POS;:SIGN ON;:CONT:ENAB 1")
    check(drive.query("*OPC?") == "1", "the drive obeys")
    load.write("FUNC:MODE CURR;:CURR 2;:INP ON")
    check(load.query("*OPC?") == "1", "the load obeys")
    time.sleep(0.2)
    check(abs(float(load.query("MEAS:CURR?")) - 2.0) < 0.05, "the load draws what it was told")

    capture.write("SWE:TINT 1E-6;POIN 1000;OFFS:POIN 0")
    capture.write("TRIG:SOUR IMM;:INIT")
    for _ in range(100):
        if int(capture.query("STAT:OPER:COND?")) == 0:
            break
        time.sleep(0.02)
    preamble = [float(field) for field in capture.query("TRAC:PRE? CHAN1").split(",")]
    check(preamble[0] == 1000, f"the preamble counts 1000 samples: {preamble}")
    codes = capture.query_binary_values("TRAC? CHAN1,0,1000", datatype="h", is_big_endian=True, container=list)
    check(len(codes) == 1000, "the block holds 1000 samples")
    volts = [preamble[4] + preamble[3] * code for code in codes]
    mean = 10.0 * sum(volts) / len(volts)
    check(15.0 < mean < 18.0, f"the held output is a loaded 18 V: {mean}")
    check(capture.query("SYST:ERR?").startswith("0,"), "the capture device saw no error")

    load.write("INP OFF")
    supply.write("OUTP OFF")
    check(supply.query("OUTP?") == "0", "the output is off")
    print(f"{checks} passed, 0 failed")


main(sys.argv[1])
