"""Register marks of sheets and rolls, and what the marks keep free."""

from collections import defaultdict

import numpy as np
import pytest
from shapely import Point, box

AGREEMENT_MM = 0.01
UNPRINTABLE_MM = 5


def expected_on_sheet(width, height, diameter, feed_edge):
    """The contract's pattern: four corner discs inside the unprintable edge, the fifth three eighths along the feed edge,
    counted clockwise."""
    near = UNPRINTABLE_MM + diameter / 2
    top_left, top_right = np.array([near, near]), np.array([width - near, near])
    bottom_right, bottom_left = np.array([width - near, height - near]), np.array([near, height - near])
    ends = {
        "top": (top_left, top_right), "right": (top_right, bottom_right),
        "bottom": (bottom_right, bottom_left), "left": (bottom_left, top_left),
    }
    start, end = ends[feed_edge]
    return [top_left, top_right, bottom_right, bottom_left, start + (end - start) * 3 / 8]


def mark_points(sheet):
    """Centres of a sheet's marks."""
    return np.array([(mark["x_mm"], mark["y_mm"]) for mark in sheet.record["marks"]])


@pytest.mark.parametrize("edge", ["top", "right", "bottom", "left"])
def test_five_discs_stand_where_the_contract_puts_them(feed_edges, edge):
    for sheet in feed_edges[edge].sheets:
        wanted = expected_on_sheet(*sheet.size_mm, 5, edge)
        marks = mark_points(sheet)
        assert len(marks) == 5
        for point in wanted:
            assert np.hypot(*(marks - point).T).min() <= AGREEMENT_MM, f"{edge}: none at {point}"


def test_the_pattern_maps_onto_itself_in_no_other_position(feed_edges, demo):
    """Turned by half about its own middle, some disc finds no partner; on a square a quarter turn must not fit either."""
    sheets = [sheet for run in (*feed_edges.values(), demo) for sheet in run.sheets if sheet.record["marks"]]
    for sheet in sheets:
        marks = mark_points(sheet)
        middle = (marks.min(axis=0) + marks.max(axis=0)) / 2
        for turn in (np.array([[0, -1], [1, 0]]), -np.eye(2), np.array([[0, 1], [-1, 0]]), np.diag([-1, 1]), np.diag([1, -1])):
            moved = (marks - middle) @ turn.T + middle
            partners = [np.hypot(*(marks - point).T).min() for point in moved]
            assert max(partners) > 1.0, f"{sheet.name}: reads the same when turned"


def test_marks_stay_on_the_printable_area_and_out_of_the_window(feed_edges, demo):
    for run in (*feed_edges.values(), demo):
        for sheet in run.sheets:
            window = sheet.record["window_mm"]
            window = box(window["x"], window["y"], window["x"] + window["width"], window["y"] + window["height"])
            width, height = sheet.size_mm
            printable = box(UNPRINTABLE_MM, UNPRINTABLE_MM, width - UNPRINTABLE_MM, height - UNPRINTABLE_MM).buffer(AGREEMENT_MM)
            for mark in sheet.record["marks"]:
                disc = Point(mark["x_mm"], mark["y_mm"]).buffer(mark["diameter_mm"] / 2)
                assert printable.contains(disc) and not disc.intersects(window)


def test_no_sticker_or_bleed_reaches_into_a_clear_zone(every_sheet):
    for sheet in every_sheet:
        bleed = sheet.stock["bleed_mm"] if sheet.stock["face"] != "white" else 0.0
        for mark in sheet.record["marks"]:
            free = Point(mark["x_mm"], mark["y_mm"]).buffer(mark["diameter_mm"] / 2 + mark["clear_mm"] - 0.02, quad_segs=64)
            for placement in sheet.placements:
                area = sheet.cut.outermost(placement["placement"])
                assert area.distance(free) >= bleed - 0.02, f"{sheet.name} p{placement['placement']}"


def roll_rows(sheet):
    """Rows of corner discs along a roll, and the fifth discs, both as y."""
    width = sheet.size_mm[0]
    rows, fifths = defaultdict(list), []
    for mark in sheet.record["marks"]:
        near_side = min(mark["x_mm"], width - mark["x_mm"])
        if near_side < 20:
            rows[round(mark["y_mm"], 3)].append(mark["x_mm"])
        else:
            fifths.append(mark)
    return dict(rows), fifths


def test_roll_sections_are_as_long_as_asked_and_share_their_corner_discs(roll):
    assert sum(len(roll_rows(sheet)[0]) for sheet in roll.sheets) > 2 * len(roll.sheets), "the job fills several sections"
    for sheet in roll.sheets:
        rows, fifths = roll_rows(sheet)
        assert all(len(row) == 2 for row in rows.values()), "listed once"
        steps = np.diff(sorted(rows))
        np.testing.assert_allclose(steps[:-1], 160, atol=AGREEMENT_MM)
        assert steps[-1] <= 160 + AGREEMENT_MM
        assert len(fifths) == len(steps), "each section has its own fifth disc"


def test_the_fifth_disc_of_a_section_stands_on_its_feed_side(roll):
    for sheet in roll.sheets:
        rows, fifths = roll_rows(sheet)
        left, right = min(rows[min(rows)]), max(rows[min(rows)])
        for y, mark in zip(sorted(rows)[:-1], sorted(fifths, key=lambda mark: mark["y_mm"]), strict=True):
            assert mark["y_mm"] == pytest.approx(y, abs=AGREEMENT_MM)
            assert mark["x_mm"] == pytest.approx(left + (right - left) * 3 / 8, abs=AGREEMENT_MM)


def test_no_sticker_crosses_a_band(roll):
    """A band is diameter + 2 x clear long, about each inner row of discs."""
    for sheet in roll.sheets:
        rows, _ = roll_rows(sheet)
        mark = sheet.record["marks"][0]
        half = mark["diameter_mm"] / 2 + mark["clear_mm"]
        for row in sorted(rows)[1:-1]:
            for placement in sheet.placements:
                _, top, _, bottom = sheet.cut.outermost(placement["placement"]).bounds
                assert bottom <= row - half + 0.02 or top >= row + half - 0.02, f"p{placement['placement']} crosses the band at {row}"


def test_a_length_of_roll_is_no_longer_than_it_may_be(roll):
    for sheet in roll.sheets:
        assert sheet.size_mm[0] == pytest.approx(200) and sheet.size_mm[1] <= 700 + AGREEMENT_MM


def test_marks_of_a_roll_follow_the_feed(roll):
    for sheet in roll.sheets:
        ys = [mark["y_mm"] for mark in sheet.record["marks"]]
        assert ys == sorted(ys)
