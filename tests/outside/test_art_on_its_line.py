"""Printed art sits on its cut line: the white border is measured in poppler's rendering of print.pdf against cut.svg, which
no code of ours touches between writing and measuring."""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.ndimage import binary_erosion
import shapely
from shapely import LineString

import curves
import pixels
from run_folder import Sheet

PPI = 300
# Half a pixel of the rendering (0.04 mm), a pixel of the art's own edge (0.05 to 0.1 mm): what a reading can be off by.
READING_MM = 0.15
# Above that only closing, thickening or a bridge may widen a border: not on these plain shapes, at their nearest.
WIDEST_AT_NEAREST_MM = 0.3
# The art's edge is where half of it covers: a saturated or dark colour over white is at 128 there.
EDGE_LEVEL = 128
PLAIN = {"heart.png", "crow.png", "scroll.png"}


@dataclass(frozen=True)
class Measured:
    """One printed sticker: the rim of its art in the rendering, and how far each pixel of it is from the cut line."""

    sheet: Sheet
    placement: dict
    item: dict
    rim: np.ndarray
    distances: np.ndarray

    @property
    def border_mm(self):
        """As ordered."""
        return self.item["outline"]["border_mm"]

    @property
    def is_plain(self):
        """One simple shape, where nothing but the border makes the line."""
        return self.item["art"]["file"].removeprefix("art/") in PLAIN

    def __str__(self):
        said = self.placement
        return f"{self.sheet.name} p{said['placement']} {said['order']}/{said['item']} at {said['rotation_deg']} deg"


@pytest.fixture(scope="module")
def die_cuts(demo):
    """Every die-cut contour on white stock."""
    return [
        measured(sheet, picture, placement, item)
        for sheet in demo.sheets if sheet.stock["face"] == "white"
        for picture in [np.asarray(sheet.rendered(PPI))]
        for placement in sheet.placements
        for item in [demo.item(placement["order"], placement["item"])]
        if item["product"] == "die_cut" and item["outline"]["shape"] == "contour"
    ]


def measured(sheet, picture, placement, item):
    """Reads a sticker off the rendering of its sheet."""
    area = sheet.cut.outermost(placement["placement"])
    part, x, y = pixels.window_of(picture, area, PPI)
    art = (part.min(axis=2) < EDGE_LEVEL) & shapely.contains_xy(area, x, y)
    rim = art & ~binary_erosion(art)
    line = area.exterior
    shapely.prepare(line)
    return Measured(sheet, placement, item, np.column_stack([x[rim], y[rim]]), shapely.distance(line, shapely.points(x[rim], y[rim])))


def test_border_is_never_narrower_than_ordered(die_cuts):
    assert len(die_cuts) > 50
    for sticker in die_cuts:
        nearest = sticker.distances.min()
        assert nearest >= sticker.border_mm - READING_MM, f"{sticker}: {nearest:.3f} mm"


def test_border_of_plain_shapes_is_no_wider_than_ordered_at_its_nearest(die_cuts):
    for sticker in die_cuts:
        if sticker.is_plain:
            nearest = sticker.distances.min()
            assert nearest <= sticker.border_mm + WIDEST_AT_NEAREST_MM, f"{sticker}: {nearest:.3f} mm"


def test_border_is_even_on_all_sides(die_cuts):
    """Turned or not, left, right, top and bottom of the sticker's own frame: the art's extreme against the line's."""
    turned = 0
    for sticker in die_cuts:
        if not sticker.is_plain:
            continue
        placement = sticker.placement
        pose = (placement["x_mm"], placement["y_mm"], placement["rotation_deg"])
        art = curves.unturned(sticker.rim, *pose)
        line = curves.unturned(sticker.sheet.cut.by_placement[placement["placement"]][0].ring, *pose)
        sides = np.concatenate([art.min(axis=0) - line.min(axis=0), line.max(axis=0) - art.max(axis=0)])
        np.testing.assert_allclose(sides, sticker.border_mm, atol=READING_MM + 0.05, err_msg=str(sticker))
        turned += placement["rotation_deg"] % 90 != 0
    assert turned > 0, "free rotation was used"


def test_a_photo_that_fills_its_shape_is_printed_past_the_cut(demo):
    """With border 0 and cover the stock's bleed is printed: colour just outside the line, white a little farther."""
    seen = 0
    for sheet in demo.sheets:
        picture = np.asarray(sheet.rendered(PPI))
        for placement in sheet.placements:
            if (placement["order"], placement["item"]) != ("2003", "1"):
                continue
            area = sheet.cut.outermost(placement["placement"])
            bleed = demo.ticket["settings"]["stocks"][sheet.record["stock"]]["bleed_mm"]
            inner = pixels.inside(picture, area.buffer(bleed - 0.2).difference(area), PPI)
            assert (inner.min(axis=1) < 250).mean() > 0.98, "the bleed is printed all around"
            seen += 1
    assert seen == demo.item("2003", "1")["quantity"]


def test_the_reading_itself_finds_a_known_distance():
    """A square of 10 mm drawn by hand, 2.5 mm inside a line: the reading is within its allowance."""
    picture = np.full((400, 400, 3), 255, dtype=np.uint8)
    low, high = (round(value / 25.4 * PPI) for value in (10, 20))
    picture[low:high, low:high] = 0
    line = shapely.box(7.5, 7.5, 22.5, 22.5)
    part, x, y = pixels.window_of(picture, line, PPI)
    art = part.min(axis=2) < EDGE_LEVEL
    distances = shapely.distance(shapely.points(x[art], y[art]), LineString(line.exterior.coords))
    assert abs(distances.min() - 2.5) <= READING_MM
