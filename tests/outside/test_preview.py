"""preview.png: as large as its millimetres, and the same picture as print.pdf."""

import struct

import numpy as np
from PIL import Image, ImageFilter
import shapely

PPI = 150
# Two sound resamplers of one picture differ along its edges and nowhere else, by a fraction of a pixel: a blur of one pixel
# takes most of that away. A picture in the wrong place, in the wrong colours or missing makes ten levels of 255 and more.
MEAN_DIFFERENCE_LEVELS = 2.0
# A tenth-millimetre cut line, drawn up to three pixels wide at 150 ppi, and its antialiasing.
CUT_LINE_HALF_WIDTH_MM = 0.5


def test_size_and_resolution_are_those_of_the_sheet(every_sheet):
    """PNG (Third Edition), 11.3.4.3, pHYs: pixels per metre; 150 ppi is 150 / 0.0254 = 5905.5."""
    for sheet in every_sheet:
        wanted = tuple(round(side / 25.4 * PPI) for side in sheet.size_mm)
        path = sheet.folder / "preview.png"
        with Image.open(path) as picture:
            assert all(abs(got - want) <= 1 for got, want in zip(picture.size, wanted, strict=True)), sheet.name
            exact = [side / 25.4 * PPI for side in sheet.size_mm]
            assert all(abs(got - want) <= 0.5 + 1e-6 for got, want in zip(picture.size, exact, strict=True)), sheet.name
        assert chunk(path, b"pHYs") == struct.pack(">IIB", 5906, 5906, 1), sheet.name


def test_preview_shows_what_the_print_shows(every_sheet):
    """MuPDF's rendering at 300 ppi, brought to the preview's size, over all stickers but their cut lines. On clear and
    metallic stock the two differ on purpose where bare stock or white ink shows: there only printed colour is compared."""
    for sheet in every_sheet:
        preview, printed, mask = compared(sheet)
        apart = np.abs(blurred(preview) - blurred(printed)).mean(axis=2)[shrunk(mask)].mean()
        assert apart <= MEAN_DIFFERENCE_LEVELS, f"{sheet.folder}: {apart:.2f} levels apart"


def test_preview_is_not_shifted(every_sheet):
    """No shift by one pixel (0.17 mm) in any of four directions makes print and preview agree better."""
    for sheet in every_sheet:
        preview, printed, mask = compared(sheet)
        mask &= shrunk(mask)
        here = np.abs(preview - printed).mean(axis=2)[mask].mean()
        for shift in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            there = np.abs(np.roll(preview, shift, axis=(0, 1)) - printed).mean(axis=2)[mask].mean()
            assert here < there, f"{sheet.folder}: shifted by {shift} it would fit better"


def test_cut_lines_are_drawn(every_sheet):
    """Along every cut line the preview differs from the print without lines, in most places."""
    for sheet in every_sheet:
        if sheet.stock["cut_lines_in_print"] != "none":
            continue
        preview, printed, _ = compared(sheet)
        apart = np.abs(preview - printed).max(axis=2)
        for cut in sheet.cut.cuts:
            across, down = (cut.ring / 25.4 * PPI).astype(int).T
            # A line may fall between pixels: the most different of the nine about it counts.
            beside = np.max([apart[down + y, across + x] for x in (-1, 0, 1) for y in (-1, 0, 1)], axis=0)
            assert (beside > 20).mean() > 0.7, f"{sheet.name} {cut.id}"


def compared(sheet):
    """Preview, print at the preview's size, and where they are compared. Drawn by MuPDF, which places pictures to a
    fraction of a pixel; poppler moves upright ones to whole pixels."""
    with Image.open(sheet.folder / "preview.png") as picture:
        preview = picture.convert("RGB")
    # Cropped, not squeezed: a page of 2480.3 pixels is drawn on 2481.
    width, height = preview.size
    drawn = sheet.rendered(2 * PPI, by="mupdf").crop((0, 0, 2 * width, 2 * height))
    printed = np.asarray(drawn.resize(preview.size, Image.Resampling.BOX), dtype=float)
    preview = np.asarray(preview, dtype=float)
    lines = shapely.union_all([cut.polygon.exterior for cut in sheet.cut.cuts]).buffer(CUT_LINE_HALF_WIDTH_MM)
    inside = shapely.union_all([sheet.cut.outermost(placement["placement"]) for placement in sheet.placements])
    area = inside.difference(lines)
    shapely.prepare(area)
    height, width = preview.shape[:2]
    x = (np.arange(width) + 0.5) * 25.4 / PPI
    mask = np.stack([shapely.contains_xy(area, x, np.full(width, (row + 0.5) * 25.4 / PPI)) for row in range(height)])
    if sheet.stock["face"] != "white":
        mask &= shrunk(printed.min(axis=2) < 160)
    return preview, printed, mask


def blurred(picture):
    """Each pixel with its eight neighbours."""
    return np.asarray(Image.fromarray(picture.astype(np.uint8)).filter(ImageFilter.BoxBlur(1)), dtype=float)


def shrunk(mask):
    """A mask without its outermost pixels."""
    return np.asarray(Image.fromarray(mask.astype(np.uint8) * 255).filter(ImageFilter.MinFilter(3))) > 0


def chunk(path, kind):
    """Data of a PNG's first chunk of a kind (PNG, Third Edition, 5.3)."""
    data, at = path.read_bytes(), 8
    while at < len(data):
        length = struct.unpack(">I", data[at : at + 4])[0]
        if data[at + 4 : at + 8] == kind:
            return data[at + 8 : at + 8 + length]
        at += 12 + length
    return None
