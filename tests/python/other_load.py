"""An electronic load with a dialect of its own behind a socket, in front of the
model circuit: numbers with their unit, lines that end with CR LF, words for
states, no error queue, no completion. It stands for no product.

other_load.py PORT: speaks the model load's SCPI to the terminal PORT, prints its
own socket's number and serves one client after another.
"""

import os
import socket
import sys
import termios
import tty


class Model:
    """The model load behind its terminal."""

    def __init__(self, path):
        self.port = os.open(path, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(self.port, termios.TCSANOW)

    def order(self, line):
        os.write(self.port, line.encode() + b"\n")

    def ask(self, line):
        self.order(line)
        answer = b""
        while not answer.endswith(b"\n"):
            answer += os.read(self.port, 1)
        return answer.decode().strip()


def answered(model, line):
    """The answer to a line, or None where there is none."""
    word, _, rest = line.partition(" ")
    parts = rest.split("/") if rest else []
    if word == "WHO":
        return "BENCH LOAD 3, a model: BUFFERSTOP MODEL"
    if word == "U?":
        return f"{float(model.ask('MEAS:VOLT?')):.3f}V"
    if word == "I?":
        return f"I={1e3 * float(model.ask('MEAS:CURR?')):.1f} mA"
    if word == "BUSY?":
        return "WORKING" if int(model.ask("STAT:OPER:COND?")) & 8 else "READY"
    orders = {
        "CC": lambda: "FUNC:MODE CURR",
        "CR": lambda: "FUNC:MODE RES",
        "AMPS": lambda: f"CURR {parts[0]}",
        "OHMS": lambda: f"RES {parts[0]}",
        "GO": lambda: "INP ON",
        "REST": lambda: "INP OFF",
        "HALT": lambda: "ABOR",
        "PULSE": lambda: f"CURR:TRIG {parts[0]};:PULS:WIDT {parts[1]};:INIT",
        "RAMP": lambda: f"CURR:STAR {parts[0]};STOP {parts[1]};:SWE:TIME {parts[2]};:INIT:SWE",
    }
    if word in orders:
        model.order(orders[word]())
    return None


def main():
    model = Model(sys.argv[1])
    listening = socket.create_server(("127.0.0.1", 0))
    print(listening.getsockname()[1], flush=True)
    while True:
        client, _ = listening.accept()
        waiting = b""
        with client:
            while received := client.recv(4096):
                waiting += received
                *lines, waiting = waiting.split(b"\r\n")
                for line in lines:
                    answer = answered(model, line.decode().strip())
                    if answer is not None:
                        client.sendall(answer.encode() + b"\r\n")


main()
