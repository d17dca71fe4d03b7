"""Holes that are cut out and parts that fall apart on purpose, measured in the written cut.svg."""

import numpy as np
import shapely


def placed(run, item):
    """(sheet, placement, its cut lines) of every copy of an item."""
    for sheet in run.sheets:
        for placement in sheet.placements:
            if placement["item"] == item:
                yield sheet, placement, sheet.cut.by_placement[placement["placement"]]


def test_a_wide_hole_is_cut_out_inside_the_outline(holes_and_parts):
    copies = list(placed(holes_and_parts, "wreath"))
    assert len(copies) == 3
    for _, placement, cuts in copies:
        number = placement["placement"]
        assert sorted(cut.id for cut in cuts) == [f"p{number}-through", f"p{number}-through-2"]
        outer, inner = sorted(cuts, key=lambda cut: -cut.polygon.area)
        assert outer.id == f"p{number}-through" and outer.polygon.contains(inner.polygon)
        widest = shapely.maximum_inscribed_circle(inner.polygon, 0.05).length * 2
        assert widest > 10, "the hole is wider than asked for, after the border has grown into it"


def test_the_hole_is_cut_before_the_outline(holes_and_parts):
    for _, placement, cuts in placed(holes_and_parts, "wreath"):
        assert [cut.id for cut in cuts][-1] == f"p{placement['placement']}-through"


def test_separate_parts_have_a_line_each_under_one_placement(holes_and_parts):
    copies = list(placed(holes_and_parts, "hearts"))
    assert len(copies) == 2
    for _, placement, cuts in copies:
        number = placement["placement"]
        assert sorted(cut.id for cut in cuts) == [f"p{number}-through"] + [f"p{number}-through-{k}" for k in range(2, len(cuts) + 1)]
        assert len(cuts) >= 3, "the hearts float"
        apart = [a.polygon.distance(b.polygon) for i, a in enumerate(cuts) for b in cuts[:i]]
        assert min(apart) > 0.1


def test_the_area_of_a_holed_sticker_counts_its_hole(holes_and_parts):
    """Ticket: area inside the outermost lines, holes not subtracted."""
    for sheet in holes_and_parts.sheets:
        filled = sum(sheet.cut.outermost(placement["placement"]).area for placement in sheet.placements)
        np.testing.assert_allclose(sheet.record["placed_area_mm2"], filled, rtol=1e-3)
