"""pick-list.pdf: opened, measured and searched."""

import subprocess

import numpy as np
import pikepdf
from PIL import Image

import readers


def test_syntax_is_clean(measured_runs):
    """`qpdf --check`, as for print.pdf."""
    for run in measured_runs:
        readers.opens_quietly("qpdf", "--check", run.folder / "pick-list.pdf")


def test_it_has_a_page_for_each_sheet_and_a_summary(measured_runs):
    for run in measured_runs:
        with pikepdf.open(run.folder / "pick-list.pdf") as pdf:
            assert len(pdf.pages) >= len(run.sheets) + 1


def test_pages_have_the_report_size(demo):
    """ISO 216: A4 is 210 x 297 mm."""
    with pikepdf.open(demo.folder / "pick-list.pdf") as pdf:
        for page in pdf.pages:
            size = [float(number) * 25.4 / 72 for number in page.mediabox][2:]
            np.testing.assert_allclose(size, (210, 297), atol=0.01)


def test_no_page_is_empty(demo, tmp_path):
    with pikepdf.open(demo.folder / "pick-list.pdf") as pdf:
        pages = len(pdf.pages)
    subprocess.run(["pdftoppm", "-r", "40", "-png", demo.folder / "pick-list.pdf", tmp_path / "page"], check=True)
    pictures = sorted(tmp_path.glob("page*.png"))
    assert len(pictures) == pages
    for picture in pictures:
        assert (np.asarray(Image.open(picture).convert("L")) < 128).mean() > 0.002, picture.name


def test_mupdf_opens_it(demo, tmp_path):
    readers.opens_quietly("mutool", "draw", "-q", "-r", "20", "-o", tmp_path / "page-%d.png", demo.folder / "pick-list.pdf")
