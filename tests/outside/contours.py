"""Measures cut lines around pictures against GEOS: the picture's own edge is found by an unrelated contour tracer (contourpy),
everything else is computed by shapely and numpy from the lines' control points."""

from dataclasses import dataclass
from functools import cached_property
import json
from pathlib import Path
import subprocess

import contourpy
import numpy as np
from PIL import Image
import shapely
from shapely import LineString, Point, Polygon

import curves

# Round joins of references are polygons: 64 segments to the quarter are within 0.001 mm of the arc at these radii.
QUAD_SEGMENTS = 64
# Steps at which lines are sampled, mm.
STEP_MM = 0.05
CURVATURE_SAMPLES = 64
# Excess is a place of its own where it is wider than this, mm; what is narrower is measured all the same.
PLACE_MM = 0.2
# A slit is shut by the inside radius where it would be with a border wider by this, mm: radii are made a twentieth larger
# than asked, for the curve fit, a grid of an eighth of a millimetre holds no slit under one cell, and soft edges are found a
# little farther out than at half coverage.
SHUT_MM = 0.15
# A bend that lasts shorter than this is none that a blade of 0.2 mm at its tip feels. Common practice, no source.
DEGENERATE_MM = 1e-6


def draw(dumper, pictures, **options):
    """The contours of pictures, as the developers' dumper draws them; options are its flags."""
    told = {f"--{name.replace('_', '-')}": value for name, value in options.items()}
    flags = [text for flag, value in told.items() for text in ([flag] if value is True else [flag, str(value)])]
    done = subprocess.run([dumper, *flags, *pictures], capture_output=True, text=True, check=True)
    return [Contour(json.loads(line)) for line in done.stdout.splitlines()]


def art_outline(path, counts):
    """The outer edge of a picture at half coverage, in pixels, holes filled; pixel centres at halves. Of its parts those for
    which `counts` holds."""
    with Image.open(path) as picture:
        alpha = np.asarray(picture.convert("RGBA"))[:, :, 3].astype(float)
    alpha = np.pad(alpha, 1)
    centres_x, centres_y = np.arange(alpha.shape[1]) - 0.5, np.arange(alpha.shape[0]) - 0.5
    lines = contourpy.contour_generator(centres_x, centres_y, alpha).lines(127.5)
    rings = [Polygon(line).buffer(0) for line in lines if len(line) >= 4]
    return shapely.union_all([ring for ring in rings if not ring.is_empty and counts(ring)])


def longest_side(geometry):
    """Of its box."""
    left, top, right, bottom = geometry.bounds
    return max(right - left, bottom - top)


def closed_buffer(art, border_mm, radius_mm):
    """Art grown by a border, inside corners rounded by a radius."""
    return art.buffer(border_mm + radius_mm, quad_segs=QUAD_SEGMENTS).buffer(-radius_mm, quad_segs=QUAD_SEGMENTS)


def sampled(geometry):
    """Points along the boundary of polygons, at most STEP_MM apart."""
    return shapely.points(shapely.get_coordinates(shapely.segmentize(geometry.boundary, STEP_MM)))


def farthest(one, other):
    """The largest distance of a point of one polygon's boundary from the other's boundary."""
    points, boundary = sampled(one), other.boundary
    shapely.prepare(boundary)
    return float(shapely.distance(points, boundary).max())


def apart(one, other):
    """The same both ways."""
    return max(farthest(one, other), farthest(other, one))


def filled(geometry):
    """A shape without its holes."""
    return shapely.union_all([Polygon(part.exterior) for part in shapely.get_parts(geometry)])


@dataclass(frozen=True)
class Contour:
    """One picture's cut line and what was said about it."""

    said: dict

    @property
    def name(self):
        return Path(self.said["picture"]).stem

    @property
    def error(self):
        return self.said.get("error")

    @cached_property
    def cubics(self):
        """Of each line: its cubics, n x 4 x 2."""
        lines = [np.array(line) for line in self.said["lines"]]
        return [np.stack([line[0:-1:3], line[1::3], line[2::3], line[3::3]], axis=1) for line in lines]

    @cached_property
    def rings(self):
        return [np.vstack([curves.cubic(*cubic) for cubic in cubics]) for cubics in self.cubics]

    @cached_property
    def shape(self):
        """Everything within the lines."""
        return shapely.union_all([Polygon(ring) for ring in self.rings])

    @cached_property
    def region(self):
        """The shape that the lines were fitted to."""
        return filled(shapely.union_all([Polygon(ring).buffer(0) for ring in self.said["region"]]))

    @cached_property
    def art(self):
        """The picture's own edge, mm."""
        a, b, c, d, e, f = self.said["art_to_mm"]
        outline = art_outline(self.said["picture"], lambda part: longest_side(part) >= self.said["speck_mm"] / a)
        return shapely.transform(outline, lambda points: points @ np.array([[a, b], [c, d]]) + (e, f))

    @property
    def is_simple(self):
        """No line crosses itself or another."""
        lines = [LineString(np.vstack([ring, ring[:1]])) for ring in self.rings]
        apart = all(not one.crosses(other) for index, one in enumerate(lines) for other in lines[:index])
        return apart and all(line.is_simple for line in lines)

    @property
    def from_region_mm(self):
        return apart(self.shape, self.region)

    @property
    def border_short_mm(self):
        """Delivered border less asked at its thinnest."""
        points, boundary = sampled(self.art), self.shape.boundary
        shapely.prepare(boundary)
        shapely.prepare(self.shape)
        distance = shapely.distance(points, boundary) * np.where(shapely.covers(self.shape, points), 1, -1)
        return float(distance.min()) - self.said["border_mm"]

    @property
    def nodes_per_100_mm(self):
        return sum(len(cubics) for cubics in self.cubics) / self.shape.boundary.length * 100

    @property
    def worst_turn_deg(self):
        return max(worst_turn(cubics) for cubics in self.cubics)

    @cached_property
    def radii_mm(self):
        """Smallest radii of curvature: where the line turns in, and out."""
        bends = np.concatenate([curvatures(cubics) for cubics in self.cubics])
        return 1 / max(-bends.min(), 1e-9), 1 / max(bends.max(), 1e-9)

    @cached_property
    def reference(self):
        """What GEOS makes of the art: grown, closed by the inside radius, holes filled."""
        return filled(closed_buffer(self.art, self.said["border_mm"], self.said["inside_radius_mm"]))

    @property
    def excess(self):
        """Area over the reference's, as a share of it."""
        return self.shape.area / self.reference.area - 1

    @cached_property
    def marks(self):
        """Around bridges and thickenings."""
        width = self.said["minimum_width_mm"]
        marks = [Point(x, y).buffer(width * 1.5) for x, y, _ in self.said["thickenings"]]
        return shapely.union_all(marks + [LineString(bridge).buffer(width * 1.5) for bridge in self.said["bridges"]])

    @property
    def unmarked_excess(self):
        """Excess without what lies at bridges and thickenings."""
        return self.shape.difference(self.reference).difference(self.marks).area / self.reference.area

    @property
    def unexplained_excess(self):
        """The same without the places that touch one or lie behind a slit that the inside radius shuts: no blade comes in there."""
        shut = closed_buffer(self.art, self.said["border_mm"] + SHUT_MM, self.said["inside_radius_mm"])
        pockets = [Polygon(hole) for part in shapely.get_parts(shut) for hole in part.interiors]
        causes = shapely.union_all([self.marks, *pockets])
        excess = self.shape.difference(self.reference)
        places = shapely.get_parts(excess.buffer(-PLACE_MM / 2).buffer(PLACE_MM / 2 + DEGENERATE_MM))
        caused = [place for place in places if place.intersects(causes)]
        return excess.difference(shapely.union_all([self.marks, *caused])).area / self.reference.area

    @property
    def narrowest_mm(self):
        """Width of the narrowest neck: the largest disc that can be moved all over each part of the shape. A tip is no neck."""
        return min(narrowest_neck(part) for part in shapely.get_parts(self.shape))

    @property
    def size_error_mm(self):
        return longest_side(self.shape) - self.said["longest_mm"]


def worst_turn(cubics):
    """Degrees by which neighbouring cubics' tangents differ, at worst."""
    leaving, landing = cubics[:, 1] - cubics[:, 0], cubics[:, 3] - cubics[:, 2]
    following = np.roll(leaving, -1, axis=0)
    cross = landing[:, 0] * following[:, 1] - landing[:, 1] * following[:, 0]
    return float(np.degrees(np.abs(np.arctan2(cross, (landing * following).sum(axis=1)))).max())


def curvatures(cubics):
    """Signed curvature along cubics, 1/mm: positive where a clockwise line (y down) turns towards its inside."""
    t = np.linspace(0, 1, CURVATURE_SAMPLES + 1)[None, :, None]
    a, b, c, d = (cubics[:, None, k] for k in range(4))
    slope = 3 * ((1 - t) ** 2 * (b - a) + 2 * (1 - t) * t * (c - b) + t**2 * (d - c))
    bend = 6 * ((1 - t) * (c - 2 * b + a) + t * (d - 2 * c + b))
    speed = np.hypot(slope[..., 0], slope[..., 1])
    cross = slope[..., 0] * bend[..., 1] - slope[..., 1] * bend[..., 0]
    return (cross / np.maximum(speed, DEGENERATE_MM) ** 3).ravel()


def narrowest_neck(shape):
    """Twice the largest radius by which a shape can be eroded and stay in one piece, by bisection, at most 20 mm. A piece is
    one that a disc of that radius fills by its own area; less is the rest of a corner."""

    def holds(radius):
        pieces = shapely.get_parts(shape.buffer(-radius, quad_segs=16))
        return sum(piece.area > 0.2 for piece in pieces) <= 1

    low, high = 0.0, 10.0
    while high - low > 0.005:
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return 2 * low
