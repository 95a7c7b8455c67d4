"""A monitor of another machine on a pseudo-terminal, to play sessions against: it speaks its own vocabulary, at a line's pace, and misbehaves on request.

    bench.py CROSSED [--baud N] [--mode MODE] [--at N] [--echo no]

Its first line of output is the terminal's name. All that crosses goes into the file CROSSED, a line a piece: `in HEX` or `out HEX`. It ends with its
parent, or when its standard input ends.

Commands: `mem ADDRESS COUNT` shows memory as `0400> 4e71 4e71 ...`, eight words a line; `set ADDRESS VALUE`; `save N` pretends to write block N.

Modes, each from byte N of its answers on: drop, double, garble (one byte each), silence, prompt (the next one is another), reset (the answer is
cut off, and the greeting comes), unplug (the terminal is closed), junk (ten million bytes), endless (lines that never end).
"""

import os
import random
import select
import sys
import time
import tty


def option(name, usual):
    return sys.argv[sys.argv.index(name) + 1] if name in sys.argv else usual


BAUD = int(option("--baud", "9600"))
MODE = option("--mode", "none")
AT = int(option("--at", "60"))
ECHO = option("--echo", "yes") == "yes"
PROMPT = b"\r\nBENCH 2 READY>"

master, slave = os.openpty()
tty.setraw(master)
tty.setraw(slave)
print(os.ttyname(slave), flush=True)
crossed = open(sys.argv[1], "w", buffering=1)
memory = {}
said = 0
is_silent = False
has_other_prompt = False
is_done = False


def byte(address):
    return memory.get(address, (address * 5 + 1) & 0xFF)


def put(data):
    """Sends bytes at the line's pace: 10 bits each, as 8n1 has (EIA-404)."""
    while data:
        piece, data = data[:16], data[16:]
        started = time.monotonic()
        os.write(master, piece)
        crossed.write("out " + piece.hex() + "\n")
        left = len(piece) * 10 / BAUD - (time.monotonic() - started)
        if left > 0:
            time.sleep(left)


def say(data):
    """Sends an answer, with the fault that was asked for."""
    global said, is_silent, has_other_prompt, is_done
    if is_silent:
        return
    start, said = said, said + len(data)
    if is_done or MODE == "none" or not start <= AT < said:
        put(data)
        return
    is_done = True
    cut = AT - start
    before, hit, behind = data[:cut], data[cut : cut + 1], data[cut + 1 :]
    put(before)
    if MODE == "drop":
        put(behind)
    elif MODE == "double":
        put(hit + hit + behind)
    elif MODE == "garble":
        put(bytes([hit[0] ^ 0x80]) + behind)
    elif MODE == "silence":
        is_silent = True
    elif MODE == "prompt":
        has_other_prompt = True
        put(hit + behind)
    elif MODE == "reset":
        put(b"\r\nBENCH 2 STARTS" + PROMPT)
        raise InterruptedError
    elif MODE == "unplug":
        os.close(master)
        sys.exit(0)
    elif MODE == "junk":
        noise = random.Random(1)
        for _ in range(10_000_000 // 4096 + 1):
            piece = noise.randbytes(4096)
            crossed.write("out " + piece.hex() + "\n")
            while piece:
                ready = select.select([], [master], [], 0.5)[1]
                if not ready:
                    return
                piece = piece[os.write(master, piece) :]
    elif MODE == "endless":
        while True:
            put(b"0400> 0000\r\n")
            if select.select([master], [], [], 0)[0]:
                return


def prompt():
    global has_other_prompt
    say(b"\r\n%WAIT%" if has_other_prompt else PROMPT)
    has_other_prompt = False


def answer(line):
    words = line.split()
    if not words:
        return
    try:
        numbers = [int(it, 16) for it in words[1:]]
        if words[0] == "mem":
            address, count = numbers
            end = address + count
            while address < end:
                row = b" ".join(b"%02x%02x" % (byte(at), byte(at + 1)) for at in range(address, min(address + 16, end), 2))
                say(b"%04x> %s\r\n" % (address, row))
                address += 16
            return
        if words[0] == "set":
            memory[numbers[0]] = numbers[1] & 0xFF
            return
        if words[0] == "save":
            say(b"saved %d\r\n" % numbers[0])
            return
    except (ValueError, IndexError):
        pass
    say(b"?? what is " + line.encode("latin-1") + b"\r\n")


typed = ""
while True:
    ready = select.select([master, sys.stdin], [], [], 1)[0]
    if sys.stdin in ready and not sys.stdin.buffer.read1(1):
        break
    if os.getppid() == 1:
        break
    if master not in ready:
        continue
    try:
        came = os.read(master, 1)
    except OSError:
        # Nobody has the other end open yet, or any more.
        time.sleep(0.05)
        continue
    crossed.write("in " + came.hex() + "\n")
    try:
        if came == b"\x15":
            typed = ""
            prompt()
        elif came == b"\r":
            say(b"\r\n")
            line, typed = typed, ""
            answer(line)
            prompt()
        else:
            typed += came.decode("latin-1")
            if ECHO:
                say(came)
    except InterruptedError:
        typed = ""
