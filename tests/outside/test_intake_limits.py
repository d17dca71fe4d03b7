"""Limits of what is read beside the pixels: metadata, profiles, frames. Each over its limit is refused by name, and whatever
a file holds, it is answered in time."""

import io
import struct
import zlib

from PIL import Image, ImageDraw
import pytest

from png_chunks import behind_header, chunk
from reports import timed_report, told

MIB = 1 << 20
METADATA_BYTES = PROFILE_BYTES = 8 * MIB
FRAMES = 10_000
# Of work, as for hostile drawings.
SECONDS = 5


def disc(side=64):
    picture = Image.new("RGBA", (side, side))
    ImageDraw.Draw(picture).ellipse((8, 8, side - 9, side - 9), fill="darkred")
    return picture


def saved(kind, **options):
    whole = io.BytesIO()
    disc().save(whole, kind, **options)
    return whole.getvalue()


def answered(quoin, folder, name, data):
    """The report on a file that must be answered in time."""
    path = folder / name
    path.write_bytes(data)
    said, took = timed_report(quoin, folder, path)
    assert took < SECONDS, took
    return said


def refused(said, limit, unit):
    """What was measured over a limit."""
    [finding] = told(said, "art.over_limit")
    assert (finding["severity"], finding["limit"], finding["unit"]) == ("reject", limit, unit), finding
    return finding["measured"]


def text_chunk(inflated_bytes, kind):
    """A raw profile (as ImageMagick writes them) that inflates to so many bytes: zTXt (PNG 3rd edition, 11.3.3.3), iTXt
    (11.3.3.4)."""
    head = b"\nexif\n       8\n"
    packed = zlib.compress(head + b"0" * (inflated_bytes - len(head)), 9)
    flags = b"\0" if kind == b"zTXt" else b"\1\0\0\0"
    return chunk(kind, b"Raw profile type exif\0" + flags + packed)


@pytest.mark.parametrize("kind", [b"zTXt", b"iTXt"], ids=bytes.decode)
def test_a_text_that_inflates_over_the_limit_is_refused(quoin, kind, tmp_path):
    said = answered(quoin, tmp_path, "art.png", behind_header(saved("PNG"), text_chunk(METADATA_BYTES + 1, kind)))
    assert refused(said, METADATA_BYTES, "bytes") > METADATA_BYTES


@pytest.mark.parametrize("kind", [b"zTXt", b"iTXt"], ids=bytes.decode)
def test_a_text_at_the_limit_is_taken(quoin, kind, tmp_path):
    said = answered(quoin, tmp_path, "art.png", behind_header(saved("PNG"), text_chunk(METADATA_BYTES, kind)))
    assert said["measures"]["width_px"] == 64 and told(said, "art.over_limit") == []


def test_texts_that_are_not_asked_for_are_not_inflated(quoin, tmp_path):
    """However far they would: a comment is nothing to us."""
    packed = zlib.compress(b"0" * (64 * MIB), 9)
    said = answered(quoin, tmp_path, "art.png", behind_header(saved("PNG"), chunk(b"zTXt", b"Comment\0\0" + packed)))
    assert said["measures"]["width_px"] == 64 and told(said, "art.over_limit") == []


@pytest.mark.parametrize("kind", [b"zTXt", b"iTXt"], ids=bytes.decode)
def test_many_texts_within_the_limit_are_answered_in_time(quoin, kind, tmp_path):
    """600 of 8 kB each, 4.7 GiB once inflated: one by one none is over the limit, and all together they must not cost more."""
    texts = [text_chunk(METADATA_BYTES - 20, kind)] * 600
    said = answered(quoin, tmp_path, "art.png", behind_header(saved("PNG"), *texts))
    assert said["measures"]["width_px"] == 64 or refused(said, METADATA_BYTES, "bytes") > METADATA_BYTES


def directory(fields, following):
    """A directory of a TIFF (TIFF 6.0, section 2), each field's value or its place in one number."""
    entries = b"".join(struct.pack("<HHII", *field) for field in sorted(fields))
    return struct.pack("<H", len(fields)) + entries + struct.pack("<I", following)


def tiff_with_pages(pages, strips):
    """A sound first page, and more whose offsets of strips are one and the same list."""
    whole = bytearray(b"II*\0" + b"\0" * 4)
    at_pixels = len(whole)
    samples = disc().convert("RGBA").tobytes()
    whole += samples
    at_bits = len(whole)
    whole += struct.pack("<4H", 8, 8, 8, 8)
    at_list = len(whole)
    whole += struct.pack("<I", at_pixels) * strips
    first = len(whole)
    whole[4:8] = struct.pack("<I", first)

    def fields(height, count, offsets, rows, counts):
        return [(256, 3, 1, 64), (257, 4, 1, height), (258, 3, 4, at_bits), (259, 3, 1, 1), (262, 3, 1, 2), (273, 4, count, offsets),
                (277, 3, 1, 4), (278, 3, 1, rows), (279, 4, count, counts), (338, 3, 1, 2)]

    length = len(directory(fields(1, 1, 1, 1, 1), 0))
    for page in range(pages + 1):
        following = first + length * (page + 1) if page < pages else 0
        page_fields = fields(64, 1, at_pixels, 64, len(samples)) if page == 0 else fields(strips, strips, at_list, 1, at_list)
        whole += directory(page_fields, following)
    return bytes(whole)


def test_pages_that_share_a_long_list_are_answered_in_time(quoin, tmp_path):
    """4 MB once, 2.4 GB if it is read again for every page; only their number is of use."""
    said = answered(quoin, tmp_path, "few.tif", tiff_with_pages(3, 1000))
    assert said["measures"]["width_px"] == 64 and len(told(said, "art.animated")) == 1
    said = answered(quoin, tmp_path, "many.tif", tiff_with_pages(600, 1_000_000))
    assert told(said, "art.over_limit") or (said["measures"]["width_px"] == 64 and told(said, "art.animated"))


def riff(chunks):
    """A WebP of chunks (RFC 9649, 2.3 and 2.4): each is padded to an even length."""
    body = b"WEBP" + b"".join(kind + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2) for kind, data in chunks)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def webp_with(flags, before=(), after=()):
    """The disc in the extended format (RFC 9649, 2.7), with chunks before and behind its pixels."""
    simple = saved("WEBP", lossless=True)
    at = simple.index(b"VP8L")
    pixels = simple[at + 8:at + 8 + struct.unpack("<I", simple[at + 4:at + 8])[0]]
    side = struct.pack("<I", 63)[:3]
    return riff([(b"VP8X", bytes([flags | 0x10, 0, 0, 0]) + side * 2), *before, (b"VP8L", pixels), *after])


EXIF, ICC, ANIMATION = 0x08, 0x20, 0x02


def test_a_webp_with_a_little_of_everything_is_taken(quoin, tmp_path):
    exif = Image.Exif()
    exif[0x0112] = 1
    sound = webp_with(EXIF | ICC, [(b"ICCP", b"x" * 1000)], [(b"EXIF", exif.tobytes())])
    assert Image.open(io.BytesIO(sound)).getexif()[0x0112] == 1
    said = answered(quoin, tmp_path, "art.webp", sound)
    assert said["measures"]["width_px"] == 64 and told(said, "art.over_limit") == []


def test_a_webp_with_a_large_exif_block_is_refused(quoin, tmp_path):
    said = answered(quoin, tmp_path, "art.webp", webp_with(EXIF, after=[(b"EXIF", b"x" * 60_000_000)]))
    assert refused(said, METADATA_BYTES, "bytes") > METADATA_BYTES


def test_a_webp_with_a_large_profile_is_refused(quoin, tmp_path):
    said = answered(quoin, tmp_path, "art.webp", webp_with(ICC, before=[(b"ICCP", b"x" * 60_000_000)]))
    assert refused(said, PROFILE_BYTES, "bytes") > PROFILE_BYTES


@pytest.mark.parametrize(("frames", "is_over"), [(FRAMES, False), (FRAMES + 1, True), (2**31 - 1, True)])
def test_a_png_that_claims_many_frames(quoin, frames, is_over, tmp_path):
    """`acTL` says how many there are (PNG 3rd edition, 11.3.6.1); they need not be there."""
    control = chunk(b"acTL", struct.pack(">2I", frames, 0))
    said = answered(quoin, tmp_path, "art.png", behind_header(saved("PNG"), control))
    if is_over:
        assert refused(said, FRAMES, "frames") == frames
    else:
        assert said["measures"]["width_px"] == 64 and len(told(said, "art.animated")) == 1


@pytest.mark.parametrize(("frames", "is_over"), [(FRAMES, False), (FRAMES + 1, True), (3 * FRAMES, True)])
def test_a_webp_of_many_frames(quoin, frames, is_over, tmp_path):
    """Nothing claims their number: each is a chunk `ANMF` (RFC 9649, 2.7.1.1). Counted no further than one past the limit."""
    simple = saved("WEBP", lossless=True)
    pixels = simple[simple.index(b"VP8L"):]
    side = struct.pack("<I", 63)[:3]
    # Place, sides less one, 1 ms, neither blended nor cleared away.
    frame = b"\0" * 6 + side * 2 + b"\1\0\0" + b"\2" + pixels
    head = [(b"VP8X", bytes([ANIMATION | 0x10, 0, 0, 0]) + side * 2), (b"ANIM", b"\0" * 6)]
    said = answered(quoin, tmp_path, "art.webp", riff([*head, *[(b"ANMF", frame)] * frames]))
    if is_over:
        assert refused(said, FRAMES, "frames") == FRAMES + 1
    else:
        assert said["measures"]["width_px"] == 64 and len(told(said, "art.animated")) == 1


@pytest.mark.parametrize(("frames", "is_over"), [(FRAMES, False), (FRAMES + 1, True)])
def test_a_gif_of_many_frames(quoin, frames, is_over, tmp_path):
    """Each is an image descriptor with its data (GIF89a, 20 to 22); of small ones, so that the file stays small."""
    whole = saved("GIF")
    assert whole.endswith(b";") and Image.open(io.BytesIO(whole)).n_frames == 1
    # At the corner, 1 x 1 px, codes of 2 bits: clear, colour 0, end.
    more = b",\0\0\0\0\1\0\1\0\0\2\2D\1\0"
    said = answered(quoin, tmp_path, "art.gif", whole[:-1] + more * (frames - 1) + b";")
    if is_over:
        assert refused(said, FRAMES, "frames") == frames
    else:
        assert said["measures"]["width_px"] == 64 and len(told(said, "art.animated")) == 1
