"""ticket.json against the job, the files beside it and the sheets' own geometry."""

import hashlib
from collections import Counter

import numpy as np
import pytest
from shapely import unary_union


def listed(run):
    """Every file that the ticket lists."""
    return [file for sheet in run.ticket["sheets"] for file in sheet["files"]] + run.ticket["files"]


def test_sha256_and_bytes_of_every_file_are_right(measured_runs):
    """SHA-256: FIPS 180-4, by Python's hashlib."""
    for run in measured_runs:
        for file in listed(run):
            content = (run.folder / file["path"]).read_bytes()
            assert len(content) == file["bytes"], file["path"]
            assert hashlib.sha256(content).hexdigest() == file["sha256"], file["path"]


def test_every_file_in_the_folder_is_listed_once(measured_runs):
    for run in measured_runs:
        paths = Counter(file["path"] for file in listed(run))
        assert set(paths.values()) == {1}
        there = {str(path.relative_to(run.folder)) for path in run.folder.rglob("*") if path.is_file()}
        assert there == set(paths) | {"ticket.json"}


def test_sheets_are_numbered_and_name_their_folders(measured_runs):
    for run in measured_runs:
        for number, sheet in enumerate(run.ticket["sheets"], start=1):
            assert sheet["sheet"] == number and sheet["folder"] == f"sheet-{number:03}"
            assert all(file["path"].startswith(sheet["folder"] + "/") for file in sheet["files"])


def test_ordered_is_placed_plus_set_aside_for_every_item(measured_runs):
    for run in measured_runs:
        placed = Counter(
            (placement["order"], placement["item"])
            for sheet in run.sheets for placement in sheet.placements if not placement["filler"] and not placement["over"]
        )
        aside = Counter({(entry["order"], entry["item"]): len(entry["copies"]) for entry in run.ticket["set_aside"]})
        said = {(order["order"], line["item"]): line for order in run.ticket["orders"] for line in order["items"]}
        wanted = {(order["order"], line["item"]): line["quantity"] for order, line in run.items()}
        assert set(said) == set(wanted) and set(placed) <= set(wanted)
        for key, quantity in wanted.items():
            assert placed[key] + aside[key] == quantity, key
            assert (said[key]["quantity"], said[key]["placed"], said[key]["set_aside"]) == (quantity, placed[key], aside[key])


def test_copies_are_each_made_once(measured_runs):
    for run in measured_runs:
        aside = {(entry["order"], entry["item"]): entry["copies"] for entry in run.ticket["set_aside"]}
        for order, line in run.items():
            key = (order["order"], line["item"])
            copies = [
                placement["copy"] for sheet in run.sheets for placement in sheet.placements
                if (placement["order"], placement["item"]) == key and not placement["over"]
            ]
            assert sorted(copies + aside.get(key, [])) == list(range(1, line["quantity"] + 1)), key


def test_where_points_to_placements_and_misses_none(measured_runs):
    for run in measured_runs:
        there = {
            (sheet.record["sheet"], placement["placement"]): (placement["order"], placement["item"], placement["copy"])
            for sheet in run.sheets for placement in sheet.placements if not placement["filler"] and not placement["over"]
        }
        said = {}
        for order in run.ticket["orders"]:
            for line in order["items"]:
                for place in line["where"]:
                    said[(place["sheet"], place["placement"])] = (order["order"], line["item"], place["copy"])
                assert line["sheets"] == sorted({place["sheet"] for place in line["where"]})
            sheets = {place["sheet"] for line in order["items"] for place in line["where"]}
            assert order["sheets"] == sorted(sheets)
            assert order["complete"] == all(line["set_aside"] == 0 for line in order["items"])
        assert said == there


def test_totals_add_up(measured_runs):
    for run in measured_runs:
        totals = run.ticket["totals"]
        placements = [placement for sheet in run.sheets for placement in sheet.placements]
        assert totals["sheets"] == len(run.sheets)
        assert totals["ordered"] == sum(line["quantity"] for _, line in run.items())
        assert totals["placed"] == sum(not p["filler"] and not p["over"] and p["item"] is not None for p in placements)
        assert totals["set_aside"] == sum(len(entry["copies"]) for entry in run.ticket["set_aside"])
        assert totals["fillers"] == sum(placement["filler"] for placement in placements)
        assert totals["overs"] == sum(placement["over"] for placement in placements)
        assert 0 < totals["density"] <= 1


def test_areas_lengths_and_density_are_those_of_the_written_lines(every_sheet):
    """Areas and lengths by GEOS on the flattened lines: chords are shorter by under 0.1 %."""
    for sheet in every_sheet:
        record, window = sheet.record, sheet.record["window_mm"]
        placed = sum(sheet.cut.outermost(placement["placement"]).area for placement in sheet.placements)
        assert record["placed_area_mm2"] == pytest.approx(placed, rel=1e-3)
        assert record["window_area_mm2"] == pytest.approx(window["width"] * window["height"], rel=1e-6)
        assert record["density"] == pytest.approx(record["placed_area_mm2"] / record["window_area_mm2"], abs=1e-3)
        for kind, layer in (("kiss", "PartialCutting"), ("through", "Cutting")):
            length = sum(cut.polygon.exterior.length for cut in sheet.cut.cuts if cut.layer == layer)
            assert record["cut_length_mm"][kind] == pytest.approx(length, rel=1e-3, abs=0.1)


def test_used_length_runs_from_the_feed_side_to_the_farthest_line(every_sheet):
    for sheet in every_sheet:
        window = sheet.record["window_mm"]
        left, top, right, bottom = unary_union([cut.polygon for cut in sheet.cut.cuts]).bounds
        used = {
            "top": bottom - window["y"], "bottom": window["y"] + window["height"] - top,
            "left": right - window["x"], "right": window["x"] + window["width"] - left,
        }[sheet.stock.get("feed_edge", "top")]
        assert sheet.record["used_length_mm"] == pytest.approx(used, abs=0.02)


def test_the_two_pictures_that_cannot_be_printed_are_set_aside_with_the_reason(demo):
    aside = {(entry["order"], entry["item"]): entry for entry in demo.ticket["set_aside"] if entry["order"] is not None}
    assert set(aside) == {("2008", "1"), ("2008", "2")}
    reasons = {key: {finding["code"] for finding in entry["findings"] if finding["severity"] == "reject"} for key, entry in aside.items()}
    assert reasons == {("2008", "1"): {"resolution.low"}, ("2008", "2"): {"art.unreadable"}}
    low = next(finding for finding in aside["2008", "1"]["findings"] if finding["code"] == "resolution.low")
    # 200 px over at most 90 mm of art: under 200 / 85 mm x 25.4 = 60 ppi (1 in = 25.4 mm).
    assert 40 < low["measured"] < 62 and low["unit"] == "ppi" and low["message"] and low["remedy"]


def test_tags_are_kept_for_later(demo):
    said = {(order["order"], line["item"]): line["tags"] for order in demo.ticket["orders"] for line in order["items"]}
    assert said == {(order["order"], line["item"]): line["tags"] for order, line in demo.items()}


def test_fillers_cost_no_sheet_and_stay_within_at_most(demo):
    made = Counter(p["item"] for sheet in demo.sheets for p in sheet.placements if p["filler"])
    assert made, "the demo's offcuts have room for fillers"
    for item, count in made.items():
        assert count <= demo.item(None, item)["at_most"]
    for sheet in demo.sheets:
        assert any(not placement["filler"] for placement in sheet.placements)
        assert all(placement["order"] is None for placement in sheet.placements if placement["filler"])


def test_print_settings_use_the_words_of_ipp(demo):
    """PWG 5101.1 media names; PWG 5100.13 print-scaling; RFC 8011 print-quality and sides."""
    for sheet in demo.sheets:
        settings = sheet.record["print_settings"]
        assert settings["print-scaling"] == "none" and settings["print-quality"] == "high" and settings["sides"] == "one-sided"
        media = {"letter-white-vinyl": "na_letter_8.5x11in", "clear-film-330x480": "custom_clear-film-330x480_330x480mm"}
        assert settings["media"] == media[sheet.record["stock"]]


def test_stocks_are_echoed_complete(demo):
    stocks = demo.ticket["settings"]["stocks"]
    assert set(stocks) == {stock["stock"] for stock in demo.job["stocks"]}
    for stock in stocks.values():
        np.testing.assert_equal((stock["gutter_mm"], stock["bleed_mm"], stock["print_ppi"]), (2.0, 1.0, 300))
