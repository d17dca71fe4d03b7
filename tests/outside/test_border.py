"""The border against GEOS: the picture's own edge found by an unrelated contour tracer (contourpy), buffered by shapely."""

import pytest
import shapely
from shapely import Polygon

import contours
import curves
import jobs

BORDER_MM = 3.0
# Inside corners are closed by the stock's default of 0.5 mm and the twentieth that the fitted curve may take away again, so the
# reference closes by it too: at the end of a narrow notch the twentieth counts many times.
INSIDE_RADIUS_MM = 0.525
WIDTH_MM = 55
# The design allows the line 0.05 mm from the region and the border 0.05 mm from the order; the shape is fitted to an ordered
# width, which is held to 0.1 mm, half of it on each side.
HAUSDORFF_MM = 0.15
# Shallow dents are filled by a tenth of the border, 0.3 mm at most: outward, never inward.
FILLED_MM = 0.3
RELATIVE_AREA = 5e-3
PICTURES = ["heart.png", "crow.png", "snowman.png", "scroll.png", "lizard.png"]


@pytest.fixture(scope="module")
def run(gang):
    """One upright copy of each picture."""
    stock = {"stock": "plain", "form": {"sheet": {"width_mm": 330, "height_mm": 480}}}
    items = [
        jobs.item(picture, picture, WIDTH_MM, 1, rotate="none", outline={"border_mm": BORDER_MM}) for picture in PICTURES
    ]
    return gang(jobs.job("geos", stock, items))


def art_outline(path):
    """The edge of a picture's larger parts."""
    return contours.art_outline(path, lambda part: part.area > 30)


def reference(path):
    """The bordered shape that GEOS makes of a picture, at the ordered width, its box's middle at the origin."""
    outline = art_outline(path)
    left, top, right, bottom = outline.bounds
    scale = (WIDTH_MM - 2 * BORDER_MM) / (right - left)
    outline = shapely.transform(outline, lambda points: points * scale)
    grown = contours.closed_buffer(outline, BORDER_MM, INSIDE_RADIUS_MM)
    assert grown.geom_type == "Polygon", "these pictures hold together by their border"
    filled = Polygon(grown.exterior)
    left, top, right, bottom = filled.bounds
    return shapely.transform(filled, lambda points: points - ((left + right) / 2, (top + bottom) / 2))


def delivered(run, picture):
    """The cut line of a picture in its own frame."""
    (sheet,) = run.sheets
    placement = next(placement for placement in sheet.placements if placement["item"] == picture)
    (cut,) = sheet.cut.by_placement[placement["placement"]]
    pose = (placement["x_mm"], placement["y_mm"], placement["rotation_deg"])
    return Polygon(curves.unturned(cut.ring, *pose)), cut


def assert_near(line, expected, inward_mm, edge_mm=0.0):
    """The line runs no farther inside the reference than that, and no farther outside it than that and what may be filled; all
    of the art's edge may be off by `edge_mm`."""
    allowed = RELATIVE_AREA * expected.area + edge_mm * expected.length
    assert abs(line.area - expected.area) <= allowed, f"{line.area} mm2 for {expected.area} mm2"
    short = expected.buffer(-inward_mm).difference(line)
    assert short.is_empty, f"short at {short.representative_point()}"
    out = line.difference(expected.buffer(inward_mm + FILLED_MM))
    assert out.is_empty, f"far out at {out.representative_point()}"


@pytest.mark.parametrize("picture", PICTURES)
def test_cut_line_is_a_geos_buffer_of_the_art(run, picture):
    """Area within 0.5 %, no point farther in than 0.15 mm, none farther out than that and what may be filled."""
    expected = reference(run.scratch / "art" / picture)
    line, _ = delivered(run, picture)
    assert_near(line, expected, HAUSDORFF_MM)


@pytest.mark.parametrize("picture", PICTURES)
def test_delivered_border_is_never_short(run, picture):
    """Design promise: nowhere less than asked by more than 0.05 mm; the fit of size and middle adds its own 0.05 mm."""
    outline = art_outline(run.scratch / "art" / picture)
    line, _ = delivered(run, picture)
    left, top, right, bottom = reference(run.scratch / "art" / picture).bounds
    scale = (WIDTH_MM - 2 * BORDER_MM) / (outline.bounds[2] - outline.bounds[0])
    art = shapely.transform(outline, lambda points: points * scale)
    # Its box's middle is the line's: borders are the same on every side.
    middle_x, middle_y = (art.bounds[0] + art.bounds[2]) / 2, (art.bounds[1] + art.bounds[3]) / 2
    art = shapely.transform(art, lambda points: points - (middle_x, middle_y))
    assert (right - left, bottom - top) == pytest.approx((WIDTH_MM, art.bounds[3] - art.bounds[1] + 2 * BORDER_MM), abs=0.02)
    assert line.contains(art)
    assert line.exterior.distance(art) >= BORDER_MM - 0.10


def test_cut_lines_have_few_nodes(run):
    """Design figure: at most 25 nodes per 100 mm on clip art; here over the five pictures together, because a ragged one
    takes more and a plain one less."""
    drawn = [delivered(run, picture) for picture in PICTURES]
    nodes = sum(len(cut.segments) - 2 for _, cut in drawn)
    assert nodes / sum(line.exterior.length for line, _ in drawn) * 100 <= 25
