"""What a proof shows: its ground, where its shadow falls, its cut lines, its size; where the lines lie is read from the proof's
own drawing (SVG) by svgelements and shapely."""

import copy
import io
import json
import shutil
import struct
import subprocess
import xml.etree.ElementTree as ElementTree

import numpy
from PIL import Image
import pytest
import shapely
import svgelements

from conftest import DEMO
from cut_svg import SVG, millimetres
from service import multipart
import curves

STOCK = {"stock": "white", "form": {"sheet": {"width_mm": 330, "height_mm": 480}}}
# The demo's pictures: a plain shape, one with a kept hole, two that come apart, one that is cut through its backing only.
ITEMS = {
    "heart": {"art": {"file": "heart.png"}, "size": {"longest_mm": 50}},
    "wreath": {
        "art": {"file": "wreath.png"}, "size": {"longest_mm": 60}, "outline": {"border_mm": 2, "keep_holes_wider_than_mm": 10},
    },
    "hearts": {"art": {"file": "hearts_floating.png"}, "size": {"width_mm": 55}, "outline": {"border_mm": 1, "parts": "separate"}},
    "lizard": {"art": {"file": "lizard.png"}, "size": {"longest_mm": 70}, "product": "kiss_cut"},
}
# What a proof lies on, as the product has it: a light warm grey, nearly black, nothing.
GROUNDS = {"neutral": (226, 223, 218, 255), "dark": (41, 42, 46, 255), "transparent": (0, 0, 0, 0)}
# Width of cut lines: 0.2 mm of the sticker, and 1.25 px where that is less.
LINE_MM, LEAST_LINE_PX = 0.2, 1.25


@pytest.fixture
def proof(quoin, tmp_path):
    """A proof's bytes, as the command line writes them."""

    def draw(item, ending="png", **view):
        shutil.copy(DEMO / "art" / item["art"]["file"], tmp_path)
        (tmp_path / "job.json").write_text(json.dumps({"item": item, "stock": STOCK, "view": view}))
        out = tmp_path / f"proof.{ending}"
        done = subprocess.run([quoin, "proof", tmp_path / "job.json", "--out", out, "--replace"], capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        return out.read_bytes()

    return draw


def opened(picture):
    return Image.open(io.BytesIO(picture))


def samples(picture):
    """Straight RGBA."""
    return numpy.asarray(opened(picture).convert("RGBA")).astype(int)


def rings(text):
    """The closed lines of a path, flattened."""
    found = []
    for segment in svgelements.Path(text):
        match segment:
            case svgelements.Move():
                found.append([(segment.end.x, segment.end.y)])
            case svgelements.CubicBezier():
                corners = (segment.start, segment.control1, segment.control2, segment.end)
                found[-1].extend(map(tuple, curves.cubic(*((corner.x, corner.y) for corner in corners))))
            case svgelements.Line():
                found[-1].append((segment.end.x, segment.end.y))
            case svgelements.Close():
                pass
            case _:
                raise AssertionError(f"{segment!r} is none of a proof's")
    return found


class Drawn:
    """A proof's drawing: its size, the sticker's area, every cut line."""

    def __init__(self, text):
        root = ElementTree.fromstring(text)
        self.width_mm, self.height_mm = millimetres(root.get("width")), millimetres(root.get("height"))
        self.left, self.top, width, height = map(float, root.get("viewBox").split())
        assert (width, height) == (self.width_mm, self.height_mm)
        through = rings(root.find(f"{SVG}defs/{SVG}clipPath[@id='sticker']/{SVG}path").get("d"))
        # By the even-odd rule, as the drawing says: a hole is what another line encloses.
        self.sticker = shapely.Polygon()
        for ring in through:
            self.sticker = self.sticker.symmetric_difference(shapely.Polygon(ring))
        self.outer = shapely.union_all([shapely.Polygon(ring) for ring in through])
        self.lines = [ring for path in root.findall(f"{SVG}path") for ring in rings(path.get("d"))]

    def centres(self, size_px):
        """Millimetres of the pixels' centres; what rounding the size adds or takes is shared by both edges."""
        scale = max(size_px) / max(self.width_mm, self.height_mm)
        across = (numpy.arange(size_px[0]) + 0.5 - size_px[0] / 2) / scale + self.left + self.width_mm / 2
        down = (numpy.arange(size_px[1]) + 0.5 - size_px[1] / 2) / scale + self.top + self.height_mm / 2
        return scale, *numpy.meshgrid(across, down)

    def within(self, area, size_px, inset_px=0.0):
        """Pixels whose centres lie so many pixels inside an area."""
        scale, x, y = self.centres(size_px)
        area = area.buffer(-inset_px / scale)
        shapely.prepare(area)
        return shapely.contains_xy(area, x, y)


@pytest.mark.parametrize("name", ITEMS)
@pytest.mark.parametrize("cut_line", [True, False])
def test_inside_its_lines_a_sticker_is_the_same_on_every_ground(proof, name, cut_line):
    """No ground shines through and no shadow leaks in; in kept holes lies the ground, without a shadow."""
    drawn = Drawn(proof(ITEMS[name], "svg"))
    pictures = {ground: proof(ITEMS[name], ground=ground, cut_line=cut_line, longest_px=700) for ground in GROUNDS}
    assert {ground: opened(picture).mode for ground, picture in pictures.items()} == {
        "neutral": "RGB", "dark": "RGB", "transparent": "RGBA"
    }
    seen = {ground: samples(picture) for ground, picture in pictures.items()}
    size = opened(pictures["dark"]).size
    # A pixel and a half from the line nothing is mixed with what is beyond, and no line is drawn from there.
    inset = 1.5 + (LEAST_LINE_PX + LINE_MM * drawn.centres(size)[0]) / 2
    inside = drawn.within(drawn.sticker, size, inset)
    assert inside.mean() > 0.1
    for ground in GROUNDS:
        assert numpy.array_equal(seen[ground][inside], seen["neutral"][inside]), ground
        assert (seen[ground][inside][:, 3] == 255).all(), ground
    holes = drawn.within(drawn.outer.difference(drawn.sticker), size, inset)
    assert (holes.sum() > 500) == (name == "wreath")
    for ground, colour in GROUNDS.items():
        assert (seen[ground][holes] == colour).all(), ground


@pytest.mark.parametrize("name", ITEMS)
@pytest.mark.parametrize("ground", GROUNDS)
def test_ground_and_shadow_outside(proof, ground, name):
    """In the corners the ground's own colour; nearer, that colour darkened and never lightened, most below the sticker."""
    drawn = Drawn(proof(ITEMS[name], "svg"))
    picture = proof(ITEMS[name], ground=ground, longest_px=900)
    seen, (width, height) = samples(picture), opened(picture).size
    for row, column in ((0, 0), (0, width - 1), (height - 1, 0), (height - 1, width - 1)):
        assert tuple(seen[row, column]) == GROUNDS[ground], (row, column)
    frame = shapely.box(drawn.left, drawn.top, drawn.left + drawn.width_mm, drawn.top + drawn.height_mm)
    scale = drawn.centres((width, height))[0]
    outside = drawn.within(frame.buffer(1).difference(drawn.outer.buffer((1.5 + LEAST_LINE_PX) / scale + LINE_MM / 2)), (width, height))
    beyond = seen[outside]
    if ground == "transparent":
        # Black of some strength.
        assert (beyond[:, :3] == 0).all() and 20 < beyond[:, 3].max() < 128
        dark = seen[..., 3]
    else:
        assert (beyond[:, :3] <= GROUNDS[ground][:3]).all() and (beyond[:, 3] == 255).all()
        dark = GROUNDS[ground][1] - seen[..., 1]
        assert dark[outside].max() > 0.08 * GROUNDS[ground][1]
    if name == "lizard":
        # The light comes from above; its outer line is a rectangle, as wide above as below.
        _, low, _, high = drawn.outer.bounds
        y = drawn.centres((width, height))[2]
        assert dark[outside & (y > high)].sum() > 1.2 * dark[outside & (y < low)].sum() > 0


@pytest.mark.parametrize("name", ITEMS)
def test_cut_lines_are_what_a_proof_without_them_lacks_and_nothing_else(proof, name):
    drawn = Drawn(proof(ITEMS[name], "svg"))
    assert Drawn(proof(ITEMS[name], "svg", cut_line=False)).lines == []
    with_lines, without = (proof(ITEMS[name], cut_line=on, longest_px=1000) for on in (True, False))
    size = opened(with_lines).size
    differs = numpy.abs(samples(with_lines) - samples(without)).max(axis=2) > 0
    scale, x, y = drawn.centres(size)
    lines = shapely.union_all([shapely.LinearRing(ring) for ring in drawn.lines])
    shapely.prepare(lines)
    half_px = max(LINE_MM * scale, LEAST_LINE_PX) / 2
    far = shapely.distance(shapely.points(x[differs], y[differs]), lines) * scale
    # Half of the stroke, the half diagonal of a pixel that it touches, and what antialiasing by parts of pixels adds.
    assert far.max() <= half_px + 1, far.max()
    # Along every line there is one, whatever colour lies below: at every half millimetre a pixel next to it has changed.
    for ring in drawn.lines:
        points = shapely.get_coordinates(shapely.segmentize(shapely.LinearRing(ring), 0.5))
        across = ((points[:, 0] - x[0, 0]) * scale).round().astype(int)
        down = ((points[:, 1] - y[0, 0]) * scale).round().astype(int)
        assert differs[down, across].mean() > 0.98


def physical_size(picture):
    """Chunk pHYs (PNG, 3rd edition, 11.3.4.3): pixels per unit across and down, and the unit, 1 for metres."""
    at = picture.index(b"pHYs")
    return struct.unpack(">IIB", picture[at + 4:at + 13])


@pytest.mark.parametrize("name", ITEMS)
@pytest.mark.parametrize("longest_px", [32, 333, 1200, 1999, 2000])
def test_a_proof_has_the_pixels_asked_for_and_says_how_large_they_are(proof, name, longest_px):
    """The drawing says the size of the same picture in millimetres; pixels per metre are the nearest whole number."""
    drawn = Drawn(proof(ITEMS[name], "svg"))
    picture = proof(ITEMS[name], longest_px=longest_px)
    longest_mm, shortest_mm = max(drawn.width_mm, drawn.height_mm), min(drawn.width_mm, drawn.height_mm)
    size = opened(picture).size
    assert max(size) == longest_px
    assert (size[0] >= size[1]) == (drawn.width_mm >= drawn.height_mm)
    assert abs(min(size) - shortest_mm / longest_mm * longest_px) <= 0.51
    across, down, unit = physical_size(picture)
    exact = longest_px / longest_mm * 1000
    # The drawing's numbers have four decimals.
    slack = exact * 0.00005 / longest_mm
    assert unit == 1 and across == down and abs(across - exact) <= 0.5 + slack, (across, exact)
    assert Image.open(io.BytesIO(picture)).info["dpi"][0] == pytest.approx(exact * 0.0254, rel=0.51 / exact + 1e-3)


def test_a_proof_is_as_large_as_its_sticker_and_some_air(proof):
    """The heart's longest side was ordered; around it lies the same margin on all sides."""
    drawn = Drawn(proof(ITEMS["heart"], "svg"))
    left, top, right, bottom = drawn.outer.bounds
    assert abs(max(right - left, bottom - top) - 50) <= 0.1
    margins = [left - drawn.left, top - drawn.top, drawn.left + drawn.width_mm - right, drawn.top + drawn.height_mm - bottom]
    assert max(margins) - min(margins) < 0.05 and 0.05 * 50 < min(margins) < 0.1 * 50


def over_http(service, **view):
    item = copy.deepcopy(ITEMS["heart"])
    item["art"] = {"part": "art"}
    fields = multipart(json.dumps({"item": item, "stock": STOCK, "view": view}), [("art", (DEMO / "art" / "heart.png").read_bytes())])
    return service.request("POST", "/v1/proofs", files=fields)


def mistakes(answer):
    """Code and place of everything that is wrong with a request."""
    assert answer.status_code == 422, answer.text
    return [(mistake["code"], mistake["pointer"]) for mistake in answer.json()["mistakes"]]


def test_no_proof_is_larger_or_smaller_than_documented(service):
    """The bounds are those of the published document."""
    document = service.get("/openapi.json").json()
    bounds = document["components"]["schemas"]["View"]["properties"]["longest_px"]
    assert (bounds["minimum"], bounds["maximum"]) == (32, 2000)
    for longest_px in (32, 2000):
        answer = over_http(service, longest_px=longest_px)
        assert answer.status_code == 200 and max(opened(answer.content).size) == longest_px
    for longest_px in (31, 2001, 0, -1):
        answer = over_http(service, longest_px=longest_px)
        assert mistakes(answer) == [("job.out_of_range", "/view/longest_px")]


def test_grounds_are_those_of_the_document_and_no_others(service):
    document = service.get("/openapi.json").json()
    words = document["components"]["schemas"]["View"]["properties"]["ground"]["enum"]
    assert {word for word in words if word} == set(GROUNDS)
    unsaid, neutral = (over_http(service, longest_px=200, **view) for view in ({}, {"ground": "neutral"}))
    assert unsaid.content == neutral.content
    assert mistakes(over_http(service, ground="white")) == [("job.unknown_word", "/view/ground")]
