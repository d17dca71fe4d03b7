"""Ids with markup, right-to-left marks and emoji, read back by parsers that know nothing of us."""

import subprocess
import xml.etree.ElementTree as ElementTree

import pytest

import jobs
import readers

STRANGE = ["../../etc/passwd", "<b>&amp;\"'</b> ]]>", "\u202etxet\u202c שלום", "🦊🏽⭐", "a\\b:c*", "%s {0} $(id)"]


@pytest.fixture(scope="module")
def run(gang):
    """An order and an item for each strange id."""
    stock = {"stock": "plain", "form": {"sheet": {"size": "iso_a3_297x420mm"}}, "cut_lines_in_print": "separations"}
    job = jobs.job("strange", stock, [])
    job["orders"] = [{"order": name, "items": [jobs.item(name, "heart.png", 30, 1, tags=[name])]} for name in STRANGE]
    return gang(job)


def test_ids_come_back_from_the_cut_file_as_they_were(run):
    """XML 1.0 (Fifth Edition), 3.3.3, attribute-value normalisation."""
    (sheet,) = run.sheets
    assert sorted(cut.attributes["data-order"] for cut in sheet.cut.cuts) == sorted(STRANGE)
    assert sorted(cut.attributes["data-item"] for cut in sheet.cut.cuts) == sorted(STRANGE)
    allowed = {"svg", "g", "path", "title", "desc", "metadata"}
    assert {node.tag.split("}")[1] for node in ElementTree.parse(sheet.cut.path).iter()} <= allowed, "no markup of theirs"


def test_pdfs_with_strange_ids_are_sound(run, tmp_path):
    (sheet,) = run.sheets
    for path in (sheet.folder / "print.pdf", run.folder / "pick-list.pdf"):
        readers.opens_quietly("qpdf", "--check", path)
        readers.opens_quietly("pdftoppm", "-r", "30", "-png", path, tmp_path / "page")
        said = subprocess.run(["pdfinfo", "-js", path], capture_output=True, text=True, check=True).stdout
        assert not said.strip(), "no scripts"


def test_nothing_is_written_outside_the_folder(run):
    there = {path.name for path in run.scratch.iterdir()}
    assert there <= {"art", "job.json", "out"} | {path.name for path in run.scratch.glob("sheet-*")}
