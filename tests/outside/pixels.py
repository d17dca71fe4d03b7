"""Pixels of a rendered sheet by where they lie in millimetres."""

import numpy as np
import shapely

MM_PER_IN = 25.4


def window_of(picture, area, ppi, reach_mm=0.0):
    """The part of a picture (an array) around an area, with the millimetre coordinates of its pixels' centres."""
    low_x, low_y, high_x, high_y = area.bounds
    height, width = picture.shape[:2]
    left, top = (max(0, int((value - reach_mm) / MM_PER_IN * ppi)) for value in (low_x, low_y))
    right = min(width, int((high_x + reach_mm) / MM_PER_IN * ppi) + 2)
    bottom = min(height, int((high_y + reach_mm) / MM_PER_IN * ppi) + 2)
    x, y = np.meshgrid((np.arange(left, right) + 0.5) * MM_PER_IN / ppi, (np.arange(top, bottom) + 0.5) * MM_PER_IN / ppi)
    return picture[top:bottom, left:right], x, y


def inside(picture, area, ppi):
    """Values of the pixels whose centres lie in an area."""
    part, x, y = window_of(picture, area, ppi)
    return part[shapely.contains_xy(area, x, y)]
