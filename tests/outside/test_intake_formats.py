"""Decoded pixels against an unrelated decoder: Pillow (libpng, libjpeg, libwebp); TIFF and PngSuite have their own files."""

from pathlib import Path
import subprocess
import sys
import tarfile
import zlib

import numpy
from PIL import Image, ImageOps
import pytest

from intake import FORMATS, by_pillow, close, decode, delta_e_2000, lab
from littlecms import reference
from png_chunks import behind_header, chunk
from reports import assert_tiny

# The version whose own test pictures are looked at; fetched when the tests run, never shipped.
PILLOW_SDIST = "pillow==13.0.0"


@pytest.mark.parametrize(
    "name",
    ["grey_alpha.png", "palette_with_alpha.png", "rgba_deflate.tif", "rgba_lzw.tif", "tiff_planar_lzw.tif",
     "tiff_tiled_deflate_predictor.tif", "lossless_alpha.webp", "animated.png", "animated.gif"],
)
def test_lossless_pictures_are_those_of_pillow(name):
    said, pixels = decode(FORMATS / name)
    wanted = by_pillow(FORMATS / name)
    seen = wanted[..., 3] > 0
    assert numpy.array_equal(pixels[..., 3], wanted[..., 3])
    assert numpy.array_equal(pixels[seen], wanted[seen])
    assert said["animated"] == name.startswith("animated")


@pytest.mark.parametrize("name", ["rgba_16bit.png", "rgb_16bit.tif"])
def test_sixteen_bits_are_within_one_code(name):
    """Pillow drops the low byte, we round: at most one code."""
    _, pixels = decode(FORMATS / name)
    right, measured = close(pixels, by_pillow(FORMATS / name), 1, 1)
    assert right, measured


@pytest.mark.parametrize("name", ["lossy_alpha.webp", "animated.webp", "jpeg_named.png"])
def test_lossy_pictures_are_close_to_pillow(name):
    """Decoders may round and upsample differently (ITU-T T.83 allows a code in the transform alone)."""
    _, pixels = decode(FORMATS / name)
    wanted = by_pillow(FORMATS / name)
    seen = wanted[..., 3] > 0
    right, measured = close(pixels[seen], wanted[seen], 12, 0.6)
    assert right, measured


@pytest.mark.parametrize("ending", ["jpg", "webp"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_all_orientations_come_out_upright(orientation, ending):
    _, pixels = decode(FORMATS / f"orientation_{orientation}.{ending}")
    upright = by_pillow(FORMATS / "orientation_upright.png")
    if ending == "jpg":
        flat = upright[..., 3:] / 255
        upright = numpy.concatenate([upright[..., :3] * flat + 255 * (1 - flat), numpy.full_like(flat, 255)], axis=2)
    assert pixels.shape == upright.shape
    seen = upright[..., 3] > 250
    off = numpy.abs(pixels[seen].astype(float) - upright[seen])[..., :3]
    assert off.mean() < 3, off.mean()


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["eXIf", "tEXt", "zTXt", "tif", "jpg"])
def test_orientation_is_read_wherever_it_stands(kind, orientation, tmp_path):
    """A small picture of four colours, tagged in each way; Pillow turns it (it knows no raw profile in zTXt: the same tag)."""
    stored = Image.new("RGB", (48, 32), (200, 30, 30))
    stored.paste((30, 200, 30), (24, 0, 48, 16))
    stored.paste((30, 30, 200), (0, 16, 24, 32))
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / f"turned.{kind if kind in ('tif', 'jpg') else 'png'}"
    if kind in ("eXIf", "jpg"):
        stored.save(path, exif=exif)
    elif kind == "tif":
        stored.save(path, tiffinfo={0x0112: orientation})
    else:
        raw = b"\nexif\n%8d\n" % len(exif.tobytes()) + exif.tobytes().hex().encode() + b"\n"
        stored.save(path)
        whole = path.read_bytes()
        body = b"Raw profile type exif\0" + (raw if kind == "tEXt" else b"\0" + zlib.compress(raw))
        path.write_bytes(behind_header(whole, chunk(kind.encode(), body)))
    _, pixels = decode(path)
    turn = Image.new("RGB", stored.size)
    turn.paste(stored)
    turn.getexif()[0x0112] = orientation
    wanted = numpy.asarray(ImageOps.exif_transpose(turn).convert("RGBA"))
    right, measured = close(pixels, wanted, 255 if kind == "jpg" else 0, 6)
    assert right, measured


def test_cmyk_without_a_profile_looks_right_with_and_without_the_marker():
    """Against Pillow, which knows only inverted files; the plain one holds the same inks."""
    _, marked = decode(FORMATS / "cmyk_app14_marker.jpg")
    right, measured = close(marked[..., :3], by_pillow(FORMATS / "cmyk_app14_marker.jpg")[..., :3], 6, 1)
    assert right, measured
    said, plain = decode(FORMATS / "cmyk_no_marker.jpg")
    assert said["colour_profile"] == "CMYK"
    right, measured = close(plain, marked, 6, 1)
    assert right, measured


@pytest.mark.parametrize("mode", ["1", "L", "P", "RGB", "RGBA"])
def test_bmps_of_common_kinds(mode, tmp_path):
    ramp = numpy.linspace(0, 255, 64 * 48).astype(numpy.uint8).reshape(48, 64)
    colours = Image.merge("RGB", [Image.fromarray(channel) for channel in (ramp, ramp[::-1], 255 - ramp)])
    path = tmp_path / "a.bmp"
    colours.convert(mode).save(path)
    _, pixels = decode(path)
    assert numpy.array_equal(pixels[..., :3], by_pillow(path)[..., :3])


JPEGS = [(mode, options) for mode in ("L", "RGB", "CMYK") for options in ({"progressive": True}, {"subsampling": 0}, {"subsampling": 2}, {"optimize": True})]


@pytest.mark.parametrize(("mode", "options"), [*JPEGS, ("RGB", {"keep_rgb": True})])
def test_jpegs_of_common_kinds(mode, options, tmp_path):
    path = tmp_path / "a.jpg"
    picture = Image.open(FORMATS / "orientation_1.jpg").convert(mode)
    picture.save(path, quality=92, **options)
    said, pixels = decode(path)
    assert pixels is not None, said
    right, measured = close(pixels[..., :3], by_pillow(path)[..., :3], 40, 1.2)
    assert right, measured


@pytest.mark.parametrize(
    ("name", "fault"),
    [("bad_crc.png", "art.unreadable"), ("cut_half.png", "art.unreadable"), ("cut_half.jpg", "art.unreadable"),
     ("empty_file.png", "art.unreadable"), ("text_named.png", "art.unsupported")],
)
def test_broken_files_are_refused(name, fault):
    assert decode(FORMATS / name)[0]["fault"] == fault


@pytest.fixture(scope="session")
def library():
    """Pillow's own test pictures, out of its source distribution; kept beside the Python environment. pip asks a source
    distribution for its metadata, for which the pinned setuptools and pybind11 are there."""
    cache = Path(sys.prefix) / "pillow-sdist"
    if not list(cache.glob("*.tar.gz")):
        cache.mkdir(exist_ok=True)
        command = [sys.executable, "-m", "pip", "download", "--no-deps", "--no-binary", ":all:", "--no-build-isolation", "--disable-pip-version-check", "--quiet", "--dest", str(cache), PILLOW_SDIST]
        done = subprocess.run(command, capture_output=True, text=True)
        if not list(cache.glob("*.tar.gz")):
            pytest.fail(f"Pillow's source distribution cannot be fetched: {done.stderr[-500:]}")
    return tarfile.open(next(cache.glob("*.tar.gz")))


def of_library(library, name, folder):
    member = next(member for member in library.getmembers() if member.name.endswith(f"/Tests/images/{name}"))
    path = folder / Path(name).name
    path.write_bytes(library.extractfile(member).read())
    return path


@pytest.mark.parametrize(
    ("name", "most", "mean"),
    [("l_trns.png", 0, 0), ("rgb_trns.png", 0, 0), ("p_trns_single.png", 0, 0), ("1_trns.png", 0, 0),
     ("apng/blend_op_over.png", 0, 0), ("apng/dispose_op_previous_first.png", 0, 0), ("apng/mode_palette_alpha.png", 0, 0),
     ("exif_imagemagick_orientation.png", 0, 0), ("padded_idat.png", 0, 0), ("exif-72dpi-int.jpg", 60, 1),
     ("exif-dpi-zerodivision.jpg", 60, 1), ("jpeg_ff00_header.jpg", 60, 1), ("pil_sample_cmyk.jpg", 12, 1.5),
     ("dispose_bgnd.gif", 0, 0), ("tiff_strip_cmyk_jpeg.tif", 12, 1.5),
     ("icc-after-SOF.jpg", 60, 1), ("multiple_exif.jpg", 60, 1), ("orientation_rectangle.jpg", 60, 1)],
)
def test_the_library_of_another_decoder(library, name, most, mean, tmp_path):
    path = of_library(library, name, tmp_path)
    said, pixels = decode(path)
    assert pixels is not None, said
    wanted = by_pillow(path)
    seen = wanted[..., 3] > 0
    assert numpy.array_equal(pixels[..., 3], wanted[..., 3])
    right, measured = close(pixels[seen], wanted[seen], most, mean)
    assert right, measured


@pytest.mark.parametrize(
    ("name", "fault"),
    [("broken.png", "art.unreadable"), ("truncated_jpeg.jpg", "art.unreadable"), ("decompression_bomb.gif", "art.unreadable"),
     ("decompression_bomb.ico", "art.unsupported"), ("rgba.psd", "art.unsupported"), ("test-card-lossless.jp2", "art.unsupported")],
)
def test_what_the_library_of_another_decoder_has_that_is_not_taken(library, name, fault, tmp_path):
    assert decode(of_library(library, name, tmp_path))[0]["fault"] == fault


@pytest.mark.parametrize("name", ["icc-after-SOF.jpg", "multiple_exif.jpg", "orientation_rectangle.jpg"])
def test_the_smallest_of_the_library_are_refused_as_art(quoin, library, name, tmp_path):
    assert_tiny(quoin, of_library(library, name, tmp_path), tmp_path)


def test_a_single_pixel_comes_out_and_is_refused_as_art(quoin, tmp_path):
    path = FORMATS / "one_pixel.png"
    assert numpy.array_equal(decode(path)[1], by_pillow(path))
    assert_tiny(quoin, path, tmp_path)


def test_a_large_profile_of_the_library_of_another_decoder_is_used(library, tmp_path):
    """A monitor profile with tables, in many segments (ICC.1:2022, B.4)."""
    path = of_library(library, "icc_profile_big.jpg", tmp_path)
    said, pixels = decode(path)
    assert pixels is not None, said
    assert said["colour_profile"] and not said["profile_broken"]
    off = delta_e_2000(lab(pixels[..., :3]), lab(reference(Image.open(path))))
    # Decoders may differ by a code or two before the profile sees what they decode.
    assert off.mean() <= 0.7 and numpy.percentile(off, 99) <= 2.5, (off.mean(), numpy.percentile(off, 99))
