"""The table and the contact sheets of `load/contours`."""

import argparse
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from PIL import Image, ImageDraw
import shapely

import contours
import resolution

PX_PER_MM = 20
MARGIN_MM = 2
COLUMNS = 4
BORDERS_MM = [0, 1, 3]
FINE_PX = 6000
FIXTURES = Path(__file__).resolve().parents[1] / "fixtures" / "art" / "clip"
# Heading, measure, and which end of it is the worst.
FIGURES = [
    ("nodes/100mm", lambda c: c.nodes_per_100_mm, max),
    ("turn deg", lambda c: c.worst_turn_deg, max),
    ("region mm", lambda c: c.from_region_mm, max),
    ("border mm", lambda c: c.border_short_mm, min),
    ("neck mm", lambda c: c.narrowest_mm, min),
    ("inside r", lambda c: c.radii_mm[0], min),
    ("outside r", lambda c: c.radii_mm[1], min),
    ("excess %", lambda c: c.excess * 100, max),
    ("unexpl. %", lambda c: c.unexplained_excess * 100, max),
    ("edge ms", lambda c: c.said["edge_cpu_ms"], max),
    ("line ms", lambda c: c.said["line_cpu_ms"], max),
]


def arguments():
    parser = argparse.ArgumentParser(prog="load/contours", description=__doc__)
    parser.add_argument("dumper", help=argparse.SUPPRESS)
    parser.add_argument("folder", nargs="?", type=Path, default=FIXTURES)
    parser.add_argument("--out", type=Path, help="folder for contact sheets")
    parser.add_argument("--longest", type=float, default=80)
    parser.add_argument("--border", type=float, help="3; with --enlarge 0, 1 and 3 in turn")
    parser.add_argument("--minimum-width", type=float, default=3)
    parser.add_argument(
        "--enlarge", type=int, default=0, help="pixels of the longer side; times are then of that size; with --coarse 6000"
    )
    parser.add_argument("--coarse", type=int, default=0, help="compare with pictures of so many pixels on the longer side")
    parser.add_argument("--repeat", type=int, default=1, help="the least time of so many is told")
    return parser.parse_args()


def main():
    asked = arguments()
    pictures = sorted(path for path in asked.folder.iterdir() if path.suffix in {".png", ".webp"})
    border = 3 if asked.border is None else asked.border
    options = {"longest": asked.longest, "border": border, "minimum-width": asked.minimum_width}
    if asked.coarse:
        compared(asked, pictures, options)
        return
    if asked.enlarge:
        timed(asked, pictures, options)
        return
    drawn = contours.draw(asked.dumper, pictures, **options, repeat=asked.repeat)
    table(drawn)
    if asked.out:
        asked.out.mkdir(parents=True, exist_ok=True)
        bare = contours.draw(asked.dumper, pictures, **{**options, "minimum-width": 0})
        for after, before in zip(drawn, bare):
            if not after.error:
                sheet(before, after).save(asked.out / f"{after.name}.png")
        contact(sorted(asked.out.glob("*.png"))).save(asked.out / "all.jpg", quality=90)


def timed(asked, pictures, options):
    """Pictures enlarged no longer match their files: times and memory only."""
    options = options | {"enlarge": asked.enlarge, "repeat": asked.repeat}
    for border in BORDERS_MM if asked.border is None else [asked.border]:
        drawn = contours.draw(asked.dumper, pictures, **options | {"border": border})
        print(f"border {border:g} mm{'edge':>26}{'line':>9}")
        for contour in drawn:
            print(f"{contour.name:28}{contour.said['edge_cpu_ms']:9.0f}{contour.said['line_cpu_ms']:9.0f} CPU ms")
        most_mib, hungriest = max((contour.said["added_mib"], contour.name) for contour in drawn)
        for name in ("edge", "line"):
            times = {contour.name: contour.said[f"{name}_cpu_ms"] for contour in drawn}
            slowest = max(times, key=times.get)
            print(f"{name}: median {np.median(list(times.values())):.0f}, most {times[slowest]:.0f} CPU ms ({slowest})")
        print(f"most memory beside the picture: {most_mib:.0f} MiB ({hungriest})")


def compared(asked, pictures, options):
    """Lines of fine and coarse versions of each picture, and how far they are apart."""
    fine_px = asked.enlarge or FINE_PX
    with TemporaryDirectory() as folder:
        found = [
            one
            for path in pictures
            for one in resolution.apart(asked.dumper, Path(folder), path, fine_px, asked.coarse, **options)
        ]
    heading = f"{asked.coarse} beside {fine_px} px"
    print(f"{heading:28}{'filter':>12}{'aligned mm':>12}{'delivered':>12}{'allowed mm':>12}")
    for one in found:
        figures = "".join(f"{length:12.3f}" for length in (one.aligned_mm, one.delivered_mm, one.allowed_mm))
        print(f"{one.name:28}{one.how:>12}{figures}")
    for how in resolution.FILTERS:
        of_filter = [one for one in found if one.how == how]
        for name, length in (("aligned", lambda one: one.aligned_mm), ("delivered", lambda one: one.delivered_mm)):
            worst = max(of_filter, key=lambda one: length(one) / one.allowed_mm)
            over = sum(length(one) > one.allowed_mm for one in of_filter)
            print(f"{how}, {name}: {over} over; worst {length(worst):.3f} of {worst.allowed_mm:.3f} mm  {worst.name}")


def table(drawn):
    print(f"{'picture':28}" + "".join(f"{name:>12}" for name, *_ in FIGURES))
    rows = {contour.name: [measure(contour) for _, measure, _ in FIGURES] for contour in drawn if not contour.error}
    for name, row in rows.items():
        print(f"{name:28}" + "".join(f"{value:12.3f}" for value in row))
    for contour in drawn:
        if contour.error:
            print(f"{contour.name:28}{contour.error}")
    print(f"{'median':28}" + "".join(f"{value:12.3f}" for value in np.median(list(rows.values()), axis=0)))
    for column, (name, _, pick) in enumerate(FIGURES):
        value, worst = pick((row[column], picture) for picture, row in rows.items())
        print(f"worst {name:12}{value:10.3f}  {worst}")


def sheet(before, after):
    """Art, the line without thickening in grey, the line in red with its nodes, thickened places in blue."""
    left, top, right, bottom = after.shape.bounds
    origin = np.array([left - MARGIN_MM, top - MARGIN_MM])
    size = ((right - left + 2 * MARGIN_MM) * PX_PER_MM, (bottom - top + 2 * MARGIN_MM) * PX_PER_MM)
    picture = Image.new("RGB", (round(size[0]), round(size[1])), "white")
    pen = ImageDraw.Draw(picture)

    def pixels(points):
        return [tuple(point) for point in (np.asarray(points) - origin) * PX_PER_MM]

    for part in shapely.get_parts(after.art):
        pen.polygon(pixels(part.exterior.coords), fill="#d0d0d0")
    for contour, colour, width in ((before, "#909090", 1), (after, "#e00000", 2)):
        for ring in contour.rings:
            pen.line(pixels(np.vstack([ring, ring[:1]])), fill=colour, width=width)
    for cubics in after.cubics:
        for x, y in pixels(cubics[:, 0]):
            pen.ellipse([x - 3, y - 3, x + 3, y + 3], fill="#e00000")
    for x, y, width in after.said["thickenings"]:
        (x, y), radius = pixels([(x, y)])[0], max(width, 0.5) / 2 * PX_PER_MM
        pen.ellipse([x - radius, y - radius, x + radius, y + radius], outline="#0060ff", width=3)
    for bridge in after.said["bridges"]:
        pen.line(pixels(bridge), fill="#0060ff", width=4)
    return picture


def contact(paths):
    """All sheets on one."""
    side = 480
    rows = -(-len(paths) // COLUMNS)
    together = Image.new("RGB", (COLUMNS * side, rows * side), "white")
    for index, path in enumerate(paths):
        with Image.open(path) as one:
            one.thumbnail((side - 8, side - 8))
            together.paste(one, (index % COLUMNS * side + 4, index // COLUMNS * side + 4))
    return together


if __name__ == "__main__":
    main()
