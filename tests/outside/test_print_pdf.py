"""print.pdf: syntax by qpdf, opened by poppler and MuPDF, measured by pikepdf against ticket and cut.svg, separated by
Ghostscript."""

import subprocess

import numpy as np
from PIL import Image
import pytest
from shapely import LinearRing

from cut_svg import millimetres
import pixels
from print_pdf import MM_PER_PT, Page
import readers

AGREEMENT_MM = 0.01
PLATE_PPI = 72
LAYERS = {"PartialCutting": ("/Structural", "/PartialCutting"), "Cutting": ("/Structural", "/Cutting")}


@pytest.fixture(scope="module")
def pages(every_sheet):
    """Every sheet with its interpreted page."""
    return [(sheet, Page(sheet.folder / "print.pdf")) for sheet in every_sheet]


@pytest.fixture(scope="module")
def separated(pages):
    """Those whose cut lines stand in the print."""
    return [(sheet, page) for sheet, page in pages if sheet.stock["cut_lines_in_print"] == "separations"]


def test_syntax_is_clean(every_sheet):
    """`qpdf --check`: ISO 32000-1, section 7.5, file structure and streams; exit 0 means no warning either."""
    for sheet in every_sheet:
        readers.opens_quietly("qpdf", "--check", sheet.folder / "print.pdf")


def test_poppler_and_mupdf_open_it_without_a_word(every_sheet, tmp_path):
    for sheet in every_sheet:
        readers.opens_quietly("pdfinfo", "-box", sheet.folder / "print.pdf")
        readers.opens_quietly("mutool", "draw", "-q", "-r", "20", "-o", tmp_path / "page.png", sheet.folder / "print.pdf")


def test_one_page_of_pdf_1_6(pages):
    for sheet, page in pages:
        assert len(page.pdf.pages) == 1
        assert page.pdf.pdf_version == "1.6", sheet.name


def test_boxes_are_the_sheet(pages):
    """MediaBox and TrimBox: ISO 32000-1, 14.11.2; no UserUnit, no page rotation to trip a printer."""
    for sheet, page in pages:
        for name in ("/MediaBox", "/TrimBox"):
            np.testing.assert_allclose(page.box_mm(name), sheet.size_mm, atol=AGREEMENT_MM, err_msg=f"{sheet.name} {name}")
            np.testing.assert_allclose([float(number) for number in page.page.obj[name]][:2], (0, 0))
        np.testing.assert_allclose(page.box_mm("/MediaBox"), sheet.cut.size_mm, atol=AGREEMENT_MM)
        assert float(page.page.obj.get("/UserUnit", 1)) == 1 and int(page.page.obj.get("/Rotate", 0)) == 0


def test_cut_lines_in_print_are_those_of_the_svg(separated):
    """Every stroke in a Separation against the SVG's line: discrete Hausdorff distance by GEOS, both flattened to 0.002 mm."""
    assert separated
    for sheet, page in separated:
        for layer in LAYERS:
            wanted = [LinearRing(cut.ring) for cut in sheet.cut.cuts if cut.layer == layer]
            strokes = page.strokes(layer)
            assert len(strokes) == len(wanted), f"{sheet.name}: {layer}"
            assert all(len(stroke.rings) == 1 for stroke in strokes), "one path each, no two lines in one stroke"
            drawn = [LinearRing(stroke.rings[0]) for stroke in strokes]
            centres = np.array([line.envelope.centroid.coords[0] for line in drawn])
            for line in wanted:
                centre = line.envelope.centroid.coords[0]
                nearest = drawn[int(np.hypot(*(centres - centre).T).argmin())]
                apart = max(line.hausdorff_distance(nearest), nearest.hausdorff_distance(line))
                assert apart <= AGREEMENT_MM, f"{sheet.name} {layer}: {apart} mm apart near {centre}"


def test_cut_lines_overprint_inside_their_layer_and_are_never_filled(separated):
    """Overprint: ISO 32000-1, 8.6.7; full tint of a Separation: 8.6.6.4."""
    for sheet, page in separated:
        for layer in LAYERS:
            for stroke in page.strokes(layer):
                assert stroke.overprint and stroke.layer == layer and stroke.colour == (1.0,), sheet.name
        assert not [painted for painted in page.painted if painted.kind == "fill" and painted.space in LAYERS]


def test_cut_lines_are_absent_where_not_asked_for(pages):
    for sheet, page in pages:
        if sheet.stock["cut_lines_in_print"] == "none":
            assert not [painted for painted in page.painted if painted.space in LAYERS], sheet.name
            assert not set(page.layers()) & set(LAYERS), sheet.name


def test_layers_carry_their_processing_steps(separated):
    """ISO 19593-1: GTS_Metadata in the optional content group, with GTS_ProcStepsGroup and, but for White,
    GTS_ProcStepsType."""
    for sheet, page in separated:
        groups = page.layers()
        for name, (group, step) in LAYERS.items():
            if any(cut.layer == name for cut in sheet.cut.cuts):
                metadata = groups[name].GTS_Metadata
                assert (str(metadata.GTS_ProcStepsGroup), str(metadata.GTS_ProcStepsType)) == (group, step)
        if sheet.stock["face"] != "white":
            metadata = groups["White"].GTS_Metadata
            assert str(metadata.GTS_ProcStepsGroup) == "/White" and "/GTS_ProcStepsType" not in metadata


@pytest.fixture(scope="module")
def plates(separated, tmp_path_factory):
    """Every separated sheet with its plates by name. The device `tiffsep` of Ghostscript writes one grey picture per
    colorant (its documentation, "Devices", TIFF)."""
    made = []
    for sheet, _ in separated:
        out = tmp_path_factory.mktemp("plates")
        command = ["gs", "-q", "-dSAFER", "-dBATCH", "-dNOPAUSE", "-sDEVICE=tiffsep", f"-r{PLATE_PPI}", f"-sOutputFile={out}/p.tif"]
        done = subprocess.run([*command, sheet.folder / "print.pdf"], capture_output=True, text=True)
        assert done.returncode == 0, done.stdout + done.stderr
        made.append((sheet, {path.name[2:-5]: np.asarray(Image.open(path).convert("L")) for path in out.glob("p(*).tif")}))
    return made


def test_ghostscript_makes_a_plate_of_every_separation(plates):
    for sheet, by_name in plates:
        names = {cut.layer for cut in sheet.cut.cuts} | ({"White"} if sheet.stock["face"] != "white" else set())
        assert set(by_name) - {"Cyan", "Magenta", "Yellow", "Black"} == names, sheet.name
        for name in names:
            assert (by_name[name] < 128).any(), f"{sheet.name}: nothing on the plate {name}"


def test_white_lies_under_what_is_printed_and_reaches_the_bleed(plates, demo):
    """On the plate, inside the outermost line of a sticker with white `all` there is white nearly everywhere."""
    seen = 0
    for sheet, by_name in plates:
        chests = [placement for placement in sheet.placements if (placement["order"], placement["item"]) == ("2009", "1")]
        for placement in chests:
            plate, area = by_name["White"], sheet.cut.outermost(placement["placement"])
            inside = pixels.inside(plate, area.buffer(-0.5), PLATE_PPI)
            assert (inside < 128).mean() > 0.99, f"{sheet.name} {placement}"
            bleed = pixels.inside(plate, area.buffer(0.75).difference(area.buffer(0.25)), PLATE_PPI)
            assert (bleed < 200).mean() > 0.9, "white reaches into the bleed"
        seen += len(chests)
    assert seen == demo.item("2009", "1")["quantity"]


def test_marks_stand_where_ticket_and_svg_say(pages):
    """Discs filled black, nothing else of their size, within 0.01 mm in all three files."""
    for sheet, page in pages:
        wanted = [(mark["x_mm"], mark["y_mm"], mark["diameter_mm"]) for mark in sheet.record["marks"]]
        svg = sheet.cut.marks()
        assert len(svg) == len(wanted), sheet.name
        for (x, y, diameter), drawn in zip(wanted, svg, strict=True):
            np.testing.assert_allclose(drawn, (x, y, diameter, diameter), atol=AGREEMENT_MM, err_msg=sheet.name)
        discs = [ring for painted in page.painted if painted.kind == "fill" and is_black(painted) for ring in painted.rings]
        for x, y, diameter in wanted:
            fits = [ring for ring in discs if is_disc(ring, x, y, diameter)]
            assert fits, f"{sheet.name}: no disc in print at {x}, {y}"


def test_marks_are_black_and_alone_in_their_clear_zone(every_sheet):
    """Read off the rendering: a camera sees a black disc and around it nothing dark."""
    for sheet in every_sheet:
        if not sheet.record["marks"]:
            continue
        grey = np.asarray(sheet.rendered(300).convert("L"))
        for mark in sheet.record["marks"]:
            across, down = np.meshgrid(np.arange(grey.shape[1]), np.arange(grey.shape[0]), sparse=True)
            x, y = (across + 0.5) * 25.4 / 300 - mark["x_mm"], (down + 0.5) * 25.4 / 300 - mark["y_mm"]
            far = np.hypot(x, y)
            radius, pixel = mark["diameter_mm"] / 2, 25.4 / 300
            assert grey[far < radius - pixel].max() < 30
            assert grey[(far > radius + pixel) & (far < radius + mark["clear_mm"] - pixel)].min() > 200


def test_xml_size_units_are_mm(every_sheet):
    """A cutter program that takes `width` as pixels would cut at the wrong size: both attributes say mm."""
    for sheet in every_sheet:
        assert millimetres(sheet.cut.root.get("width")) > 0 and millimetres(sheet.cut.root.get("height")) > 0


def test_points_and_inches_are_the_published_ones():
    """ISO 32000-1, 8.3.2.3: the default unit is 1/72 in; 1 in = 25.4 mm exactly (ISO 80000-3, annex)."""
    assert MM_PER_PT * 72 == pytest.approx(25.4, abs=1e-12)


def is_black(painted):
    """RGB 0, grey 0, or 100 % K alone."""
    return painted.colour in ((0.0,), (0.0, 0.0, 0.0), (0.0, 0.0, 0.0, 1.0)) and painted.space not in ("White", *LAYERS)


def is_disc(ring, x, y, diameter):
    """Whether all points of a ring lie on a circle, to 0.01 mm."""
    radii = np.hypot(ring[:, 0] - x, ring[:, 1] - y)
    return np.abs(radii - diameter / 2).max() <= AGREEMENT_MM
