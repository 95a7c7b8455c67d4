#!/usr/bin/env python3
"""The Skerry 12 as a process of its own: the demo's ROM on a processor core, with a serial line to the outside.

    skerry.py [--rom FILE] [--image FILE] [--listen PORT] [--baud N] [--unplug-after N] [--protect] [--key HEX,...]
              [--bad-sector N[:TIMES]]

Without --listen the line is a pseudo-terminal, whose name is the first line of output. With it, a TCP port of this computer: the first line is
its number, 0 chooses a free one, and the machine is switched on by the first who connects.

--rom FILE        the ROM; without it, what the GNU tools make of tests/demo/skerry, service monitor and all
--image FILE      the disk in the drive, as its sectors in order, of a size that the table FORMATS has; without it the drive is empty
--protect         the disk is write-protected
--baud N          characters of ten bits are no faster than that, in each direction
--unplug-after N  the line closes when N bytes have been sent; a TCP port can be connected to again
--key HEX,...     the key that is held down at reset (D: stay at the prompt), or `none`; behind it those that the next looks at the panel
                  find, the last of them for good
--bad-sector N    the data of sector N, counted from 0, do not have their CRC; with :TIMES only that often

Simple models of what the ROM touches: no time passes in the disk drive, and what is not there reads as 0. Ends with the process that started it.

Needs the package machine68k (tests/install-tools.sh judges). The chips by their data sheets: MC68681, WD1772.
"""

import argparse
import os
import pathlib
import select
import socket
import subprocess
import sys
import tempfile
import time
import tty

import machine68k

HERE = pathlib.Path(__file__).resolve().parent
PAGE = 0x10000
MEMORY_KIB = 1024
ROM_BYTES = 0x40000
SECTOR_BYTES = 512
CYLINDERS = 80
# Bytes of an image, its sides and its sectors on a track.
FORMATS = {737280: (2, 9), 655360: (2, 8), 368640: (1, 9), 327680: (1, 8)}
# Clocks of the processor between two looks at the line.
SLICE = 2000
# Seconds: the longest sleep while nothing happens.
NAP = 0.05


class Duart:
    """Channel A of the MC68681: mode registers are taken and have no effect, the rate is that of --baud."""

    RECEIVED, ROOM, EMPTY = 0x01, 0x04, 0x08

    def __init__(self, line, baud):
        self.line = line
        self.seconds = 10 / baud if baud else 0
        self.receives = self.sends = False
        self.holding = None
        self.next_in = self.next_out = 0
        # Looks at the status, one after the other, at which nothing had come.
        self.looks = 0

    def is_idle(self):
        return self.looks > 16

    def poll(self):
        """Takes a character from the line if one is due."""
        now = time.monotonic()
        if self.receives and self.holding is None and self.line.arrived and now >= self.next_in:
            self.holding = self.line.arrived.pop(0)
            self.next_in = now + self.seconds

    def read(self, register):
        if register == 1:
            self.poll()
            status = 0 if self.holding is None else self.RECEIVED
            if self.sends and (not self.seconds or time.monotonic() >= self.next_out):
                status |= self.ROOM | self.EMPTY
            self.looks = self.looks + 1 if self.holding is None else 0
            return status
        if register == 3:
            byte, self.holding = self.holding, None
            return byte or 0
        return 0

    def write(self, register, value):
        if register == 2:
            if value & 0x01 or value & 0x02 or value >> 4 == 2:
                self.receives = bool(value & 0x01)
            if value & 0x04 or value & 0x08 or value >> 4 == 3:
                self.sends = bool(value & 0x04)
        elif register == 3 and self.sends:
            self.line.send(value)
            self.next_out = time.monotonic() + self.seconds
            self.looks = 0


class Drive:
    """The WD1772 and one drive."""

    BUSY, REQUEST, TRACK_0, BAD_CRC, MISSING, PROTECTED = 0x01, 0x02, 0x04, 0x08, 0x10, 0x40

    def __init__(self, image, is_protected, bad_sector):
        self.image = image
        self.is_protected = is_protected
        # Its number, and how often it is still bad.
        self.bad_sector, self.times_bad = bad_sector
        self.latch = self.track = self.sector = self.data = self.head = 0
        # The status, and what it will be behind the last byte of a sector.
        self.status = self.ending = 0
        # Bytes of the sector that still go through the data register, and where a written one belongs.
        self.left, self.wanted, self.place = [], bytearray(), None

    def is_ready(self):
        return self.image is not None and self.latch & 1

    def read(self, register):
        if register == 3:
            if self.left:
                self.data = self.left.pop(0)
                if not self.left:
                    self.status = self.ending
            return self.data
        return (self.status, self.track, self.sector)[register]

    def write(self, register, value):
        if register == 0:
            self.command(value)
        elif register == 1:
            self.track = value
        elif register == 2:
            self.sector = value
        else:
            self.data = value
            if self.place is not None:
                self.take(value)

    def command(self, value):
        self.left, self.place = [], None
        if value >> 4 == 0xD:
            self.status = 0
        elif not self.is_ready():
            # Without index pulses the motor's start never ends.
            self.status = self.BUSY
        elif value >> 4 in (0, 1):
            self.track = 0 if value >> 4 == 0 else self.data
            self.head = min(self.track, CYLINDERS - 1)
            self.status = 0 if self.head else self.TRACK_0
            if value & 0x04 and self.track != self.head:
                self.status |= self.MISSING
            if self.is_protected:
                self.status |= self.PROTECTED
        elif value >> 5 == 0b100:
            place = self.find()
            if place is not None:
                self.image.seek(place)
                self.left = list(self.image.read(SECTOR_BYTES))
                self.status, self.ending = self.BUSY | self.REQUEST, 0
                if place == self.bad_sector * SECTOR_BYTES and self.times_bad > 0:
                    self.times_bad -= 1
                    self.ending = self.BAD_CRC
        elif value >> 5 == 0b101:
            if self.is_protected:
                self.status = self.PROTECTED
                return
            self.place = self.find()
            if self.place is not None:
                self.wanted = bytearray()
                self.status = self.BUSY | self.REQUEST
        else:
            self.status = self.MISSING

    def find(self):
        """Where the sector begins in the image; without one the status says so."""
        sides, sectors = FORMATS[os.fstat(self.image.fileno()).st_size]
        side = self.latch >> 1 & 1
        if self.track != self.head or side >= sides or not 1 <= self.sector <= sectors:
            self.status = self.MISSING
            return None
        return ((self.track * sides + side) * sectors + self.sector - 1) * SECTOR_BYTES

    def take(self, value):
        self.wanted.append(value)
        if len(self.wanted) == SECTOR_BYTES:
            self.image.seek(self.place)
            self.image.write(self.wanted)
            self.image.flush()
            self.place, self.status = None, 0


class Line:
    """What both kinds of lines do: bytes that arrived, bytes that leave, and the cable that is pulled once."""

    def __init__(self, unplug_after):
        self.arrived = []
        self.leaving = bytearray()
        self.unplug_after = unplug_after
        self.sent = 0

    def send(self, byte):
        if self.is_pulled():
            return
        self.leaving.append(byte)
        self.sent += 1

    def is_pulled(self):
        return self.unplug_after is not None and self.sent >= self.unplug_after


class Port(Line):
    """A TCP port with one caller at a time. What is sent while nobody listens is lost."""

    def __init__(self, port, unplug_after):
        super().__init__(unplug_after)
        self.server = socket.create_server(("127.0.0.1", port))
        self.caller = None
        self.name = str(self.server.getsockname()[1])

    def serve(self, seconds):
        """Moves bytes, and waits for some at most so long."""
        if self.caller is None:
            self.leaving.clear()
            if select.select([self.server], [], [], seconds)[0]:
                self.caller = self.server.accept()[0]
                self.caller.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            return
        try:
            if self.leaving:
                self.caller.sendall(self.leaving)
                self.leaving.clear()
            if self.is_pulled():
                self.unplug_after = None
                self.hang_up()
            elif select.select([self.caller], [], [], seconds)[0]:
                bytes_read = self.caller.recv(4096)
                self.arrived += bytes_read
                if not bytes_read:
                    self.hang_up()
        except OSError:
            self.hang_up()

    def hang_up(self):
        self.caller.close()
        self.caller = None
        self.leaving.clear()


class Terminal(Line):
    """A pseudo-terminal. Its own end of the far side stays open, so that callers may come and go."""

    def __init__(self, unplug_after):
        super().__init__(unplug_after)
        self.near, self.far = os.openpty()
        tty.setraw(self.far)
        os.set_blocking(self.near, False)
        self.name = os.ttyname(self.far)

    def serve(self, seconds):
        try:
            if self.leaving:
                del self.leaving[: os.write(self.near, self.leaving)]
        except BlockingIOError:
            # Nobody reads: what does not fit is lost, as on a line.
            self.leaving.clear()
        if self.is_pulled() and not self.leaving:
            # It cannot be plugged in again: its name is gone.
            sys.exit(0)
        if select.select([self.near], [], [], seconds)[0]:
            self.arrived += os.read(self.near, 4096)


class Board:
    """Processor, memory and what is decoded behind the addresses of skerry.i."""

    def __init__(self, rom, duart, drive, keys):
        self.duart, self.drive, self.keys = duart, drive, keys
        self.lamps = self.pen = 0
        self.machine = machine68k.Machine(machine68k.CPUType.M68000, MEMORY_KIB)
        memory = self.machine.mem
        memory.w_block(0, bytes(MEMORY_KIB * 1024))
        memory.w_block(0, rom)
        for page, read, write in (
            (0xF00000, lambda at: duart.read(at >> 1 & 15), lambda at, value: duart.write(at >> 1 & 15, value)),
            (0xF10000, lambda at: drive.read(at >> 1 & 3), lambda at, value: drive.write(at >> 1 & 3, value)),
            (0xF20000, lambda at: 0, self.select),
            (0xF30000, self.panel, self.light),
            (0xF40000, lambda at: 0, self.move_pen),
        ):
            # All ports are on the low half of the bus.
            low_read = lambda at, read=read: read(at) if at & 1 else 0
            low_write = lambda at, value, write=write: write(at, value) if at & 1 else None
            memory.set_special_range_read_funcs(
                page,
                r8=low_read,
                r16=lambda at, read=low_read: read(at + 1),
                r32=lambda at, read=low_read: read(at + 1) << 16 | read(at + 3),
            )
            memory.set_special_range_write_funcs(
                page,
                w8=low_write,
                w16=lambda at, value, write=low_write: write(at + 1, value & 0xFF),
                w32=lambda at, value, write=low_write: (write(at + 1, value >> 16 & 0xFF), write(at + 3, value & 0xFF)),
            )
        self.machine.cpu.pulse_reset()

    def select(self, at, value):
        self.drive.latch = value

    def panel(self, at):
        if at & 2:
            return 0
        key = self.keys.pop(0) if len(self.keys) > 1 else self.keys[0]
        return 0 if key is None else 0x80 | key

    def light(self, at, value):
        self.lamps = value

    def move_pen(self, at, value):
        self.pen = value


def arguments():
    parser = argparse.ArgumentParser(description="The Skerry 12 as a process of its own.")
    parser.add_argument("--rom")
    parser.add_argument("--image")
    parser.add_argument("--listen", type=int)
    parser.add_argument("--baud", type=int)
    parser.add_argument("--unplug-after", type=int)
    parser.add_argument("--protect", action="store_true")
    parser.add_argument("--key", default="D")
    parser.add_argument("--bad-sector", default="-1")
    return parser.parse_args()


def assembled():
    """The ROM, made by the GNU tools from the demo's sources."""
    demo = HERE.parent / "demo"
    with tempfile.TemporaryDirectory() as folder:
        image = pathlib.Path(folder) / "rom.bin"
        subprocess.run(["sh", demo / "rom.sh", demo / "skerry", image], check=True, stdout=subprocess.DEVNULL)
        return image.read_bytes()


def main():
    given = arguments()
    rom = pathlib.Path(given.rom).read_bytes() if given.rom else assembled()
    if len(rom) > ROM_BYTES:
        sys.exit(f"skerry.py: the ROM has {len(rom)} bytes, expected at most {ROM_BYTES}")
    image = None
    if given.image:
        image = open(given.image, "rb" if given.protect else "r+b")
        if os.fstat(image.fileno()).st_size not in FORMATS:
            sys.exit(f"skerry.py: {given.image} has none of the sizes {sorted(FORMATS)}")
    keys = [None if it == "none" else int(it, 16) for it in given.key.split(",")]
    number, _, times = given.bad_sector.partition(":")
    bad_sector = int(number), float(times or "inf")

    line = Terminal(given.unplug_after) if given.listen is None else Port(given.listen, given.unplug_after)
    print(line.name, flush=True)
    duart = Duart(line, given.baud)
    board = Board(rom, duart, Drive(image, given.protect, bad_sector), keys)
    parent = os.getppid()
    if given.listen is not None:
        while line.caller is None and os.getppid() == parent:
            line.serve(NAP)
    while os.getppid() == parent:
        board.machine.cpu.execute(SLICE)
        # While it only polls, it would poll as fast as this computer can.
        if duart.seconds and (line.arrived or time.monotonic() < duart.next_out):
            line.serve(duart.seconds)
        elif duart.is_idle() and not line.arrived:
            line.serve(NAP)
        else:
            line.serve(0)


main()
