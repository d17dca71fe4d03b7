"""Flattening of cubic Béziers, the same for every file that is read, so that two files can be compared point by point."""

import math

import numpy as np

# Chord error of a flattened curve, mm: a fifth of the finest tolerance that is checked (0.01 mm).
FLATNESS_MM = 0.002


def cubic(start, control_1, control_2, end):
    """Points after `start` up to `end`, within FLATNESS_MM of the curve.

    Step count from the bound |error| <= max|B''| / (8 n^2) of linear interpolation over n equal steps, with
    max|B''| = 6 max(|P0 - 2 P1 + P2|, |P1 - 2 P2 + P3|) (Farin, Curves and Surfaces for CAGD, 5th ed., 2002, ch. 5).
    """
    points = np.array([start, control_1, control_2, end], dtype=float)
    bend = 6.0 * max(np.linalg.norm(points[0] - 2 * points[1] + points[2]), np.linalg.norm(points[1] - 2 * points[2] + points[3]))
    steps = max(1, math.ceil(math.sqrt(bend / (8.0 * FLATNESS_MM))))
    along = np.linspace(0.0, 1.0, steps + 1)[1:, None]
    back = 1.0 - along
    return back**3 * points[0] + 3 * back**2 * along * points[1] + 3 * back * along**2 * points[2] + along**3 * points[3]


def unturned(points, x_mm, y_mm, rotation_deg):
    """Points of a sheet brought into the sticker's own frame: moved to its origin, turned back (clockwise is positive with
    y down)."""
    angle = math.radians(rotation_deg)
    moved = np.asarray(points, dtype=float) - (x_mm, y_mm)
    return moved @ np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
