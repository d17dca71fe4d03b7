"""PngSuite (W. van Schaik), pixel by pixel against pypng, a decoder in Python: the files that are shipped here, and all of them
as Debian's source of libspng has them."""

from pathlib import Path
import shutil
import subprocess
import sys
import tarfile

import numpy
import png
import pytest

from intake import FORMATS, decode
from png_chunks import chunk
from reports import LEAST_PX, assert_tiny
from shared import alone

SHIPPED = sorted((FORMATS / "pngsuite").glob("*.png"))
# Files of the suite that are sound, and those that are corrupt on purpose.
SOUND, CORRUPT = 161, 14


def by_pypng(path):
    """Stored samples as codes of RGBA."""
    reader = png.Reader(filename=str(path))
    reader.preamble()
    # Significant bits (sBIT) say where samples came from; they are shown as they stand (PNG 3rd edition, 11.3.2.8).
    reader.sbit = None
    width, height, rows, info = reader.asDirect()
    planes, most = info["planes"], 2 ** info["bitdepth"] - 1
    stored = numpy.array([list(row) for row in rows], dtype=float).reshape(height, width, planes)
    codes = numpy.floor(stored * 255 / most + 0.5).astype(int)
    colours = codes[..., :1].repeat(3, axis=2) if planes < 3 else codes[..., :3]
    alpha = codes[..., -1:] if info["alpha"] else numpy.full((height, width, 1), 255)
    return numpy.concatenate([colours, alpha], axis=2)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_pngsuite_comes_out_pixel_by_pixel(path):
    said, pixels = decode(path)
    assert pixels is not None, said
    assert numpy.array_equal(pixels, by_pypng(path))


def corrupt_files():
    """PngSuite's corrupt files (van Schaik, "PngSuite: corrupted files"), made by its own description from a sound one."""
    sound = (FORMATS / "pngsuite" / "basn0g01.png").read_bytes()
    ihdr = bytearray(sound[16:29])
    rest = sound[33:]

    def header(depth=None, colours=None):
        changed = bytearray(ihdr)
        changed[8], changed[9] = depth if depth is not None else changed[8], colours if colours is not None else changed[9]
        return sound[:8] + chunk(b"IHDR", bytes(changed)) + rest

    at = sound.index(b"IDAT") - 4
    length = int.from_bytes(sound[at:at + 4], "big")
    end = at + 12 + length
    bad_crc = bytearray(sound)
    bad_crc[end - 1] ^= 0x55
    bad_header_crc = bytearray(sound)
    bad_header_crc[29] ^= 0x55
    return {
        "xs1n0g01": b"\x09" + sound[1:], "xs2n0g01": sound[:1] + b"Q" + sound[2:], "xs4n0g01": sound[:3] + b"g" + sound[4:],
        "xs7n0g01": sound[:6] + b" " + sound[7:], "xcrn0g04": sound.replace(b"\r\n", b"\r", 1),
        "xlfn0g04": sound.replace(b"\r\n", b"\n", 1), "xhdn0g08": bytes(bad_header_crc), "xc1n0g08": header(8, 1),
        "xc9n2c08": header(8, 9), "xd0n2c08": header(0, 2), "xd3n2c08": header(3, 2), "xd9n2c08": header(99, 2),
        "xdtn0g01": sound[:at] + sound[end:], "xcsn0g01": bytes(bad_crc),
    }


@pytest.mark.parametrize("name", sorted(corrupt_files()))
def test_corrupt_files_of_pngsuite_are_refused(name, tmp_path):
    path = tmp_path / f"{name}.png"
    path.write_bytes(corrupt_files()[name])
    assert decode(path)[0]["fault"] == "art.unreadable"


def of_apt(cache, *arguments):
    """Runs apt-get with lists of its own, so that it needs no rights and changes nothing on the machine."""
    lists = cache / "lists"
    lists.mkdir(exist_ok=True)
    options = {
        "Dir::Etc::sourcelist": cache / "source.list", "Dir::Etc::sourceparts": "/dev/null", "Dir::State::lists": lists,
        "Dir::Cache": lists, "APT::Sandbox::User": "",
    }
    command = ["apt-get", *(f"-o{name}={value}" for name, value in options.items()), "--quiet", *arguments]
    done = subprocess.run(command, cwd=cache, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr[-500:]


@pytest.fixture(scope="session")
def whole_suite():
    """All of PngSuite out of Debian's source of libspng, whose checks read it; fetched when the tests run, never shipped, and
    kept beside the Python environment. The machine's own sources say where Debian is; apt checks its signatures."""
    cache = Path(sys.prefix) / "libspng-source"
    cache.mkdir(exist_ok=True)
    with alone(cache / "lock"):
        if not list(cache.glob("libspng_*.orig.tar.*")):
            command = ["apt-get", "indextargets", "--format", "$(REPO_URI) $(RELEASE) $(COMPONENT)", "Created-By: Packages"]
            targets = subprocess.run(command, capture_output=True, text=True, check=True).stdout
            places = [line.split() for line in sorted(set(targets.splitlines()))]
            debian = [f"deb-src {where} {release} main" for where, release, component in places
                      if where.rstrip("/").endswith("/debian") and "-" not in release and component == "main"]
            assert debian, f"none of the machine's sources is Debian's main one: {targets}"
            (cache / "source.list").write_text("\n".join(debian) + "\n")
            of_apt(cache, "update")
            of_apt(cache, "source", "--download-only", "libspng")
            shutil.rmtree(cache / "lists")
    folder = cache / "pngsuite"
    [source] = cache.glob("libspng_*.orig.tar.*")
    folder.mkdir(exist_ok=True)
    with tarfile.open(source) as archive:
        for member in archive.getmembers():
            if "/tests/images/" in member.name and member.name.endswith(".png"):
                (folder / Path(member.name).name).write_bytes(archive.extractfile(member).read())
    return sorted(folder.glob("*.png"))


def test_all_of_pngsuite_comes_out_pixel_by_pixel(whole_suite):
    sound = [path for path in whole_suite if not path.name.startswith("x")]
    assert len(sound) == SOUND
    off = {}
    for path in sound:
        said, pixels = decode(path)
        wanted = by_pypng(path)
        if pixels is None or pixels.shape != wanted.shape or not numpy.array_equal(pixels, wanted):
            off[path.name] = said
    assert off == {}


def test_the_smallest_of_pngsuite_are_refused_as_art(quoin, whole_suite, tmp_path):
    """s01 to s09, each in two ways, and cdsn2c08 of 8 x 8 px."""
    small = [path for path in whole_suite if not path.name.startswith("x") and max(by_pypng(path).shape[:2]) < LEAST_PX]
    assert len(small) == 19
    for path in small:
        assert_tiny(quoin, path, tmp_path)


def test_all_corrupt_files_of_pngsuite_are_refused(whole_suite):
    corrupt = [path for path in whole_suite if path.name.startswith("x")]
    assert len(corrupt) == CORRUPT and {path.stem for path in corrupt} == set(corrupt_files())
    said = {path.name: decode(path)[0].get("fault") for path in corrupt}
    assert set(said.values()) == {"art.unreadable"}, said
