"""Reads cut.svg: its structure with the standard XML parser, its geometry with svgelements, a library that we do not ship."""

from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
import re
import xml.etree.ElementTree as ElementTree

import numpy as np
from shapely import Polygon, unary_union
import svgelements

import curves

SVG = "{http://www.w3.org/2000/svg}"


def millimetres(text):
    """A length with the unit mm, as CSS Values and Units 4, section 6.2, writes it."""
    found = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?)mm", text)
    assert found, f"{text!r} is no length in mm"
    return float(found[1])


@dataclass(frozen=True)
class Cut:
    """One cut line."""

    id: str
    layer: str
    attributes: dict
    d: str

    @property
    def placement(self):
        """Number of its placement, from its id."""
        return int(re.fullmatch(r"p([0-9]+)-.*", self.id)[1])

    @cached_property
    def segments(self):
        """As svgelements parses the path."""
        return list(svgelements.Path(self.d))

    @cached_property
    def ring(self):
        """The line flattened; the last point is not the first again."""
        points = []
        for segment in self.segments:
            match segment:
                case svgelements.Move():
                    points.append((segment.end.x, segment.end.y))
                case svgelements.CubicBezier():
                    corners = (segment.start, segment.control1, segment.control2, segment.end)
                    points.extend(curves.cubic(*((corner.x, corner.y) for corner in corners)))
                case svgelements.Line():
                    points.append((segment.end.x, segment.end.y))
                case svgelements.Close():
                    pass
                case _:
                    raise AssertionError(f"{self.id}: {segment!r} is neither a line nor a cubic")
        ring = np.array(points, dtype=float)
        return ring[:-1] if np.allclose(ring[0], ring[-1], atol=1e-9) else ring

    @cached_property
    def polygon(self):
        """The area that it encloses."""
        return Polygon(self.ring)


class CutFile:
    """cut.svg of one sheet."""

    def __init__(self, path: Path):
        self.path = path
        self.root = ElementTree.parse(path).getroot()

    @cached_property
    def size_mm(self):
        """Its width and height attributes."""
        return millimetres(self.root.get("width")), millimetres(self.root.get("height"))

    @cached_property
    def view_box(self):
        """Its viewBox."""
        return [float(number) for number in self.root.get("viewBox").replace(",", " ").split()]

    def group(self, name):
        """The group with an id, or None."""
        return next((group for group in self.root.iter(f"{SVG}g") if group.get("id") == name), None)

    @cached_property
    def cuts(self):
        """Every cut line in the order of the file."""
        found = []
        for layer in ("PartialCutting", "Cutting"):
            group = self.group(layer)
            if group is None:
                continue
            for path in group.iter(f"{SVG}path"):
                found.append(Cut(path.get("id"), layer, dict(path.attrib), path.get("d")))
        return found

    @cached_property
    def by_placement(self):
        """Cut lines of each placement number."""
        found = defaultdict(list)
        for cut in self.cuts:
            found[cut.placement].append(cut)
        return dict(found)

    def outermost(self, placement):
        """The area inside a placement's outermost lines (its through cuts), holes filled."""
        return unary_union([cut.polygon for cut in self.by_placement[placement] if cut.layer == "Cutting"])

    def marks(self):
        """Centre and size of each register mark, in the order of the file."""
        group = self.group("Marks")
        if group is None:
            return []
        found = []
        for element in group.iter():
            if element.tag == f"{SVG}path":
                box = svgelements.Path(element.get("d")).bbox()
            elif element.tag == f"{SVG}circle":
                x, y, radius = (float(element.get(name)) for name in ("cx", "cy", "r"))
                box = (x - radius, y - radius, x + radius, y + radius)
            else:
                continue
            found.append(((box[0] + box[2]) / 2, (box[1] + box[3]) / 2, box[2] - box[0], box[3] - box[1]))
        return found
