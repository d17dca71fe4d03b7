"""Colour profiles wherever a format keeps them, and profiles with tables, against LittleCMS; delta E 2000 of 1.0 is the
promise for RGB and grey, a mean of 0.5 and 99 of 100 colours within 2 for tables of inks."""

import numpy
from PIL import Image
import pytest

from icc_tables import lut16, lut_a_to_b, profile
from intake import PROFILES, decode, delta_e_2000, lab
from littlecms import every_colour, reference


def apart(pixels, picture):
    """Differences of what came out from what LittleCMS makes of the picture."""
    return delta_e_2000(lab(pixels[..., :3]), lab(reference(picture)))


@pytest.mark.parametrize("name", ["p3_d65", "rgb_gamma22_wide", "swapped_red_green"])
@pytest.mark.parametrize("ending", ["webp", "tif"])
def test_profiles_of_rgb_pictures(ending, name, tmp_path):
    """WebP: chunk `ICCP` (RFC 9649, 2.7.1.4). TIFF: tag 34675 (ICC.1:2022, B.3). Both hold the samples without loss."""
    path = tmp_path / f"grid.{ending}"
    icc = (PROFILES / f"{name}.icc").read_bytes()
    every_colour("RGB", 17).save(path, icc_profile=icc, **({"lossless": True} if ending == "webp" else {}))
    said, pixels = decode(path)
    assert said["colour_profile"] and not said["profile_broken"]
    stored = Image.open(path)
    assert stored.info["icc_profile"] == icc
    off = apart(pixels, stored.convert("RGB"))
    assert off.max() <= 1.0, (off.mean(), off.max())
    unmanaged = delta_e_2000(lab(numpy.asarray(stored.convert("RGB"))), lab(reference(stored.convert("RGB"))))
    assert unmanaged.max() > 3.0, "a profile that is not looked at would show"


def test_a_profile_of_a_palette(tmp_path):
    """PNG (3rd edition), 11.3.2.3: the palette's colours are what the profile is for."""
    path = tmp_path / "palette.png"
    picture = every_colour("RGB", 6).quantize(216)
    picture.save(path, icc_profile=(PROFILES / "p3_d65.icc").read_bytes())
    said, pixels = decode(path)
    assert not said["profile_broken"]
    stored = Image.open(path)
    assert stored.mode == "P"
    off = apart(pixels, stored.convert("RGB"))
    assert off.max() <= 1.0, (off.mean(), off.max())


def test_a_profile_of_a_grey_jpeg(tmp_path):
    """Segments APP2 (ICC.1:2022, B.4). Blocks of 8 x 8 of one code come through the transform as they were."""
    path = tmp_path / "grid.jpg"
    every_colour("L", 256, block=8).save(path, quality=100, icc_profile=(PROFILES / "grey.icc").read_bytes())
    said, pixels = decode(path)
    assert said["colour_profile"] and not said["profile_broken"]
    stored = Image.open(path)
    assert stored.mode == "L"
    off = apart(pixels, stored)
    assert off.max() <= 1.0, (off.mean(), off.max())
    assert delta_e_2000(lab(numpy.asarray(stored.convert("RGB"))), lab(reference(stored))).max() > 1.5


def test_a_profile_of_a_cmyk_jpeg(tmp_path):
    """The profile takes several APP2 segments (ICC.1:2022, B.4), and the inks are stored inverted as Adobe does."""
    path = tmp_path / "grid.jpg"
    icc = (PROFILES / "coated_39l.icc").read_bytes()
    every_colour("CMYK", 7, block=8).save(path, quality=100, subsampling=0, icc_profile=icc)
    assert path.read_bytes().count(b"ICC_PROFILE\0") == -(-len(icc) // 65519) > 1
    said, pixels = decode(path)
    assert said["colour_profile"].startswith("CMYK: ") and not said["profile_broken"]
    off = apart(pixels, Image.open(path))
    assert off.mean() <= 0.5 and numpy.percentile(off, 99) <= 2, (off.mean(), numpy.percentile(off, 99), off.max())


FIRST, SECOND = (1, 0, 2), (2, 1, 0)
# Tags of tables and the order of channels in each. Relative colorimetric takes A2B1 and, where there is none, A2B0
# (ICC.1:2022, 8.10 and 9.2.1).
TABLES = {
    "A2B0 alone": {b"A2B0": FIRST}, "A2B0 and A2B1": {b"A2B0": FIRST, b"A2B1": SECOND},
}


@pytest.mark.parametrize("kind", [b"mntr", b"scnr", b"prtr"], ids=bytes.decode)
@pytest.mark.parametrize(("write", "version"), [(lut16, 2), (lut16, 4), (lut_a_to_b, 4)])
@pytest.mark.parametrize("tags", TABLES)
def test_profiles_with_tables(tags, write, version, kind, tmp_path):
    """Made by hand; a table of 17 steps is far finer than the difference between two ways to interpolate."""
    icc = profile([(name, write(order)) for name, order in TABLES[tags].items()], kind, version)
    path = tmp_path / "grid.png"
    every_colour("RGB", 9).save(path, icc_profile=icc)
    stored = Image.open(path)
    wanted = reference(stored)
    # LittleCMS reads the table as it was meant: the channels are exchanged, and nothing else is.
    order = list(list(TABLES[tags].values())[-1])
    assert delta_e_2000(lab(wanted), lab(numpy.asarray(stored)[..., order])).max() < 1.5
    said, pixels = decode(path)
    assert not said["profile_broken"]
    off = apart(pixels, stored)
    assert off.max() <= 1.0, (off.mean(), off.max())
