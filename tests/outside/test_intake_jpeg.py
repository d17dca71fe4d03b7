"""Inks in JPEG: how Adobe's marker says that they are stored (Adobe Technical Note 5116, section 18), against Pillow (libjpeg)."""

import struct

import numpy
from PIL import Image
import pytest

from intake import FORMATS, by_pillow, close, decode

MARKED, PLAIN = FORMATS / "cmyk_app14_marker.jpg", FORMATS / "cmyk_no_marker.jpg"


def segments(picture):
    """Marker and body of every segment before the scan, and the rest (ITU-T T.81, annex B.1.1)."""
    at, found = 2, []
    while picture[at + 1] != 0xDA:
        length = struct.unpack(">H", picture[at + 2:at + 4])[0]
        found.append((picture[at + 1], picture[at + 4:at + 2 + length]))
        at += 2 + length
    return found, picture[at:]


def joined(found, rest):
    """The same as a file again."""
    return b"\xff\xd8" + b"".join(b"\xff" + bytes([marker]) + struct.pack(">H", len(body) + 2) + body for marker, body in found) + rest


def with_marker(picture, body):
    """The file with another of Adobe's markers, or none; it is the first segment."""
    found, rest = segments(picture)
    kept = [segment for segment in found if segment[0] != 0xEE]
    return joined(kept if body is None else [(0xEE, body), *kept], rest)


def pixels_of(picture, folder):
    path = folder / "art.jpg"
    path.write_bytes(picture)
    said, pixels = decode(path)
    assert pixels is not None, said
    assert said["colour_profile"] == "CMYK"
    return pixels


def test_the_fixtures_hold_what_is_said_of_them():
    assert [body[:5] for marker, body in segments(MARKED.read_bytes())[0] if marker == 0xEE] == [b"Adobe"]
    assert [marker for marker, _ in segments(PLAIN.read_bytes())[0] if marker == 0xEE] == []


@pytest.mark.parametrize("body", [b"Adobe", b"Adobe\0d\0", b"Adobe\0d\0\0\0\0", b"Adobx\0d\0\0\0\0\0", b"", b"\0" * 12])
def test_a_marker_that_says_nothing_changes_nothing(body, tmp_path):
    """Five letters, version, two flags, transform: 12 bytes. libjpeg (jdmarker.c, examine_app14) passes over a shorter one
    and one of another name, so that the inks are what they were without it."""
    damaged = pixels_of(with_marker(PLAIN.read_bytes(), body), tmp_path)
    assert numpy.array_equal(damaged, pixels_of(PLAIN.read_bytes(), tmp_path))


@pytest.mark.parametrize("body", [b"Adobe", b"Adobe\0d\0\0\0\0", b"Adobx\0d\0\0\0\0\0"])
def test_inks_whose_marker_was_damaged_are_taken_as_stored(body, tmp_path):
    """Without the marker 255 is full ink: the same file without any, not the inverted one."""
    damaged = pixels_of(with_marker(MARKED.read_bytes(), body), tmp_path)
    assert numpy.array_equal(damaged, pixels_of(with_marker(MARKED.read_bytes(), None), tmp_path))
    assert numpy.abs(damaged.astype(int) - pixels_of(MARKED.read_bytes(), tmp_path)).mean() > 20


def test_a_longer_marker_is_as_good(tmp_path):
    """What a later version may add behind the transform is passed over (libjpeg takes 12 bytes and more)."""
    body = next(body for marker, body in segments(MARKED.read_bytes())[0] if marker == 0xEE)
    longer = pixels_of(with_marker(MARKED.read_bytes(), body + b"more"), tmp_path)
    assert numpy.array_equal(longer, pixels_of(MARKED.read_bytes(), tmp_path))


def test_inks_are_inverted_where_adobes_marker_stands(tmp_path):
    """Full inks and none, by hand: Pillow writes the marker with transform 0 and stores 0 for full ink."""
    inks = Image.new("CMYK", (64, 64), (255, 0, 0, 0))
    inks.paste((0, 0, 0, 255), (0, 32, 32, 64))
    inks.paste((0, 0, 0, 0), (32, 0, 64, 32))
    path = tmp_path / "art.jpg"
    inks.save(path, quality=100)
    pixels = pixels_of(path.read_bytes(), tmp_path)
    for place, wanted in (((8, 8), (0, 255, 255)), ((48, 8), (0, 0, 0)), ((8, 48), (255, 255, 255))):
        assert numpy.abs(pixels[place][:3].astype(int) - wanted).max() <= 3, (place, pixels[place])
    turned = pixels_of(with_marker(path.read_bytes(), None), tmp_path)
    # The same numbers as inks: no cyan, and all of the others.
    assert numpy.abs(turned[8, 8][:3].astype(int) - (0, 0, 0)).max() <= 3


def test_inks_kept_as_luma_and_two_differences(tmp_path):
    """Transform 2, YCCK: the colours of stored inks are turned into Y, Cb and Cr (JFIF 1.02), black stays. Pillow writes no such
    file, so that the planes are made here, stored as inks, and the marker is changed."""
    colours = Image.open(MARKED).convert("RGB").resize((160, 128))
    black = Image.linear_gradient("L").resize((160, 128)).point(lambda code: code // 4)
    planes = Image.merge("CMYK", [plane.point(lambda code: 255 - code) for plane in (*colours.convert("YCbCr").split(), black)])
    path = tmp_path / "planes.jpg"
    planes.save(path, quality=98, subsampling=0)
    body = next(body for marker, body in segments(path.read_bytes())[0] if marker == 0xEE)
    path.write_bytes(with_marker(path.read_bytes(), body[:11] + b"\2"))
    stored = Image.open(path)
    assert stored.info["adobe_transform"] == 2
    # libjpeg gives back what the inks were: stored inverted, they are 255 less the colours that Y, Cb and Cr were made of.
    inks = numpy.asarray(stored).astype(int)
    assert numpy.abs(inks[..., :3] - numpy.asarray(colours)).mean() < 2
    pixels = pixels_of(path.read_bytes(), tmp_path)
    right, measured = close(pixels[..., :3], by_pillow(path)[..., :3], 6, 1)
    assert right, measured
