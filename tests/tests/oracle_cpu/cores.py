"""Runs single instructions on two independent processor cores and tells how long they take.

    cores.py INPUT OUTPUT

A line of the input: `CPU WORDS STATE STATE ...`, each state `D1:D2:MEMORY:CCR`, all but the CPU in hex: two data registers, the word that
memory is filled with, the condition codes. A line of the output for each: for either core the shortest and the longest time as
`cycles/reads/writes`, or `-` where the core does not have the CPU. The table-driven core counts no bus cycles: 0.
"""

import sys

import machine68k
import m68000_python

CODE = 0x1000
STACK = 0x3000
SIZE = 0x10000


class Table:
    """The table-driven core."""

    def __init__(self, kind):
        self.machine = machine68k.Machine(kind, SIZE // 1024)
        self.cpu, self.memory = self.machine.cpu, self.machine.mem
        # Whatever a reset takes is counted with the first instruction.
        self.memory.w_block(0, bytes(SIZE))
        self.wake()

    def wake(self):
        self.cpu.pulse_reset()
        self.run([0x4E71], 0, 0, 0x4E71, 0)

    def run(self, words, d1, d2, fill, ccr):
        self.memory.w_block(0x400, fill.to_bytes(2, "big") * ((SIZE - 0x400) // 2))
        # Every vector leads to an even address.
        self.memory.w_block(0, (0x4000).to_bytes(4, "big") * 256)
        for at, word in enumerate(words):
            self.memory.w16(CODE + 2 * at, word)
        cpu = self.cpu
        cpu.w_sr(0x2700 | ccr)
        for number, value in registers(d1, d2):
            cpu.w_reg(machine68k.Register(number), value)
        cpu.w_usp(0x3400)
        cpu.w_pc(CODE)
        cycles = cpu.execute(1).cycles
        if words[0] == 0x4E72:
            self.wake()
        return cycles, 0, 0


class Cycle:
    """The cycle-level core."""

    def run(self, words, d1, d2, fill, ccr):
        code = {CODE + 2 * at: word for at, word in enumerate(words)}
        counts = [0, 0]

        def read_word(address):
            counts[0] += 1
            if address < 0x400:
                return 0x4000 if address & 2 else 0
            return code.get(address, fill)

        def read_byte(address):
            return read_word(address & ~1) >> (0 if address & 1 else 8) & 0xFF

        def write(address, value):
            counts[1] += 1

        cpu = m68000_python.M68000CPU(read_byte, read_word, write, write)
        cpu.set_sr(0x2700 | ccr)
        for number, value in registers(d1, d2):
            cpu.R[number] = value
        cpu.usp = 0x3400
        cpu.set_pc(CODE)
        counts[:] = [0, 0]
        return cpu.step(), counts[0], counts[1]


def registers(d1, d2):
    values = [0, d1, d2, 0, 0, 0x20, 0, 0] + [0x2000 + 0x100 * it for it in range(7)] + [STACK]
    values[8 + 1] = 0x2000
    return enumerate(values)


def main():
    # Only one of the table-driven core may live at a time, so the lines of each CPU are run together.
    with open(sys.argv[1]) as file:
        lines = [line.split() for line in file]
    told = [["-", "-", "-", "-"] for _ in lines]
    kinds = {"68000": machine68k.CPUType.M68000, "68010": machine68k.CPUType.M68010}
    cycle = Cycle()
    for name, kind in kinds.items():
        table = Table(kind)
        for line, out in zip(lines, told):
            if line[0] != name:
                continue
            words = [int(line[1][at : at + 4], 16) for at in range(0, len(line[1]), 4)]
            states = [[int(it, 16) for it in state.split(":")] for state in line[2:]]
            for at, core in ((0, table), (2, cycle)):
                if core is cycle and name != "68000":
                    continue
                runs = [core.run(words, *state) for state in states]
                out[at], out[at + 1] = ("/".join(map(str, it)) for it in (min(runs), max(runs)))
        table.machine.cleanup()
        del table
    with open(sys.argv[2], "w") as file:
        file.writelines(" ".join(it) + "\n" for it in told)


main()
