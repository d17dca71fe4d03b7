"""TIFFs of every kind that is taken, against Pillow (libtiff), LittleCMS, and values by the standard's formulas."""

import numpy
from PIL import Image, ImageCms
import pytest

from intake import FORMATS, by_pillow, close, decode, delta_e_2000, lab
from tiff_files import tiff_of

# JPEG in TIFF has neither alpha nor samples of 1 or 16 bits.
TIFFS = [
    (mode, compression)
    for mode in ("1", "L", "LA", "RGB", "RGBA", "CMYK", "I;16")
    for compression in ("raw", "tiff_lzw", "tiff_adobe_deflate", "packbits", "jpeg")
    if compression != "jpeg" or mode in ("L", "RGB", "CMYK")
]


@pytest.mark.parametrize(("mode", "compression"), TIFFS)
def test_tiffs_of_common_kinds(mode, compression, tmp_path):
    ramp = numpy.linspace(0, 255, 64 * 48).astype(numpy.uint8).reshape(48, 64)
    colours = Image.merge("RGBA", [Image.fromarray(channel) for channel in (ramp, ramp[::-1], ramp.T.copy().reshape(48, 64), 255 - ramp)])
    if mode == "I;16":
        picture = Image.fromarray(ramp.astype(numpy.uint16) * 257)
    else:
        picture = colours.convert("RGB").convert(mode) if mode in ("CMYK", "L", "1") else colours.convert(mode)
    path = tmp_path / "a.tif"
    picture.save(path, compression=compression)
    said, pixels = decode(path)
    assert pixels is not None, said
    wanted = numpy.asarray(Image.fromarray(ramp).convert("RGBA") if mode == "I;16" else Image.open(path).convert("RGBA"))
    right, measured = close(pixels, wanted, 12 if compression == "jpeg" else 1, 2)
    assert right, measured


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("bits", [1, 2, 4, 8])
def test_tiffs_with_a_palette(bits, order, tmp_path):
    """Against Pillow, which takes the high byte of each colour."""
    codes = (numpy.add.outer(numpy.arange(40), numpy.arange(53)) % 2**bits).astype(int)
    colours = [(at * 97 + shift * 61) % 256 * 257 for shift in range(3) for at in range(2**bits)]
    path = tmp_path / "palette.tif"
    path.write_bytes(tiff_of(codes[..., None], bits, 3, [(320, 3, colours)], order))
    said, pixels = decode(path)
    assert pixels is not None, said
    assert numpy.array_equal(pixels, by_pillow(path))


@pytest.mark.parametrize("compression", ["raw", "tiff_lzw", "tiff_adobe_deflate", "packbits"])
def test_packed_tiffs_with_a_palette(compression, tmp_path):
    path = tmp_path / "palette.tif"
    Image.open(FORMATS / "orientation_upright.png").convert("RGB").quantize(64).save(path, compression=compression)
    _, pixels = decode(path)
    assert numpy.array_equal(pixels, by_pillow(path))


@pytest.mark.parametrize(("bits", "photometric"), [(8, 8), (8, 9), (16, 8), (16, 9)])
def test_tiffs_in_lab_are_within_a_delta_e_of_one(bits, photometric, tmp_path):
    """What is in sRGB comes back as it was: the colours are made by the formulas, and LittleCMS is asked for the same."""
    steps = numpy.linspace(0, 255, 9)
    rgb = numpy.stack(numpy.meshgrid(steps, steps, steps), axis=-1).reshape(27, 27, 3).repeat(2, axis=0).repeat(2, axis=1)
    colours = lab(rgb)
    whole = 255 if bits == 8 else 65535
    middle = 0 if photometric == 8 else 2 ** (bits - 1)
    chroma = colours[..., 1:] * (1 if bits == 8 else 256)
    codes = numpy.concatenate([colours[..., :1] * whole / 100, chroma + middle], axis=2).round().astype(int) % 2**bits
    path = tmp_path / "lab.tif"
    path.write_bytes(tiff_of(codes, bits, photometric))
    said, pixels = decode(path)
    assert pixels is not None, said
    off = delta_e_2000(lab(pixels[..., :3]), colours)
    # Steps of 8 bits are up to half a unit of each of L*, a* and b* away, which dark colours show.
    assert off.mean() < 0.4 and numpy.percentile(off, 99) < 1.0, (off.mean(), off.max())
    if (bits, photometric) == (8, 8):
        converted = ImageCms.profileToProfile(
            Image.open(path), ImageCms.createProfile("LAB"), ImageCms.createProfile("sRGB"),
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC, outputMode="RGB",
        )
        off = delta_e_2000(lab(pixels[..., :3]), lab(numpy.asarray(converted)))
        # LittleCMS reads a profile whose tables are of 16 bits; both round.
        assert off.mean() < 0.5 and numpy.percentile(off, 99) < 1.5, (off.mean(), off.max())


def test_tiffs_that_are_not_taken_say_why(tmp_path):
    path = tmp_path / "a.tif"
    Image.new("F", (64, 64), 0.5).save(path)
    said = decode(path)[0]
    assert said["fault"] == "art.unsupported" and "floating-point" in said["words"]
    Image.new("1", (64, 64)).save(path, compression="group3")
    said = decode(path)[0]
    assert said["fault"] == "art.unsupported" and "compression" in said["words"]
    Image.new("1", (64, 64)).save(path, compression="group4")
    assert "fault" not in decode(path)[0]


# ExtraSamples (338) says what a further sample is: 1 alpha that colours are multiplied with, 2 alpha that they are not
# (TIFF 6.0, section 18).
EXTRA_SAMPLES, ASSOCIATED, STRAIGHT = 338, 1, 2


def slopes(channels, most):
    """Samples from 0 to the most, each channel in a direction of its own: 48 x 64 pixels."""
    down, across = numpy.meshgrid(numpy.linspace(0, 1, 48), numpy.linspace(0, 1, 64), indexing="ij")
    shares = [across, down, 1 - across, (across + down) / 2, 1 - down]
    return (numpy.stack(shares[:channels], axis=-1) * most).round().astype(int)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("photometric", [0, 1])
@pytest.mark.parametrize("bits", [1, 4, 8, 16])
def test_tiffs_in_grey_from_white_and_from_black(bits, photometric, order, tmp_path):
    """PhotometricInterpretation (TIFF 6.0, section 4): of 0 no sample is white, of 1 it is black."""
    most = 2**bits - 1
    codes = slopes(1, most)
    path = tmp_path / "grey.tif"
    path.write_bytes(tiff_of(codes, bits, photometric, order=order))
    said, pixels = decode(path)
    assert pixels is not None, said
    share = codes[..., 0] / most
    wanted = numpy.floor((share if photometric == 1 else 1 - share) * 255 + 0.5)
    for channel in range(3):
        right, measured = close(pixels[..., channel], wanted, 1 if bits == 16 else 0, 0.01)
        assert right, measured
    assert (pixels[..., 3] == 255).all()
    if bits < 16:
        assert numpy.array_equal(pixels, by_pillow(path))


# Inks of 16 bits may be rounded to codes before they are multiplied, each of the two by half a code, and the product is
# rounded once more.
ROUNDED_TWICE = 1.51


def light_of(inks):
    """Codes of light for shares of ink, by the plain product of what each ink lets through. No standard says what CMYK without
    a profile looks like; libtiff's tif_getimage.c and Pillow multiply too."""
    return (1 - inks[..., :3]) * (1 - inks[..., 3:4]) * 255


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("bits", [8, 16])
def test_tiffs_in_cmyk(bits, order, tmp_path):
    """Photometric 5, InkSet 1 (TIFF 6.0, section 16): 0 is no ink."""
    most = 2**bits - 1
    codes = slopes(4, most)
    path = tmp_path / "inks.tif"
    path.write_bytes(tiff_of(codes, bits, 5, order=order))
    said, pixels = decode(path)
    assert pixels is not None, said
    assert said["colour_profile"] == "CMYK"
    assert numpy.abs(pixels[..., :3] - light_of(codes / most)).max() <= ROUNDED_TWICE
    assert (pixels[..., 3] == 255).all()


@pytest.mark.parametrize("bits", [8, 16])
def test_tiffs_in_cmyk_with_alpha(bits, tmp_path):
    """The fifth sample is alpha that the inks are not multiplied with."""
    most = 2**bits - 1
    codes = slopes(5, most)
    path = tmp_path / "inks.tif"
    path.write_bytes(tiff_of(codes, bits, 5, [(EXTRA_SAMPLES, 3, [STRAIGHT])]))
    said, pixels = decode(path)
    assert pixels is not None, said
    assert said["colour_profile"] == "CMYK"
    assert numpy.abs(pixels[..., 3] - codes[..., 4] / most * 255).max() <= 0.51
    seen = pixels[..., 3] > 0
    assert numpy.abs(pixels[..., :3] - light_of(codes / most))[seen].max() <= ROUNDED_TWICE


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("kind", [STRAIGHT, ASSOCIATED])
def test_tiffs_in_rgb_with_either_alpha(kind, bits, order, tmp_path):
    """The same colours stored both ways must come out the same (TIFF 6.0, section 18)."""
    most = 2**bits - 1
    wanted = slopes(4, 1.0 * most) / most
    wanted[..., 3] = wanted[..., 3] * 0.8 + 0.2
    stored = wanted.copy()
    if kind == ASSOCIATED:
        stored[..., :3] *= stored[..., 3:]
    path = tmp_path / "alpha.tif"
    path.write_bytes(tiff_of((stored * most).round().astype(int), bits, 2, [(EXTRA_SAMPLES, 3, [kind])], order))
    said, pixels = decode(path)
    assert pixels is not None, said
    off = numpy.abs(pixels - wanted * 255)
    assert off[..., 3].max() <= 0.51
    # What was multiplied and what divides it are each known to half a code, which is the more the less alpha there is.
    allowed = 0.51 if kind == STRAIGHT else 0.51 + 1 / wanted[..., 3:]
    assert (off[..., :3] <= allowed).all(), (off[..., :3] - allowed).max()
    assert numpy.abs(wanted[..., :3] - stored[..., :3]).max() > 0.5 or kind == STRAIGHT


@pytest.mark.parametrize(("kind", "mode"), [(STRAIGHT, "RGBA"), (ASSOCIATED, "RGBa")])
def test_tiffs_with_either_alpha_are_those_of_pillow(kind, mode, tmp_path):
    """At 8 bits Pillow reads both kinds too; it rounds what it divides down."""
    colours = slopes(4, 255).astype(numpy.uint8)
    picture = Image.fromarray(colours, "RGBA").convert(mode)
    stored = numpy.asarray(picture).astype(int)
    path = tmp_path / "alpha.tif"
    path.write_bytes(tiff_of(stored, 8, 2, [(EXTRA_SAMPLES, 3, [kind])]))
    assert Image.open(path).mode == "RGBA"
    _, pixels = decode(path)
    wanted = by_pillow(path)
    assert numpy.array_equal(pixels[..., 3], wanted[..., 3])
    seen = wanted[..., 3] > 0
    right, measured = close(pixels[seen], wanted[seen], 1 if kind == ASSOCIATED else 0, 0.5)
    assert right, measured


@pytest.mark.parametrize("bits", [8, 16])
def test_tiffs_in_cmyk_with_alpha_that_inks_were_multiplied_with(bits, tmp_path):
    """Section 18 of TIFF 6.0 says of every kind of colour that associated alpha is divided out: half of full cyan at half of
    full alpha is full cyan that half covers."""
    most = 2**bits - 1
    inks = slopes(5, 1.0 * most) / most
    inks[..., 4] = inks[..., 4] * 0.5 + 0.5
    stored = inks.copy()
    stored[..., :4] *= stored[..., 4:]
    path = tmp_path / "inks.tif"
    path.write_bytes(tiff_of((stored * most).round().astype(int), bits, 5, [(EXTRA_SAMPLES, 3, [ASSOCIATED])]))
    said, pixels = decode(path)
    assert pixels is not None, said
    assert numpy.abs(pixels[..., 3] - inks[..., 4] * 255).max() <= 0.51
    # Ink and black are each known to a code over alpha, and all is rounded once more.
    assert (numpy.abs(pixels[..., :3] - light_of(inks)) <= 0.51 + 2 / inks[..., 4:]).all()
