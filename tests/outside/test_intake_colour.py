"""Colours after the intake against LittleCMS (through Pillow), relative colorimetric, no black point compensation."""

from coloraide import Color
import numpy
from PIL import Image
import pytest

from intake import FORMATS, PROFILES, decode, delta_e_2000, lab
from littlecms import every_colour, reference

# Sharma, Wu and Dalal (2005), table 1: L1 a1 b1 L2 a2 b2 and the difference.
PAIRS = """
50.0000 2.6772 -79.7751 50.0000 0.0000 -82.7485 2.0425
50.0000 3.1571 -77.2803 50.0000 0.0000 -82.7485 2.8615
50.0000 2.8361 -74.0200 50.0000 0.0000 -82.7485 3.4412
50.0000 -1.3802 -84.2814 50.0000 0.0000 -82.7485 1.0000
50.0000 -1.1848 -84.8006 50.0000 0.0000 -82.7485 1.0000
50.0000 -0.9009 -85.5211 50.0000 0.0000 -82.7485 1.0000
50.0000 0.0000 0.0000 50.0000 -1.0000 2.0000 2.3669
50.0000 -1.0000 2.0000 50.0000 0.0000 0.0000 2.3669
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0009 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0010 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0011 7.2195
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0012 7.2195
50.0000 -0.0010 2.4900 50.0000 0.0009 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0010 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0011 -2.4900 4.7461
50.0000 2.5000 0.0000 50.0000 0.0000 -2.5000 4.3065
50.0000 2.5000 0.0000 73.0000 25.0000 -18.0000 27.1492
50.0000 2.5000 0.0000 61.0000 -5.0000 29.0000 22.8977
50.0000 2.5000 0.0000 56.0000 -27.0000 -3.0000 31.9030
50.0000 2.5000 0.0000 58.0000 24.0000 15.0000 19.4535
50.0000 2.5000 0.0000 50.0000 3.1736 0.5854 1.0000
50.0000 2.5000 0.0000 50.0000 3.2972 0.0000 1.0000
50.0000 2.5000 0.0000 50.0000 1.8634 0.5757 1.0000
50.0000 2.5000 0.0000 50.0000 3.2592 0.3350 1.0000
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
63.0109 -31.0961 -5.8663 62.8187 -29.7946 -4.0864 1.2630
61.2901 3.7196 -5.3901 61.4292 2.2480 -4.9620 1.8731
35.0831 -44.1164 3.7933 35.0232 -40.0716 1.5901 1.8645
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
36.4612 47.8580 18.3852 36.2715 50.5065 21.2231 1.4146
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
90.9257 -0.5406 -0.9208 88.6381 -0.8985 -0.7239 1.5381
6.7747 -0.2908 -2.4247 5.8714 -0.0985 -2.2286 0.6377
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""


def test_colour_differences_are_those_published():
    """Two implementations (ours for arrays, and ColorAide's) against the 34 published pairs."""
    rows = numpy.array([row.split() for row in PAIRS.split("\n") if row], dtype=float)
    assert rows.shape == (34, 7)
    ours = delta_e_2000(rows[:, :3], rows[:, 3:6])
    assert numpy.abs(ours - rows[:, 6]).max() < 5e-5
    colour = lambda row: Color("lab-d65", row.tolist())
    theirs = [colour(row[:3]).delta_e(colour(row[3:6]), method="2000") for row in rows]
    assert numpy.abs(numpy.array(theirs) - rows[:, 6]).max() < 5e-5


@pytest.mark.parametrize("profile", ["p3_d65", "rgb_gamma22_wide", "srgb_zlib", "swapped_red_green"])
def test_colours_of_three_primaries_are_within_one(profile, tmp_path):
    """Every colour of a 17 x 17 x 17 grid; delta E 2000 of 1.0 is the promise."""
    icc = (PROFILES / f"{profile}.icc").read_bytes()
    path = tmp_path / "grid.png"
    every_colour("RGB", 17).save(path, icc_profile=icc)
    said, pixels = decode(path)
    assert not said["profile_broken"]
    off = delta_e_2000(lab(pixels[..., :3]), lab(reference(Image.open(path))))
    assert off.max() <= 1.0, f"{off.max():.3f}, mean {off.mean():.3f}"


def test_greys_of_a_grey_profile_are_within_one(tmp_path):
    path = tmp_path / "grid.png"
    every_colour("L", 256).save(path, icc_profile=(PROFILES / "grey.icc").read_bytes())
    said, pixels = decode(path)
    assert not said["profile_broken"]
    off = delta_e_2000(lab(pixels[..., :3]), lab(reference(Image.open(path))))
    assert off.max() <= 1.0, off.max()


def test_inks_through_a_press_profile_are_as_littlecms_has_them(tmp_path):
    """A table of inks is interpolated twice: a mean of 0.5, 99 of 100 colours within 2 (aims of the intake)."""
    path = tmp_path / "grid.tif"
    every_colour("CMYK", 9).save(path, icc_profile=(PROFILES / "coated_39l.icc").read_bytes())
    said, pixels = decode(path)
    assert said["colour_profile"].startswith("CMYK: ") and not said["profile_broken"]
    off = delta_e_2000(lab(pixels[..., :3]), lab(reference(Image.open(path))))
    assert off.mean() <= 0.5 and numpy.percentile(off, 99) <= 2, (off.mean(), numpy.percentile(off, 99), off.max())


@pytest.mark.parametrize("name", ["icc_p3.jpg", "icc_rgb_1998_like.jpg", "icc_srgb.jpg", "icc_swapped_red_green.jpg"])
def test_tagged_photographs_are_within_one(name):
    """The pictures hold the same samples under different tags: those under sRGB are what LittleCMS is given."""
    said, pixels = decode(FORMATS / name)
    assert not said["profile_broken"]
    stored = Image.fromarray(numpy.ascontiguousarray(decode(FORMATS / "icc_srgb.jpg")[1][..., :3]))
    stored.info["icc_profile"] = Image.open(FORMATS / name).info["icc_profile"]
    off = delta_e_2000(lab(pixels[..., :3]), lab(reference(stored)))
    assert off.max() <= 1.0, (off.mean(), off.max())


def test_a_tagged_cmyk_photograph_is_near_littlecms():
    said, pixels = decode(FORMATS / "cmyk_icc_coated.tif")
    assert said["colour_profile"].startswith("CMYK: ")
    off = delta_e_2000(lab(pixels[..., :3]), lab(reference(Image.open(FORMATS / "cmyk_icc_coated.tif"))))
    assert off.mean() <= 0.5 and numpy.percentile(off, 99) <= 1.5, (off.mean(), numpy.percentile(off, 99))


@pytest.mark.parametrize("damage", ["cut", "rubbish", "of_another_kind"])
def test_a_broken_profile_is_told_and_the_pixels_are_taken_for_srgb(damage, tmp_path):
    icc = (PROFILES / "p3_d65.icc").read_bytes()
    broken = {"cut": icc[:100], "rubbish": b"\x55" * 300, "of_another_kind": (PROFILES / "coated_39l.icc").read_bytes()}
    picture = every_colour("RGB", 9)
    path = tmp_path / "grid.png"
    picture.save(path, icc_profile=broken[damage])
    said, pixels = decode(path)
    assert said["profile_broken"]
    assert numpy.array_equal(pixels[..., :3], numpy.asarray(picture))
