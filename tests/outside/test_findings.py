"""Findings on pictures made to have them and on pictures known not to; enlarged ones by an unrelated library (Pillow).

`load/findings` measures the same on hundreds of pictures; here stands what must not get worse. Sources: the fixtures' table
of licences says what each picture is.
"""

import csv
import io
import json
import math
from pathlib import Path
import shutil
import subprocess

from PIL import Image, ImageDraw
import pytest

import programs
from reports import report

ART = Path(__file__).resolve().parents[1] / "fixtures" / "art" / "clip"
STOCK = {"stock": "plain", "form": {"sheet": {"width_mm": 330, "height_mm": 480}}}
JUDGED = {
    "resolution.upscaled", "transparency.haze", "transparency.fringe", "colour.white_on_white", "detail.fine_lines",
}
# The longest side in millimetres, and which of the judged findings there are.
CASES = {
    "heart_white.png": (20, {"colour.white_on_white"}),
    "octopus_fringe.png": (90, {"transparency.fringe"}),
    "star_glow.png": (90, {"transparency.haze"}),
    "pumpkin_soft_shadow.png": (90, {"transparency.haze"}),
    "olive_branch_hairline.png": (60, {"detail.fine_lines"}),
    "knot_triangle_holes.png": (60, set()),
    "soap_bubbles.png": (20, set()),
    "deer_small.png": (20, set()),
}
SHARP = ["soap_bubbles.png", "deer_small.png", "heart_white.png", "knot_triangle_holes.png"]
FILTERS = {"bilinear": Image.BILINEAR, "bicubic": Image.BICUBIC, "lanczos": Image.LANCZOS}


@pytest.fixture
def preflight(quoin, tmp_path):
    """The report on a picture at a longest side; `settings` is a settings file's text."""

    def ask(picture, longest_mm, name="art.png", settings="", **item):
        shutil.copyfile(picture, tmp_path / name)
        request = {"item": {"art": {"file": name}, "size": {"longest_mm": longest_mm}, **item}, "stock": STOCK}
        (tmp_path / "quoin.toml").write_text(settings)
        return report(quoin, tmp_path, request, "--settings", tmp_path / "quoin.toml")

    return ask


def codes(report):
    """The judged findings, notes apart: those are no alarm."""
    return {finding["code"] for finding in report["findings"] if finding["severity"] != "note"} & JUDGED


@pytest.mark.parametrize("picture", CASES)
def test_a_picture_has_the_findings_that_it_was_made_to_have_and_no_others(preflight, picture):
    longest_mm, expected = CASES[picture]
    report = preflight(ART / picture, longest_mm)
    assert codes(report) == expected
    with Image.open(ART / picture) as opened:
        width, height = opened.size
    for finding in report["findings"]:
        assert finding["measured"] is None or math.isfinite(finding["measured"])
        assert finding["message"] and finding["remedy"]
        for place in finding["places"]:
            assert place["width_px"] > 0 and place["x_px"] + place["width_px"] <= width
            assert place["height_px"] > 0 and place["y_px"] + place["height_px"] <= height
        if finding["code"] in JUDGED:
            assert finding["measured"] is not None and finding["limit"] is not None and finding["places"]


@pytest.mark.parametrize("name", FILTERS)
@pytest.mark.parametrize("factor", [2, 3, 4])
def test_an_enlarged_picture_is_told_whatever_the_filter(preflight, tmp_path, name, factor):
    for picture in SHARP:
        with Image.open(ART / picture) as opened:
            small = opened.convert("RGBA")
            small.thumbnail((256, 256), Image.LANCZOS)
            large = small.resize((small.width * factor, small.height * factor), FILTERS[name])
        large.save(tmp_path / "large.png", compress_level=1)
        report = preflight(tmp_path / "large.png", 30)
        told = [finding for finding in report["findings"] if finding["code"] == "resolution.upscaled"]
        assert len(told) == 1, f"{picture} x {factor}"
        # The width of the sharpest edges is about the factor.
        assert 0.75 * factor < told[0]["measured"] < 1.5 * factor
        assert told[0]["unit"] == "px" and told[0]["limit"] == 1.5


def measured(pictures):
    """What the library measures of pictures, each as a sticker of 100 mm."""
    done = subprocess.run([programs.example("findings"), "1", *pictures], check=True, capture_output=True, text=True)
    return list(csv.DictReader(io.StringIO(done.stdout), delimiter="\t"))


def sharp_clips():
    """Clip art at its own resolution; one of the fixtures was enlarged before, and says so in its name."""
    return [path for path in sorted(ART.glob("*.png")) if "upscaled" not in path.name]


def test_no_sharp_picture_is_taken_for_an_enlarged_one():
    rows = measured(sharp_clips())
    assert len(rows) >= 36
    told = {Path(row["file"]).name: row["edge_px"] for row in rows if row["resolution.upscaled"] != "-"}
    assert told == {}


def test_nineteen_of_twenty_enlarged_pictures_are_told(tmp_path):
    """Every third clip in 250 px, enlarged two to four times by three filters; `load/findings` does it with all and larger."""
    for path in sharp_clips()[::3]:
        with Image.open(path) as opened:
            small = opened.convert("RGBA")
        small.thumbnail((250, 250), Image.LANCZOS)
        for name, kind in FILTERS.items():
            for factor in (2, 2.5, 4):
                large = small.resize((round(small.width * factor), round(small.height * factor)), kind)
                large.save(tmp_path / f"{path.stem}@{name}@{factor}.png", compress_level=1)
    rows = measured(sorted(tmp_path.glob("*.png")))
    assert len(rows) >= 100
    missed = [Path(row["file"]).name for row in rows if row["resolution.upscaled"] == "-"]
    assert len(missed) <= 0.05 * len(rows), missed


def test_tips_of_leaves_are_no_fine_lines_and_thin_strokes_are():
    """As stickers of 100 mm, looked at by eye: outlines beside the wings, outlines of leaves, stalks of grass are under 0.25 mm
    wide; leaves, roots, legs and whiskers of the others only end so."""
    told = {Path(row["file"]).name for row in measured(sharp_clips()) if row["detail.fine_lines"] != "-"}
    assert told == {"bird_flock_wide.png", "olive_branch_hairline.png", "tree_with_roots.png"}


@pytest.mark.parametrize("ink, ground, told", [("white", "navy", True), ("gold", "darkred", True), ("white", "beige", False)])
@pytest.mark.parametrize("width_px", [2, 9])
def test_light_script_on_dark_art_is_fine_when_it_is_thin(tmp_path, ink, ground, told, width_px):
    """As stickers of 100 mm, 12 px to the millimetre: 2 px are 0.17 mm, 9 px are 0.75 mm."""
    picture = Image.new("RGBA", (2400, 2400))
    draw = ImageDraw.Draw(picture)
    draw.ellipse((40, 40, 2360, 2360), fill=ground)
    for row in range(5):
        wave = [(400 + x, 600 + 280 * row + 90 * math.sin(x / 56 + row)) for x in range(0, 1600, 8)]
        draw.line(wave, fill=ink, width=2 * width_px, joint="curve")
    picture.resize((1200, 1200), Image.LANCZOS).save(tmp_path / "script.png")
    [row] = measured([tmp_path / "script.png"])
    assert (row["detail.fine_lines"] != "-") == (told and width_px == 2)
    assert not told or width_px != 2 or 0.11 < float(row["detail.fine_lines"]) < 0.22


def test_fine_lines_hang_on_the_ordered_size(preflight):
    # 1177 x 1600 px: at 60 mm 27 px to the millimetre, at 300 mm 5.
    assert "detail.fine_lines" in codes(preflight(ART / "olive_branch_hairline.png", 60))
    assert "detail.fine_lines" not in codes(preflight(ART / "olive_branch_hairline.png", 300, accept=["resolution.low"]))


def test_white_art_shows_on_a_coloured_border(preflight):
    coloured = preflight(ART / "heart_white.png", 20, outline={"border_colour": "#2244aa"})
    assert "colour.white_on_white" not in codes(coloured)


def test_thresholds_are_the_shops_own_and_are_echoed(preflight):
    settings = "[preflight]\nhaze_share = 0.9\nresolution_caution_ppi = 2000\nresolution_reject_ppi = 1000\n"
    report = preflight(ART / "star_glow.png", 90, settings=settings)
    assert "transparency.haze" not in codes(report)
    low = next(finding for finding in report["findings"] if finding["code"] == "resolution.low")
    assert (low["severity"], low["limit"]) == ("reject", 1000)
    assert report["settings"]["preflight"]["haze_share"] == 0.9
    assert report["settings"]["preflight"]["fine_line_mm"] == 0.25


def test_a_report_hangs_neither_on_the_files_name_nor_on_its_neighbours(preflight, quoin, tmp_path):
    one = preflight(ART / "star_glow.png", 50, name="a.png")
    assert preflight(ART / "star_glow.png", 50, name="Ünïcode name (2).jpg") == one
    shutil.copyfile(ART / "knot_triangle_holes.png", tmp_path / "other.png")
    items = [
        {"item": "star", "art": {"file": "a.png"}, "size": {"longest_mm": 50}, "quantity": 1},
        {"item": "knot", "art": {"file": "other.png"}, "size": {"longest_mm": 40}, "quantity": 1},
    ]
    found = []
    for order in (items, items[::-1]):
        job = {"run": "r", "stocks": [STOCK], "orders": [{"order": "1", "items": order}], "outputs": ["cut_svg"]}
        (tmp_path / "gang.json").write_text(json.dumps(job))
        out = tmp_path / f"out-{len(found)}"
        subprocess.run([quoin, "gang", tmp_path / "gang.json", "--out", out], check=True, capture_output=True)
        ticket = json.loads((out / "ticket.json").read_text())
        found.append({item["item"]: item["findings"] for item in ticket["orders"][0]["items"]})
    assert found[0] == found[1]
    assert found[0]["star"] == one["findings"]
