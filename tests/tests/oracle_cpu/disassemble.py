"""Disassembles the instruction at the start of every 16 bytes of an image, the image's first byte at an address.

    disassemble.py 68000|68010 IMAGE ADDRESS OUTPUT

A line for each: words and text, or nothing where the disassembler sees no instruction.
"""

import sys

import capstone

mode = {"68000": capstone.CS_MODE_M68K_000, "68010": capstone.CS_MODE_M68K_010}[sys.argv[1]]
judge = capstone.Cs(capstone.CS_ARCH_M68K, capstone.CS_MODE_BIG_ENDIAN | mode)
with open(sys.argv[2], "rb") as file:
    image = file.read()
start = int(sys.argv[3])
with open(sys.argv[4], "w") as output:
    for at in range(0, len(image), 16):
        line = ""
        for _, size, name, operands in judge.disasm_lite(image[at : at + 16], start + at, 1):
            if name != "dc.w":
                line = f"{size // 2} {name} {operands}"
        output.write(line + "\n")
