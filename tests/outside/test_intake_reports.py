"""What a report says of a picture that was opened, though not all of it was taken: its profile, its other frames; and the
resolution of its art."""

import io

from PIL import Image, ImageDraw
import pytest

from intake import PROFILES
from png_chunks import behind_header, chunk
from reports import report, timed_report, told

P3 = (PROFILES / "p3_d65.icc").read_bytes()
COATED = (PROFILES / "coated_39l.icc").read_bytes()


def disc(colour, side=400):
    """A disc on clear ground."""
    picture = Image.new("RGBA", (side, side))
    ImageDraw.Draw(picture).ellipse((20, 20, side - 20, side - 20), fill=colour)
    return picture


@pytest.mark.parametrize("icc", [P3[:100], b"\x55" * 300, COATED], ids=["cut", "rubbish", "for_inks"])
@pytest.mark.parametrize("ending", ["png", "webp", "tif"])
def test_a_broken_profile_is_a_finding(quoin, ending, icc, tmp_path):
    """`colour.profile` of openapi/findings.md, in words of its own."""
    disc("darkred").save(tmp_path / f"art.{ending}", icc_profile=icc)
    said, _ = timed_report(quoin, tmp_path, tmp_path / f"art.{ending}")
    [finding] = told(said, "colour.profile")
    assert finding["severity"] == "note" and "damaged" in finding["message"] and "taken for sRGB" in finding["message"]


def test_a_broken_profile_of_inks_is_a_finding(quoin, tmp_path):
    disc("darkred").convert("RGB").convert("CMYK").save(tmp_path / "art.jpg", icc_profile=COATED[:3000])
    said, _ = timed_report(quoin, tmp_path, tmp_path / "art.jpg")
    [finding] = told(said, "colour.cmyk")
    assert finding["severity"] == "caution" and "damaged" in finding["message"]
    assert told(said, "colour.profile") == []


def test_a_sound_profile_is_another_finding_and_none_is_none(quoin, tmp_path):
    disc("darkred").save(tmp_path / "p3.png", icc_profile=P3)
    [finding] = told(timed_report(quoin, tmp_path, tmp_path / "p3.png")[0], "colour.profile")
    assert "converted" in finding["message"] and "damaged" not in finding["message"]
    disc("darkred").save(tmp_path / "none.png")
    disc("darkred").save(tmp_path / "srgb.png", icc_profile=(PROFILES / "srgb_zlib.icc").read_bytes())
    for name in ("none.png", "srgb.png"):
        assert told(timed_report(quoin, tmp_path, tmp_path / name)[0], "colour.profile") == [], name


MOVING = ["gif", "png", "webp", "tif"]


@pytest.mark.parametrize("ending", MOVING)
def test_more_frames_than_one_are_told(quoin, ending, tmp_path):
    """Frames (GIF89a, 20; PNG 3rd edition, 4.9; RFC 9649, 2.7.1.1) and pages (TIFF 6.0, section 2), written by Pillow."""
    path = tmp_path / f"art.{ending}"
    disc("darkred").save(path, save_all=True, append_images=[disc("navy"), disc("darkgreen")])
    assert Image.open(path).n_frames == 3
    said, _ = timed_report(quoin, tmp_path, path)
    [finding] = told(said, "art.animated")
    assert finding["severity"] == "note" and finding["message"] and finding["remedy"]


@pytest.mark.parametrize("ending", MOVING)
def test_a_still_is_not_told_to_move(quoin, ending, tmp_path):
    path = tmp_path / f"art.{ending}"
    disc("darkred").save(path)
    said, _ = timed_report(quoin, tmp_path, path)
    assert said["measures"]["width_px"] == 400 and told(said, "art.animated") == []


def test_a_still_before_an_animation_is_not_all_of_it(quoin, tmp_path):
    """An `IDAT` without `fcTL` before it is no frame (PNG 3rd edition, 4.9): one frame more makes two pictures."""
    path = tmp_path / "art.png"
    disc("darkred").save(path, save_all=True, default_image=True, append_images=[disc("navy")])
    assert b"acTL\0\0\0\1" in path.read_bytes()
    assert len(told(timed_report(quoin, tmp_path, path)[0], "art.animated")) == 1


def test_an_animation_of_one_frame_is_a_still(quoin, tmp_path):
    """`acTL` of one frame (PNG 3rd edition, 11.3.6.1), which is the picture itself, as its `fcTL` before `IDAT` says."""
    whole = io.BytesIO()
    disc("darkred").save(whole, "PNG")
    side = (400).to_bytes(4, "big")
    control = chunk(b"fcTL", b"\0" * 4 + side * 2 + b"\0" * 8 + b"\0\1\0\1" + b"\0\0")
    path = tmp_path / "art.png"
    path.write_bytes(behind_header(whole.getvalue(), chunk(b"acTL", b"\0\0\0\1" + b"\0" * 4), control))
    said, _ = timed_report(quoin, tmp_path, path)
    assert said["measures"]["width_px"] == 400 and told(said, "art.animated") == []


# A canvas, the box of the art in it, the ordered side and its length in millimetres.
PLACED = [
    ((1000, 1000), (0, 0, 1000, 1000), "width_mm", 50), ((1000, 1000), (300, 200, 700, 500), "width_mm", 50),
    ((1000, 1000), (300, 200, 700, 500), "height_mm", 20), ((2000, 600), (1700, 20, 1900, 520), "longest_mm", 45),
]


@pytest.mark.parametrize(("canvas", "box", "side", "length_mm"), PLACED)
@pytest.mark.parametrize("border_mm", [0, 3])
def test_resolution_is_that_of_the_art_and_not_of_its_canvas(quoin, border_mm, canvas, box, side, length_mm, tmp_path):
    """README: the ordered size is that of the finished sticker, its border included; clear canvas is no part of it. So the
    art is the ordered length less two borders long, and has as many pixels as its own box."""
    left, top, right, bottom = box
    picture = Image.new("RGBA", canvas)
    # No corners: around those even a line without border is as round as the blade can cut.
    ImageDraw.Draw(picture).ellipse((left, top, right - 1, bottom - 1), fill="darkred")
    picture.save(tmp_path / "art.png", compress_level=1)
    item = {
        "art": {"file": "art.png"}, "size": {side: length_mm}, "outline": {"border_mm": border_mm, "shape": "contour"},
        "backdrop": {"remove": "never"},
    }
    said = report(quoin, tmp_path, {"item": item, "stock": {"stock": "white", "form": {"sheet": {"width_mm": 330, "height_mm": 480}}}})
    measures = said["measures"]
    assert [measures[f"art_{name}_px"] for name in ("x", "y", "width", "height")] == [left, top, right - left, bottom - top]
    sides = {"width_mm": right - left, "height_mm": bottom - top, "longest_mm": max(right - left, bottom - top)}
    wanted = sides[side] / ((length_mm - 2 * border_mm) / 25.4)
    assert abs(measures["effective_ppi"] - wanted) / wanted < 0.01, (measures["effective_ppi"], wanted)
    # What it would be if the canvas counted.
    whole = {"width_mm": canvas[0], "height_mm": canvas[1], "longest_mm": max(canvas)}[side]
    assert whole == sides[side] or abs(measures["effective_ppi"] - whole / (length_mm / 25.4)) > 0.2 * wanted
    low = told(said, "resolution.low")
    assert bool(low) == (wanted < 300), (wanted, low)
    if low:
        assert abs(low[0]["measured"] - wanted) / wanted < 0.01 and low[0]["severity"] == ("reject" if wanted < 150 else "caution")
