"""Reads a page's painted paths out of a PDF by way of pikepdf: an interpreter of the path and state operators of
ISO 32000-1, tables 57, 59, 60 and 74, no more than a check needs."""

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pikepdf

import curves

MM_PER_PT = 25.4 / 72  # 1 pt = 1/72 in (ISO 32000-1, 8.3.2.3), 1 in = 25.4 mm
PAINTS = {
    "S": ("stroke",), "s": ("stroke",), "f": ("fill",), "F": ("fill",), "f*": ("fill",),
    "B": ("fill", "stroke"), "B*": ("fill", "stroke"), "b": ("fill", "stroke"), "b*": ("fill", "stroke"), "n": (),
}
DEVICE_COLOURS = {"G": "DeviceGray", "RG": "DeviceRGB", "K": "DeviceCMYK"}


@dataclass(frozen=True)
class Painted:
    """A path that was stroked or filled, in millimetres from the page's top-left corner, y down."""

    kind: str
    space: str
    colour: tuple
    layer: str | None
    overprint: bool
    rings: tuple


@dataclass(frozen=True)
class Picture:
    """An image and the corners of the unit square that it fills, in millimetres, y down."""

    name: str
    layer: str | None
    corners: np.ndarray


@dataclass
class State:
    """The graphics state, as far as it is asked for."""

    matrix: np.ndarray = field(default_factory=lambda: np.eye(3))
    stroke: tuple = ("DeviceGray", (0.0,))
    fill: tuple = ("DeviceGray", (0.0,))
    stroke_overprint: bool = False
    fill_overprint: bool = False


class Page:
    """A page of a PDF, interpreted."""

    def __init__(self, path: Path):
        self.pdf = pikepdf.open(path)
        self.page = self.pdf.pages[0]
        self.painted = []
        self.pictures = []
        height_pt = float(self.page.mediabox[3])
        self.to_mm = np.array([[MM_PER_PT, 0, 0], [0, -MM_PER_PT, height_pt * MM_PER_PT], [0, 0, 1]])
        self._run(self.page, self.page.obj.get("/Resources"), State(), [])

    def box_mm(self, name):
        """Width and height of one of its boxes."""
        left, bottom, right, top = (float(number) for number in self.page.obj[name])
        return (right - left) * MM_PER_PT, (top - bottom) * MM_PER_PT

    def layers(self):
        """Every optional content group of the file by its name."""
        properties = self.pdf.Root.get("/OCProperties")
        return {} if properties is None else {str(group.Name): group for group in properties.OCGs}

    def strokes(self, space):
        """Paths stroked in a Separation of a name."""
        return [painted for painted in self.painted if painted.kind == "stroke" and painted.space == space]

    def _run(self, stream, resources, state, layers):
        stack, path, here = [], [], None
        for operands, operator in pikepdf.parse_content_stream(stream):
            name = str(operator)
            if name == "q":
                stack.append(replace(state))
            elif name == "Q":
                state = stack.pop()
            elif name == "cm":
                state.matrix = state.matrix @ matrix(operands)
            elif name in ("m", "l", "c", "v", "y", "h", "re"):
                here = extend(path, here, name, [float(number) for number in operands], state.matrix, self.to_mm)
            elif name in PAINTS:
                self._paint(PAINTS[name], path, state, layers)
                path, here = [], None
            elif name in ("BDC", "BMC"):
                layers = [*layers, layer_name(operands, resources)]
            elif name == "EMC":
                layers = layers[:-1]
            elif name == "gs":
                overprint(state, resources.ExtGState[str(operands[0])])
            elif name == "Do":
                self._draw(resources.XObject[str(operands[0])], str(operands[0]), resources, state, layers)
            else:
                set_colour(state, name, operands, resources)

    def _paint(self, kinds, path, state, layers):
        rings = tuple(np.array(ring) for ring in path if len(ring) > 1)
        layer = next((name for name in reversed(layers) if name), None)
        for kind in kinds:
            space, colour = state.stroke if kind == "stroke" else state.fill
            over = state.stroke_overprint if kind == "stroke" else state.fill_overprint
            self.painted.append(Painted(kind, space, colour, layer, over, rings))

    def _draw(self, xobject, name, resources, state, layers):
        if xobject.get("/OC") is not None:
            layers = [*layers, str(xobject.OC.Name)]
        if xobject.Subtype == "/Form":
            inner = replace(state, matrix=state.matrix @ matrix(xobject.get("/Matrix", [1, 0, 0, 1, 0, 0])))
            self._run(xobject, xobject.get("/Resources", resources), inner, layers)
        elif xobject.Subtype == "/Image":
            unit = np.array([[0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]], dtype=float).T
            corners = (self.to_mm @ state.matrix @ unit)[:2].T
            layer = next((named for named in reversed(layers) if named), None)
            self.pictures.append(Picture(name, layer, corners))


def matrix(numbers):
    """A transformation matrix for column vectors (ISO 32000-1, 8.3.4)."""
    a, b, c, d, e, f = (float(number) for number in numbers)
    return np.array([[a, c, e], [b, d, f], [0, 0, 1]])


def extend(path, here, name, numbers, current, to_mm):
    """Adds one path operator to the rings of a path, flattened in millimetres; gives the current point in user space."""
    transform = to_mm @ current

    def place(x, y):
        return (transform @ (x, y, 1.0))[:2]

    if name == "m":
        path.append([place(*numbers)])
        return tuple(numbers)
    if name == "re":
        x, y, width, height = numbers
        corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
        path.append([place(*corner) for corner in corners])
        return (x, y)
    if name == "h":
        return here
    if name == "l":
        path[-1].append(place(*numbers))
        return tuple(numbers)
    first = here if name == "v" else tuple(numbers[:2])
    second = tuple(numbers[-4:-2])
    end = tuple(numbers[-2:])
    path[-1].extend(curves.cubic(place(*here), place(*first), place(*second), place(*end)))
    return end


def layer_name(operands, resources):
    """Name of the optional content group that a marked-content operator opens, None for other marked content."""
    if str(operands[0]) != "/OC" or len(operands) < 2:
        return None
    return str(resources.Properties[str(operands[1])].Name)


def overprint(state, settings):
    """OP and op of a graphics state dictionary (ISO 32000-1, table 58: OP alone sets both)."""
    if "/OP" in settings:
        state.stroke_overprint = bool(settings["/OP"])
        if "/op" not in settings:
            state.fill_overprint = state.stroke_overprint
    if "/op" in settings:
        state.fill_overprint = bool(settings["/op"])


def set_colour(state, name, operands, resources):
    """Colour operators; every other operator changes nothing here."""
    side = "stroke" if name in ("CS", "SC", "SCN", "G", "RG", "K") else "fill"
    if name in ("CS", "cs"):
        setattr(state, side, (space_name(str(operands[0]), resources), ()))
    elif name in ("SC", "SCN", "sc", "scn"):
        numbers = tuple(float(operand) for operand in operands if not isinstance(operand, pikepdf.Object))
        setattr(state, side, (getattr(state, side)[0], numbers))
    elif name.upper() in DEVICE_COLOURS and name in ("G", "g", "RG", "rg", "K", "k"):
        setattr(state, side, (DEVICE_COLOURS[name.upper()], tuple(float(operand) for operand in operands)))


def space_name(name, resources):
    """The colorant of a Separation, else the family of the colour space."""
    spaces = resources.get("/ColorSpace", {})
    space = spaces[name] if name in spaces else name
    if isinstance(space, pikepdf.Array):
        family = str(space[0]).lstrip("/")
        return str(space[1]).lstrip("/") if family == "Separation" else family
    return str(space).lstrip("/")
