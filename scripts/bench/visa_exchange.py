"""Times PyVISA-py's query of one line on a pseudo-terminal that echoes, for `cargo bench -- exchange`.

usage: visa_exchange.py PATH ROUNDS LINE; prints the median in seconds.
"""

import statistics
import sys
import time

import pyvisa

path, rounds, line = sys.argv[1], int(sys.argv[2]), sys.argv[3]
port = pyvisa.ResourceManager("@py").open_resource(f"ASRL{path}::INSTR", baud_rate=115200)
port.read_termination = "\n"
port.write_termination = "\n"
port.timeout = 5000
times = []
for _ in range(rounds):
    begun = time.perf_counter()
    answer = port.query(line)
    times.append(time.perf_counter() - begun)
    if answer != line:
        raise SystemExit(f"the echo answered {answer!r}")
print(statistics.median(times))
