"""TIFFs written by hand, for kinds that Pillow does not write (TIFF 6.0, section 2)."""

import struct

import numpy


def tiff_of(samples, bits, photometric, extra=(), order="<"):
    """A TIFF of one strip, not packed, as TIFF 6.0, section 2, lays it out; rows are padded to whole bytes."""
    height, width, count = samples.shape
    stored = b""
    for row in samples.reshape(height, width * count):
        if bits == 16:
            stored += row.astype(f"{order}u2").tobytes()
        else:
            codes = ((row[:, None] >> numpy.arange(bits - 1, -1, -1)) & 1).astype(numpy.uint8).ravel()
            stored += numpy.packbits(codes).tobytes()
    fields = [(256, 3, [width]), (257, 3, [height]), (258, 3, [bits] * count), (259, 3, [1]), (262, 3, [photometric]),
              (273, 4, [8]), (277, 3, [count]), (278, 3, [height]), (279, 4, [len(stored)]), *extra]
    at, directory, values = 8 + len(stored) + len(stored) % 2, b"", b""
    after = at + 2 + 12 * len(fields) + 4
    for tag, kind, numbers in sorted(fields):
        packed = struct.pack(f"{order}{len(numbers)}{'H' if kind == 3 else 'I'}", *numbers)
        place = packed.ljust(4, b"\0") if len(packed) <= 4 else struct.pack(f"{order}I", after + len(values))
        values += packed if len(packed) > 4 else b""
        directory += struct.pack(f"{order}HHI", tag, kind, len(numbers)) + place
    head = (b"II*\0" if order == "<" else b"MM\0*") + struct.pack(f"{order}I", at)
    return head + stored + b"\0" * (len(stored) % 2) + struct.pack(f"{order}H", len(fields)) + directory + b"\0" * 4 + values
