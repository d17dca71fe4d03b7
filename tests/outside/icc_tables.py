"""Colour profiles with tables, made by hand: ICC.1:2022, clause 7.2 (header), 7.3 (tag table), 10.10 (lut16Type), 10.12
(lutAToBType)."""

import struct

import numpy

from intake import lab

GRID, ENTRIES = 17, 256
# The illuminant of the profile connection space (ICC.1:2022, 7.2.16), as s15Fixed16Number.
D50 = struct.pack(">3I", 0xF6D6, 0x10000, 0xD32D)


def nodes(order):
    """L*a*b* of each node of the table, the first channel slowest; the channels are taken in some other order, so that a table
    which is not used shows."""
    steps = numpy.linspace(0, 255, GRID)
    rgb = numpy.stack(numpy.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    return lab(rgb[:, list(order)])


def lut16(order):
    """`mft2`: an identity matrix, straight curves, the table; L*a*b* in the old 16 bit encoding (10.10): 0xFF00 is 100
    and 0x8000 is 0."""
    colours = nodes(order)
    codes = numpy.stack([colours[:, 0] * 652.8, (colours[:, 1] + 128) * 256, (colours[:, 2] + 128) * 256], axis=-1)
    straight = numpy.linspace(0, 65535, ENTRIES).round().astype(">u2").tobytes() * 3
    matrix = struct.pack(">9i", 1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 16)
    head = b"mft2\0\0\0\0" + bytes([3, 3, GRID, 0]) + matrix + struct.pack(">HH", ENTRIES, ENTRIES)
    return head + straight + codes.round().clip(0, 65535).astype(">u2").tobytes() + straight


def lut_a_to_b(order):
    """`mAB `: straight A curves, the table, straight B curves; L*a*b* in the new encoding (6.3.4): 0xFFFF is 100, 0x8080 is 0."""
    colours = nodes(order)
    codes = numpy.stack([colours[:, 0] * 655.35, (colours[:, 1] + 128) * 257, (colours[:, 2] + 128) * 257], axis=-1)
    curves = (b"curv\0\0\0\0" + b"\0" * 4) * 3
    table = bytes([GRID] * 3).ljust(16, b"\0") + bytes([2, 0, 0, 0]) + codes.round().clip(0, 65535).astype(">u2").tobytes()
    table += b"\0" * (-len(table) % 4)
    at_b, at_a = 32, 32 + len(curves)
    at_table = at_a + len(curves)
    head = b"mAB \0\0\0\0" + bytes([3, 3, 0, 0]) + struct.pack(">5I", at_b, 0, 0, at_table, at_a)
    return head + curves + curves + table


def profile(tables, kind, version=4):
    """An RGB profile with tables to L*a*b* and what every profile must have (ICC.1:2022, 8.2)."""
    if version == 4:
        text = lambda words: b"mluc\0\0\0\0" + struct.pack(">2I2s2s2I", 1, 12, b"en", b"US", 2 * len(words), 28) + words.encode("utf-16-be")
        described, right = text("tables"), text("none")
    else:
        described = b"desc\0\0\0\0" + struct.pack(">I", 7) + b"tables\0" + b"\0" * 78
        right = b"text\0\0\0\0none\0"
    tags = [(b"desc", described), *tables, (b"wtpt", b"XYZ \0\0\0\0" + D50), (b"cprt", right)]
    at, index, body = 128 + 4 + 12 * len(tags), b"", b""
    for name, data in tags:
        index += name + struct.pack(">2I", at + len(body), len(data))
        body += data + b"\0" * (-len(data) % 4)
    head = struct.pack(">I4sI4s4s4s6H4s", at + len(body), b"none", version << 24, kind, b"RGB ", b"Lab ", 2020, 1, 1, 0, 0, 0, b"acsp")
    head = (head + b"\0" * 28 + D50).ljust(128, b"\0")
    return head + struct.pack(">I", len(tags)) + index + body
