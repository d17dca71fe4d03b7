"""Published sizes, seen in what is written."""

import pytest

import jobs

# PWG 5101.1-2013, tables 2 and 5 to 7: self-describing media size names; ISO 216:2007, table 1; ASME Y14.1 A is letter.
SIZES_MM = {
    "na_letter_8.5x11in": (8.5 * 25.4, 11 * 25.4),
    "na_legal_8.5x14in": (8.5 * 25.4, 14 * 25.4),
    "na_ledger_11x17in": (11 * 25.4, 17 * 25.4),
    "iso_a3_297x420mm": (297, 420),
    "iso_a4_210x297mm": (210, 297),
    "iso_a5_148x210mm": (148, 210),
}


@pytest.mark.parametrize("name", SIZES_MM)
def test_named_sheets_have_their_published_size(gang, name):
    stock = {"stock": "plain", "form": {"sheet": {"size": name}}}
    run = gang(jobs.job("size", stock, [jobs.item("1", "heart.png", 30, 1)]))
    (sheet,) = run.sheets
    assert sheet.size_mm == pytest.approx(SIZES_MM[name], abs=1e-6)
    assert sheet.record["print_settings"]["media"] == name


def test_letter_leaves_the_usual_window_for_stickers(demo):
    """6.75 x 9.25 in with 7/8 in on every side (common practice, no source); 1 in = 25.4 mm exactly."""
    letters = [sheet for sheet in demo.sheets if sheet.record["stock"] == "letter-white-vinyl"]
    assert letters
    for sheet in letters:
        window = sheet.record["window_mm"]
        assert (window["width"] / 25.4, window["height"] / 25.4) == pytest.approx((6.75, 9.25), abs=1e-6)


def test_the_demo_needs_few_sheets(demo):
    """Not a record, a guard: twice the area bound at density 0.6 would be a broken layout."""
    assert 3 <= len(demo.sheets) <= 6
    assert demo.ticket["totals"]["density"] > 0.5
