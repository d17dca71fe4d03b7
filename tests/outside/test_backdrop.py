"""Cut lines of opaque pictures against the GEOS buffer of their true alpha, traced by contourpy: what the removal of the
backdrop adds to the line's error. The removal's own figures stand in the Rust suite."""

import base64
from pathlib import Path

import numpy as np
from PIL import Image
import pytest

import jobs
from test_border import BORDER_MM, HAUSDORFF_MM, WIDTH_MM, assert_near, delivered, reference

PICTURES = Path(__file__).parent.parent / "fixtures" / "art" / "backdrop"
# Plain, dark, compressed with a window, chequered, with a cast shadow: shapes that a border holds together.
NAMES = ["white_plain.webp", "grey_dark.png", "grey_jpeg_q90.jpg", "fake_transparency_checker.png", "shadow_on_white.webp"]


@pytest.fixture(scope="module")
def run(gang):
    """One upright copy of each picture."""
    stock = {"stock": "plain", "form": {"sheet": {"width_mm": 330, "height_mm": 480}}}
    items = [
        jobs.item(name, name, WIDTH_MM, 1, rotate="none", outline={"border_mm": BORDER_MM})
        | {"art": {"base64": base64.b64encode((PICTURES / name).read_bytes()).decode()}}
        for name in NAMES
    ]
    return gang(jobs.job("backdrops", stock, items))


def truth(name, folder):
    """The true alpha as a picture's alpha, and the width of one of its pixels in the sticker."""
    with Image.open(PICTURES / f"{name.rsplit('.', 1)[0]}.truth.png") as picture:
        alpha = np.asarray(picture.convert("L"))
    path = folder / "truth.png"
    Image.fromarray(np.dstack([np.zeros((*alpha.shape, 3), np.uint8), alpha])).save(path)
    columns = np.flatnonzero((alpha >= 128).any(axis=0))
    return path, (WIDTH_MM - 2 * BORDER_MM) / (columns[-1] - columns[0] + 1)


@pytest.mark.parametrize("name", NAMES)
def test_cut_line_is_a_geos_buffer_of_the_true_art(run, name, tmp_path):
    """As near as for pictures with alpha, and one pixel of the picture, a quarter of one everywhere."""
    path, pixel_mm = truth(name, tmp_path)
    expected = reference(path)
    line, _ = delivered(run, name)
    assert_near(line, expected, HAUSDORFF_MM + pixel_mm, pixel_mm / 4)


def test_findings_say_what_was_taken_away(run):
    """A plain backdrop and a painted chequerboard by their own codes."""
    codes = {
        item["item"]: {finding["code"] for finding in item["findings"]}
        for order in run.ticket["orders"] for item in order["items"]
    }
    assert "transparency.fake_checker" in codes["fake_transparency_checker.png"]
    assert "transparency.none" not in codes["fake_transparency_checker.png"]
    assert all("transparency.none" in codes[name] for name in NAMES if not name.startswith("fake"))
