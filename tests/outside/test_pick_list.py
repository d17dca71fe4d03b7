"""pick-list.pdf: opened, measured and searched."""

import subprocess

import numpy as np
import pikepdf
from PIL import Image
import zxingcpp

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


def test_every_order_and_every_reason_stands_in_the_text(demo):
    """Poppler's text extraction: a packer can search the list."""
    path = demo.folder / "pick-list.pdf"
    text = subprocess.run(["pdftotext", path, "-"], capture_output=True, text=True, check=True).stdout
    words = text.split()
    for order in demo.ticket["orders"]:
        assert order["order"] in words, order["order"]
    flowing = " ".join(words)
    for entry in demo.ticket["set_aside"]:
        assert entry["findings"][-1]["message"] in flowing


def test_pages_carry_the_codes_of_their_sheets(demo, tmp_path):
    """Read by zxing-cpp at 150 ppi: `run/sheet`, as on the sheets."""
    subprocess.run(["pdftoppm", "-r", "150", "-png", demo.folder / "pick-list.pdf", tmp_path / "page"], check=True)
    pages = [np.asarray(Image.open(picture).convert("RGB")) for picture in sorted(tmp_path.glob("page*.png"))]
    codes = {code.text for page in pages for code in zxingcpp.read_barcodes(page)}
    assert codes == {f"{demo.ticket['run']}/{sheet['sheet']}" for sheet in demo.ticket["sheets"]}
