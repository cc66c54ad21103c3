"""A bench under another name: every instrument of a served model bench is passed on,
byte by byte, and says another name than a model's. While the file `welded` is there, the
supply is not told to switch off. It shares no code with the program under test.

renamed_bench.py FOLDER PORTS: PORTS is what `model-bench --json` printed; prints the same
with the paths at which it passes on, and serves until it is ended.
"""

import json
import os
import pathlib
import select
import sys
import tty

MODEL, NAME = b"BUFFERSTOP MODEL", b"WORKSHOP OWN ONE"


def main():
    folder, ports = pathlib.Path(sys.argv[1]), json.loads(sys.argv[2])["ports"]
    ways, named = {}, []
    for port in ports:
        far = os.open(port["path"], os.O_RDWR | os.O_NOCTTY)
        own, other = os.openpty()
        for end in (far, own, other):
            tty.setraw(end)
        ways[own], ways[far] = (far, port["role"], True), (own, port["role"], False)
        named.append({"role": port["role"], "path": os.ttyname(other)})
    print(json.dumps({"ports": named}), flush=True)
    while True:
        for end in select.select(list(ways), [], [])[0]:
            to, role, outward = ways[end]
            told = os.read(end, 65536)
            if not outward:
                told = told.replace(MODEL, NAME)
            elif role == "supply" and (folder / "welded").exists():
                told = told.replace(b"OUTP OFF", b"*OPC")
            os.write(to, told)


main()
