"""Slow checks, run by `tests/run --full` only."""

import copy

import numpy as np
import pytest
import shapely

import pixels
import programs
import resolution
from test_contours import CLIPS

pytestmark = pytest.mark.full


def test_more_effort_needs_no_more_sheets(gang, demo):
    job = copy.deepcopy(demo.job)
    job["policy"]["effort"] = "thorough"
    assert len(gang(job).sheets) <= len(demo.sheets)


def test_border_measured_at_600_ppi(demo):
    """Half the pixel, two thirds of the allowance."""
    sheet = demo.sheets[0]
    picture = np.asarray(sheet.rendered(600))
    for placement in sheet.placements:
        item = demo.item(placement["order"], placement["item"])
        if item["product"] != "die_cut" or item["outline"]["shape"] != "contour":
            continue
        area = sheet.cut.outermost(placement["placement"])
        part, x, y = pixels.window_of(picture, area, 600)
        art = (part.min(axis=2) < 128) & shapely.contains_xy(area, x, y)
        near = shapely.distance(shapely.points(x[art], y[art]), area.exterior).min()
        assert near >= item["outline"]["border_mm"] - 0.10, f"p{placement['placement']}: {near:.3f} mm"


@pytest.mark.parametrize("path", CLIPS, ids=lambda path: path.stem)
def test_a_picture_of_400_pixels_has_the_line_of_one_of_6000(tmp_path, path):
    """Behind the usual border, with both pictures laid on each other: shapely, both ways."""
    found = resolution.apart(programs.example("contours"), tmp_path, path, 6000, 400, border=3)
    assert all(one.aligned_mm <= one.allowed_mm for one in found), found
