"""The process that renders a drawing: its walls as the kernel has them, how large it renders, and which words it sets in the
face that was asked for."""

from pathlib import Path
import threading
import time

import pytest

from intake import ART
from reports import asking, report, timed_report, told
from service import Service

# Bounds of the child: seconds of work, and bytes of address space (1.2 GiB). Seconds of work until there is an answer.
CPU_S, MEMORY_BYTES, SECONDS = 3, 6 * 2**30 // 5, 5


def drawing(inside, width="100", height="100", view=""):
    """A drawing of 100 x 100 px."""
    return f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" {view}>{inside}</svg>'


def endless_dashes():
    """Cheap by its area, which is what is added up before rendering: 300 lines of ten thousand dashes each."""
    line = '<path d="M{} 0L{} 100L{} 0" stroke="#000" stroke-dasharray="0.01 0.01" fill="none"/>'
    lines = "".join(line.format(at % 100, at * 7 % 100, at * 13 % 100) for at in range(300))
    return drawing('<circle cx="50" cy="50" r="45" fill="red"/>' + lines)


def test_a_drawing_that_looks_cheap_and_is_not_is_stopped_by_the_clock(quoin, tmp_path):
    art = tmp_path / "dashes.svg"
    art.write_text(endless_dashes())
    said, took = timed_report(quoin, tmp_path, art)
    [finding] = told(said, "art.over_limit")
    assert finding["severity"] == "reject" and finding["unit"] == "s" and finding["limit"] == CPU_S, finding
    # It worked until it was ended, and was not refused by what it was estimated to cost.
    assert CPU_S - 0.5 < took < SECONDS, took


def children(pid):
    """Processes that a process has started, on whichever of its threads."""
    lists = (task / "children" for task in Path(f"/proc/{pid}/task").iterdir())
    return [int(child) for children in lists for child in children.read_text().split()]


def limits(pid):
    """The kernel's limits of a process: soft and hard."""
    rows = Path(f"/proc/{pid}/limits").read_text().splitlines()[1:]
    return {row[:26].strip(): tuple(row[26:].split()[:2]) for row in rows}


def test_the_child_is_walled_in_and_the_service_outlives_it(quoin):
    """Seen while it works. A limit on open files of three, which are open, is what keeps it from any other file."""
    with Service(quoin) as service:
        answers = []
        post = lambda: answers.append(service.post("/v1/preflight", asking({"part": "art"}), [("art", endless_dashes().encode())]))
        thread = threading.Thread(target=post)
        thread.start()
        seen = None
        while thread.is_alive() and seen is None:
            time.sleep(0.02)
            for child in children(service.process.pid):
                try:
                    if limits(child)["Max open files"] == ("3", "3"):
                        seen = limits(child)
                        command = Path(f"/proc/{child}/cmdline").read_bytes().split(b"\0")
                        files = {path.name for path in Path(f"/proc/{child}/fd").iterdir()}
                        settings = Path(f"/proc/{child}/environ").read_bytes().split(b"\0")
                except OSError:
                    seen = None
        assert seen is not None, "no child was seen at work"
        assert seen["Max cpu time"] == (str(CPU_S), str(CPU_S))
        assert seen["Max address space"] == (str(MEMORY_BYTES), str(MEMORY_BYTES))
        assert seen["Max file size"] == ("0", "0") and seen["Max core file size"] == ("0", "0")
        assert command[1] == b"render-drawing"
        assert files <= {"0", "1", "2"}, files
        assert {setting.split(b"=")[0] for setting in settings if setting} <= {b"MIMALLOC_ARENA_RESERVE"}, settings
        thread.join(timeout=60)
        [finding] = told(answers[0].json(), "art.over_limit")
        assert finding["limit"] == CPU_S
        assert children(service.process.pid) == []
        sound = (ART / "svg" / "treasure_chest.svg").read_bytes()
        assert service.post("/v1/preflight", asking({"part": "art"}), [("art", sound)]).json()["verdict"] != "reject"


ELLIPSE = drawing('<ellipse cx="{0}" cy="{1}" rx="{0}" ry="{1}" fill="darkred"/>'.format(50, 50))
STOCKS = {
    "sheet": {"stock": "white", "form": {"sheet": {"width_mm": 330, "height_mm": 480}}},
    "roll": {"stock": "banner", "form": {"roll": {"width_mm": 1300, "max_length_mm": 5000}}},
}


def rendered_ppi(quoin, folder, text, width_mm, stock):
    """Pixels of the art for each inch of print: the art reaches to the edges of its canvas, and lies inside a border of 2 mm."""
    (folder / "art.svg").write_text(text)
    item = {"art": {"file": "art.svg"}, "size": {"width_mm": width_mm}, "outline": {"border_mm": 2}}
    said = report(quoin, folder, {"item": item, "stock": STOCKS[stock]})
    assert not told(said, "art.over_limit"), said["findings"]
    measures = said["measures"]
    assert measures["effective_ppi"] is None
    return measures["art_width_px"] / ((width_mm - 4) / 25.4), measures


@pytest.mark.parametrize("width_mm", [50, 60, 100, 200])
def test_a_drawing_is_rendered_for_print_at_600_ppi(quoin, width_mm, tmp_path):
    """Twice what stock is printed at unless it says more."""
    ppi, _ = rendered_ppi(quoin, tmp_path, ELLIPSE, width_mm, "sheet")
    # README says of the finished size that it is the border's too: the canvas of a drawing is counted without one.
    least, most = 600 * 0.995, 600 * width_mm / (width_mm - 4) * 1.005
    assert least <= ppi <= most, ppi


def test_a_small_drawing_is_rendered_finer(quoin, tmp_path):
    """Under 1024 px nothing is saved: it was looked at in so many already."""
    ppi, measures = rendered_ppi(quoin, tmp_path, ELLIPSE, 25, "sheet")
    assert max(measures["width_px"], measures["height_px"]) == 1024 and ppi > 600, (ppi, measures)


def test_a_very_long_drawing_is_rendered_coarser_and_never_under_the_prints_own(quoin, tmp_path):
    """1.6 m at 600 ppi are 37,795 px, more than the 30,000 px of the longest side that is taken."""
    long_one = drawing('<ellipse cx="800" cy="25" rx="800" ry="25" fill="darkred"/>', "1600", "50")
    ppi, measures = rendered_ppi(quoin, tmp_path, long_one, 1600, "roll")
    assert measures["width_px"] == 30_000
    assert 300 <= ppi < 500, ppi


def test_a_drawing_of_much_work_is_rendered_coarser_and_never_under_the_prints_own(quoin, tmp_path):
    """Noise of five octaves over all of it: by the weights that are added up 2.5 s at 600 ppi, over the half of 3 s that a
    drawing may take as large as it was asked for."""
    noise = (
        '<filter id="f" x="0" y="0" width="1" height="1"><feTurbulence baseFrequency="0.1" numOctaves="5"/>'
        '<feMerge><feMergeNode in="SourceGraphic"/></feMerge></filter>'
        '<circle cx="50" cy="50" r="50" fill="darkred" filter="url(#f)"/>'
    )
    plain, _ = rendered_ppi(quoin, tmp_path, ELLIPSE, 100, "sheet")
    ppi, _ = rendered_ppi(quoin, tmp_path, drawing(noise), 100, "sheet")
    assert 300 <= ppi < 0.8 * plain, (ppi, plain)


# What is asked for, and whether the words look other than asked. Upright Regular and Bold of Noto Sans are bundled; names of
# families are compared without regard to case (CSS Fonts 3, 5.1).
FACES = {
    "regular": ('font-family="Noto Sans"', False),
    "bold": ('font-family="Noto Sans" font-weight="700"', False),
    "bold by its name": ('font-family="Noto Sans" font-weight="bold"', False),
    "another case": ('font-family="noto sans"', False),
    "capitals": ('font-family="NOTO SANS"', False),
    "quoted": ("font-family=\"'Noto Sans'\"", False),
    "a fallback behind it": ('font-family="Noto Sans, serif"', False),
    "italic": ('font-family="Noto Sans" font-style="italic"', True),
    "oblique": ('font-family="Noto Sans" font-style="oblique"', True),
    "black": ('font-family="Noto Sans" font-weight="900"', True),
    "light": ('font-family="Noto Sans" font-weight="300"', True),
    "condensed": ('font-family="Noto Sans" font-stretch="condensed"', True),
    "another family": ('font-family="Arial"', True),
    "behind another": ('font-family="Arial, Noto Sans"', True),
    "none": ("", True),
}


@pytest.mark.parametrize("face", FACES)
def test_words_in_another_face_than_asked_for_are_told(quoin, face, tmp_path):
    asked, is_other = FACES[face]
    art = tmp_path / "words.svg"
    art.write_text(drawing(f'<rect width="100" height="100" fill="gold"/><text x="5" y="50" font-size="20" {asked}>Hello</text>'))
    said, _ = timed_report(quoin, tmp_path, art)
    assert said["verdict"] != "reject", said["findings"]
    found = told(said, "text.not_outlined")
    assert [("Hello" in finding["message"], finding["severity"]) for finding in found] == [(True, "caution")] * is_other
