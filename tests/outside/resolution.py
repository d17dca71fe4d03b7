"""How far apart cut lines are that are drawn around one picture at two resolutions, after Pillow made it smaller."""

from dataclasses import dataclass

import numpy as np
from PIL import Image
import shapely

import contours

# What a line itself may be off, mm; a pixel of the coarse picture comes on top.
LINE_MM = 0.05
FILTERS = {"lanczos": Image.Resampling.LANCZOS, "mean": Image.Resampling.BOX}


@dataclass(frozen=True)
class Apart:
    """How far a coarse picture's line is from the fine one's at most, both ways, mm: with both pictures laid on each other, and as
    the lines are delivered, each amid its own box."""

    name: str
    how: str
    aligned_mm: float
    delivered_mm: float
    allowed_mm: float


def apart(dumper, folder, path, fine_px, coarse_px, filters=FILTERS, **options):
    """For each filter what it makes of a picture that is enlarged first; `options` are the dumper's flags."""
    with Image.open(path) as picture:
        # Nothing else of a picture with transparency moves its line.
        alpha = picture.convert("RGBA").getchannel("A")
    assert alpha.getextrema()[0] < 255, f"{path} has no transparency"
    fine = scaled(alpha, fine_px, Image.Resampling.BICUBIC)
    pictures = {"fine": fine} | {how: scaled(fine, coarse_px, FILTERS[how]) for how in filters}
    paths = [folder / f"{path.stem}_{name}.png" for name in pictures]
    for alpha, to in zip(pictures.values(), paths):
        Image.merge("LA", (Image.new("L", alpha.size), alpha)).save(to, compress_level=1)
    one, *others = contours.draw(dumper, paths, **options)
    assert not any(contour.error for contour in (one, *others)), path
    for to in paths:
        to.unlink()
    return [
        Apart(
            name=path.stem,
            how=how,
            aligned_mm=contours.apart(one.shape, on_canvas(other, one)),
            delivered_mm=contours.apart(one.shape, other.shape),
            allowed_mm=LINE_MM + other.said["art_to_mm"][0],
        )
        for how, other in zip(filters, others, strict=True)
    ]


def scaled(picture, longest, how):
    """A picture with so many pixels on its longer side."""
    return picture.resize([max(1, round(side * longest / max(picture.size))) for side in picture.size], how)


def on_canvas(coarse, fine):
    """A coarse picture's shape where it is when its canvas lies on the fine one's."""
    (scale, _, _, _, *origin), (to_scale, _, _, _, *to_origin) = coarse.said["art_to_mm"], fine.said["art_to_mm"]
    shares = np.array(fine.said["pixels"]) / np.array(coarse.said["pixels"])

    def place(points):
        return (points - origin) / scale * shares * to_scale + to_origin

    return shapely.transform(coarse.shape, place)
