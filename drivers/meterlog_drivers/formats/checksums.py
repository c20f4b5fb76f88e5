"""The checks that frames end with: sums, exclusive or, CRC-8 and CRC-16 of any polynomial."""

from __future__ import annotations

from collections.abc import Callable
from functools import reduce
from operator import xor

Checksum = Callable[[bytes], int]

KINDS = {"sum8": 1, "sum16": 2, "xor8": 1, "crc8": 1, "crc16": 2}
"""The kinds and how many bytes each takes."""


def checksum(
    kind: str,
    polynomial: int = 0,
    initial: int = 0,
    reflected: bool = False,
    final_xor: int = 0,
    negate: bool = False,
) -> Checksum:
    """A checksum as a function of the bytes that it covers.

    The parameters are those of the Rocksoft model (R. Williams, 'A painless guide to CRC error detection
    algorithms', 1993): CRC-16 of Modbus is polynomial 0x8005, initial 0xFFFF, reflected.

    Args:
        kind: one of `KINDS`.
        polynomial: of a CRC, without its top bit, not reflected.
        initial: the register's first content, or what a sum begins with.
        reflected: the least significant bit goes first, in and out.
        final_xor: applied to the result.
        negate: the two's complement of the result, so that all bytes add to 0.
    """
    width = 8 * KINDS[kind]
    mask = (1 << width) - 1

    if kind.startswith("crc"):
        table = [
            _reflected_step(n, polynomial, width) if reflected else _step(n, polynomial, width) for n in range(256)
        ]
        start = int(f"{initial:0{width}b}"[::-1], 2) if reflected else initial

        def plain(data: bytes) -> int:
            register = start
            for byte in data:
                if reflected:
                    register = register >> 8 ^ table[(register ^ byte) & 0xFF]
                else:
                    register = (register << 8 & mask) ^ table[register >> (width - 8) ^ byte]
            return register

    elif kind == "xor8":

        def plain(data: bytes) -> int:
            return reduce(xor, data, initial)

    else:

        def plain(data: bytes) -> int:
            return sum(data) + initial

    def finished(data: bytes) -> int:
        result = plain(data) & mask ^ final_xor
        return -result & mask if negate else result

    return finished


def _step(index: int, polynomial: int, width: int) -> int:
    register = index << (width - 8)
    for _ in range(8):
        register = register << 1 ^ (polynomial if register >> (width - 1) else 0)
        register &= (1 << width) - 1
    return register


def _reflected_step(index: int, polynomial: int, width: int) -> int:
    backwards = int(f"{polynomial:0{width}b}"[::-1], 2)
    register = index
    for _ in range(8):
        register = register >> 1 ^ (backwards if register & 1 else 0)
    return register
