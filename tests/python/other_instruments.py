"""Five instruments, each with a dialect of its own, in front of the model circuit.
They share no code with the program under test and stand for no product.

other_instruments.py KIND PORT: speaks the model instrument's SCPI to the terminal
PORT by pyserial, prints where it can be reached itself (a socket's number, or the
path of a pseudo-terminal) and serves until it is ended.

KIND is one of
  load         an electronic load behind a socket: numbers with their unit, lines
               that end with CR LF, words for states, no error queue, no completion;
               stuck-load is one whose short of its own input does not end
  list-scope   a capture device behind a socket: samples as volts in ASCII, counted
               from one, words for its states, a factor and an offset by channel
  byte-scope   a capture device behind a socket: samples as blocks of one byte
               without a sign, scales by questions of their own, words of logic
               lines cut to their low byte
  relay-card   a switch card on a pseudo-terminal: single bytes, no line ends, a
               byte to confirm, states as a bitmap
  strict-supply  a supply on a pseudo-terminal: each line echoed and checked by
               CRC-16, a half line forgotten after 300 ms, no error queue
"""

import os
import select
import socket
import struct
import sys
import tempfile
import time
import tty

import serial


class Model:
    """The model instrument behind its terminal."""

    def __init__(self, path):
        self.port = serial.Serial(path, 115200, timeout=60)

    def order(self, line):
        self.port.write(line.encode() + b"\n")

    def ask(self, line):
        self.order(line)
        return self.port.readline().decode().strip()

    def block(self, line):
        self.order(line)
        assert self.port.read(1) == b"#"
        digits = int(self.port.read(1))
        length = int(self.port.read(digits))
        data = self.port.read(length)
        assert self.port.read(1) == b"\n"
        return data


def crc16(data):
    """By long division over the bits, as ITU-T V.41 describes it: 0x29B1 over the
    digits from 1 to 9 when it is begun with ones."""
    register = 0xFFFF
    for byte in data:
        for bit in range(7, -1, -1):
            top = (register >> 15) ^ (byte >> bit & 1)
            register = (register << 1) & 0xFFFF
            if top:
                register ^= 0x1021
    return register


assert crc16(b"123456789") == 0x29B1

RANGES = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 60.0]


class Scope:
    """What both scopes share: the state of the model device."""

    def __init__(self, model):
        self.model = model

    def state(self):
        bits = int(self.model.ask("STAT:OPER:COND?"))
        return "ARMED" if bits & 32 else "FILLING" if bits & 16 else "IDLE"

    def scale(self, channel):
        fields = self.model.ask(f"TRAC:PRE? CHAN{channel}").split(",")
        return float(fields[3]), int(fields[5])

    def codes(self, channel, start, count):
        data = self.model.block(f"TRAC? CHAN{channel},{start},{count}")
        return struct.unpack(f">{count}h", data)

    def words(self, start, count):
        return struct.unpack(f">{count}H", self.model.block(f"TRAC? DIG,{start},{count}"))


class ListScope(Scope):
    ending = b"\r\n"

    def __init__(self, model):
        super().__init__(model)
        self.factor, self.shown, self.depth = {}, set(), 0

    def line(self, line):
        word, *rest = line.split()
        model = self.model
        if word == "ID":
            return "LIST SCOPE 2, a model: BUFFERSTOP MODEL"
        if word == "STATE":
            return f"state={self.state().lower()}"
        if word == "STEP":  # in microseconds
            model.order(f"SWE:TINT {float(rest[0]) * 1e-6:.9g}")
        elif word == "DEPTH":
            self.depth = int(rest[0])
            model.order(f"SWE:POIN {self.depth}")
        elif word == "DEPTH?":
            return str(self.depth)
        elif word == "AHEAD":
            model.order(f"SWE:OFFS:POIN -{int(rest[0])}")
        elif word == "SHOW":
            self.shown.add(int(rest[0]))
        elif word == "FACTOR":
            self.factor[int(rest[0])] = float(rest[1])
        elif word == "DIV":  # four divisions either side
            channel, volts = int(rest[0]), 4 * float(rest[1])
            assert min(abs(volts - known) for known in RANGES) < 1e-9, volts
            model.order(f"VOLT{channel}:RANG {volts}")
        elif word == "SHIFT":
            assert float(rest[1]) == 0
        elif word == "EDGE":
            kind, number, slope, *level = rest
            slope = {"rise": "POS", "fall": "NEG"}[slope]
            if kind == "line":
                model.order(f"TRIG:SOUR DIG{number};SLOP {slope}")
            else:
                model.order(f"TRIG:SOUR INT{number};LEV {level[0]};SLOP {slope}")
        elif word == "FREE":
            model.order("TRIG:SOUR IMM")
        elif word == "RUN":
            model.order("INIT")
        elif word == "HALT":
            model.order("ABOR")
        elif word == "OVER?":
            return str(self.scale(int(rest[0]))[1])
        elif word in ("TRACE", "LOGIC"):
            first, last = (int(number) for number in rest[-1].split("-"))
            if word == "LOGIC":
                return ",".join(str(word) for word in self.words(first - 1, last - first + 1))
            channel = int(rest[0])
            # A channel that is not shown has no samples, one with a factor others.
            assert channel in self.shown
            step = self.scale(channel)[0] * self.factor[channel]
            codes = self.codes(channel, first - 1, last - first + 1)
            return ",".join(f"{code * step:+.5f}" for code in codes)
        return None


class TableScope(ListScope):
    """The same, but its traces are tables: two lines of headings, then an instant in
    seconds and volts in each row, all of it a block with a CRC-16 behind it."""

    def line(self, line):
        answer = super().line(line)
        word, *rest = line.split()
        if word not in ("TRACE", "LOGIC"):
            return answer
        first = int(rest[-1].split("-")[0])
        rows = enumerate(answer.split(","), first)
        text = "TRACE;1\r\ntime/s;value\r\n"
        text += "".join(f"{index * 1e-6:.7E};{value}\r\n" for index, value in rows)
        data = text.encode()
        length = str(len(data)).encode()
        return b"#" + str(len(length)).encode() + length + data + struct.pack("<H", crc16(data))


class RowScope(TableScope):
    """The same once more, as so many plain lines."""

    def line(self, line):
        answer = super().line(line)
        if isinstance(answer, str) or answer is None:
            return answer
        digits = int(answer[1:2])
        return answer[2 + digits:-4]


class ByteScope(Scope):
    ending = b"\n"

    def __init__(self, model):
        super().__init__(model)
        self.source, self.errors = 1, 0

    def line(self, line):
        head, _, rest = line.partition(" ")
        model = self.model
        if head == "WHO?":
            return "BYTE SCOPE, a model: BUFFERSTOP MODEL"
        if head == "ERRORS?":
            found, self.errors = self.errors, 0
            return f"{found} errors"
        if head == "BUSY?":
            return {"ARMED": "2", "FILLING": "1", "IDLE": "0"}[self.state()]
        orders = {
            "PERIOD": "SWE:TINT {}", "SAMPLES": "SWE:POIN {}", "BEFORE": "SWE:OFFS:POIN -{}",
            "NOW": "TRIG:SOUR IMM", "START": "INIT", "STOP": "ABOR",
        }
        if head in orders:
            model.order(orders[head].format(rest))
        elif head == "SOURCE":
            self.source = int(rest)
        elif head == "RANGE":
            channel, volts = rest.split(",")
            model.order(f"VOLT{channel}:RANG {float(volts)}")
        elif head == "TRIGGER":
            kind, number, level, slope = rest.split(",")
            slope = {"0": "NEG", "1": "POS"}[slope]
            if kind == "D":
                model.order(f"TRIG:SOUR DIG{number};SLOP {slope}")
            else:
                model.order(f"TRIG:SOUR INT{number};LEV {level};SLOP {slope}")
        elif head == "CH:SCALE?":  # a code of eight bits is sixteen of the model's
            return f"{16 * self.scale(self.source)[0]:.7E}"
        elif head == "CH:CLIP?":
            return "YES" if self.scale(self.source)[1] else "NO"
        elif head in ("CH:DATA?", "LOGIC?"):
            start, count = (int(number) for number in rest.split(","))
            if head == "LOGIC?":
                data = bytes(word & 0xFF for word in self.words(start, count))
            else:
                # Rounded to the nearest of its own codes; the middle is 128.
                codes = self.codes(self.source, start, count)
                data = bytes(min(255, max(0, (code + 8 >> 4) + 128)) for code in codes)
            length = str(len(data)).encode()
            return b"#" + str(len(length)).encode() + length + data
        else:
            self.errors += 1
        return None


def answer_through(client, answer):
    """Whoever asked may be gone; what else it said is still obeyed."""
    try:
        client.sendall(answer)
    except (BrokenPipeError, ConnectionResetError):
        pass


def heard(client):
    try:
        return client.recv(4096)
    except ConnectionResetError:
        return b""


def serve_socket(instrument):
    listening = socket.create_server(("127.0.0.1", 0))
    print(listening.getsockname()[1], flush=True)
    while True:
        client, _ = listening.accept()
        waiting = b""
        with client:
            while received := heard(client):
                waiting += received
                *lines, waiting = waiting.split(instrument.ending)
                for line in lines:
                    if not line.strip():
                        continue
                    answer = instrument.line(line.decode().strip())
                    if isinstance(answer, str):
                        answer = answer.encode()
                    if answer is not None:
                        answer_through(client, answer + instrument.ending)


def serve_messages(instrument):
    """Each message is one line, each answer one message without an ending."""
    path = os.path.join(tempfile.mkdtemp(), "messages")
    listening = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    listening.bind(path)
    listening.listen()
    print(path, flush=True)
    while True:
        client, _ = listening.accept()
        with client:
            while message := heard(client):
                text = message.decode().strip()
                if not text or "\n" in text or "\r" in text:
                    continue
                answer = instrument.line(text)
                if answer is not None:
                    answer_through(client, answer.encode())


class Load:
    ending = b"\r\n"

    def __init__(self, model):
        self.model = model

    def line(self, line):
        """The answer to a line, or None where there is none."""
        model = self.model
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
            "SHORT": lambda: f"INP:SHOR:PULS {parts[0]}",
        }
        if word == "SHORTED?":
            return "CLOSED" if model.ask("INP:SHOR?") == "1" else "OPEN"
        if word in orders:
            model.order(orders[word]())
        return None


class StuckLoad(Load):
    """The same, but its short goes on, whatever it is told."""

    def line(self, line):
        word = line.partition(" ")[0]
        if word == "SHORT":
            line = "SHORT 900"
        elif word in ("HALT", "REST") and self.model.ask("INP:SHOR?") == "1":
            return None
        return super().line(line)


class RelayCard:
    """Single bytes: I who, P channel time (two bytes, ms), O channel, A all open,
    S states, F fuses, B busy."""

    lengths = {b"P": 4, b"O": 2}

    def __init__(self, model):
        self.model, self.waiting = model, b""

    def bits(self, question):
        states = self.model.ask(f"{question} (@1:8)").split(",")
        return bytes([sum(int(state) << index for index, state in enumerate(states))])

    def take(self, received):
        self.waiting += received
        answers = b""
        while self.waiting:
            command = self.waiting[:1]
            length = self.lengths.get(command, 1)
            if len(self.waiting) < length:
                break
            parameters, self.waiting = self.waiting[1:length], self.waiting[length:]
            answers += self.obey(command, parameters)
        return answers

    def obey(self, command, parameters):
        if command == b"I":
            return b"R8\xb2"
        if command == b"S":
            return self.bits("ROUT:CLOS?")
        if command == b"F":
            return self.bits("ROUT:CONT?")
        if command == b"B":
            return b"\x01" if int(self.model.ask("STAT:OPER:COND?")) & 8 else b"\x00"
        if command == b"P":
            channel, milliseconds = struct.unpack(">BH", parameters)
            self.model.order(f"ROUT:CLOS:PULS (@{channel}),{milliseconds / 1000}")
        elif command == b"O":
            self.model.order(f"ROUT:OPEN (@{parameters[0]})")
        elif command == b"A":
            self.model.order("ROUT:OPEN:ALL")
        else:
            return b"\x15"
        return b"\x06"


class StrictSupply:
    """Lines as `U=18.00*1A2B` and a carriage return, each said back as it came."""

    patience = 0.3
    needs = 0.005

    def __init__(self, model):
        self.model, self.waiting, self.last, self.ready = model, b"", 0.0, 0.0

    def take(self, received):
        now = time.monotonic()
        if now - self.last > self.patience:
            self.waiting = b""
        self.last = now
        self.waiting += received
        *lines, self.waiting = self.waiting.split(b"\r")
        return b"".join(self.answered(line) for line in lines)

    def answered(self, line):
        # What comes too soon after an answer is lost.
        if not line or time.monotonic() < self.ready:
            return b""
        text, _, check = line.partition(b"*")
        echo = line + b"\r"
        if check.upper() != b"%04X" % crc16(text):
            answer = "CHECK"
        else:
            answer = self.obey(text.decode())
        answer = answer.encode()
        self.ready = time.monotonic() + self.needs
        return echo + answer + b"*%04X\r" % crc16(answer)

    def obey(self, line):
        model = self.model
        if line == "NAME":
            return "STRICT SUPPLY, a model: BUFFERSTOP MODEL"
        if line == "U?":
            return f"{float(model.ask('VOLT?')):05.2f}"
        if line == "L?":
            return f"{1000 * float(model.ask('CURR?')):05.0f}"
        if line == "V":
            return f"{float(model.ask('MEAS:VOLT?')):.3f} V"
        if line == "I":
            return f"{1000 * float(model.ask('MEAS:CURR?')):.1f} mA"
        if line == "MODE":
            bits = int(model.ask("STAT:QUES:COND?"))
            return "OVP" if bits & 1 else "HOT" if bits & 16 else "CC" if bits & 2 else "CV"
        if line.startswith("U="):
            assert len(line) == 7, line
            model.order(f"VOLT {float(line[2:])}")
        elif line.startswith("L="):
            assert len(line) == 7 and line[2:].isdigit(), line
            model.order(f"CURR {int(line[2:]) / 1000}")
        elif line == "ON":
            model.order("OUTP ON")
        elif line == "OFF":
            model.order("OUTP OFF")
        else:
            return "WHAT"
        return "OK"


def serve_terminal(instrument):
    own, other = os.openpty()
    tty.setraw(own)
    tty.setraw(other)
    print(os.ttyname(other), flush=True)
    while True:
        select.select([own], [], [])
        answer = instrument.take(os.read(own, 4096))
        if answer:
            os.write(own, answer)


def main():
    kind, path = sys.argv[1:]
    model = Model(path)
    if kind == "load":
        serve_socket(Load(model))
    elif kind == "stuck-load":
        serve_socket(StuckLoad(model))
    elif kind == "message-load":
        serve_messages(Load(model))
    elif kind == "list-scope":
        serve_socket(ListScope(model))
    elif kind == "table-scope":
        serve_socket(TableScope(model))
    elif kind == "row-scope":
        serve_socket(RowScope(model))
    elif kind == "byte-scope":
        serve_socket(ByteScope(model))
    elif kind == "relay-card":
        serve_terminal(RelayCard(model))
    elif kind == "strict-supply":
        serve_terminal(StrictSupply(model))
    else:
        sys.exit(f"no instrument is called {kind}")


main()
