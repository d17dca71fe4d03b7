"""Drawings: rendered as an unrelated renderer (librsvg with Cairo) renders them, in a process that can die alone."""

import io
import json
from pathlib import Path
import resource
import shutil
import struct
import subprocess
import time

import numpy
from PIL import Image
import pytest

from intake import ART, FORMATS, decode
import jobs
from reports import asking, report_text, timed_report
from service import Service

DRAWINGS = sorted((ART / "svg").glob("*.svg"))

# Live text is set in other faces by either renderer.
WITH_TEXT = {"letter_blocks_text", "text_live_font"}

# Largest mean difference, where it may be more than 1.5 codes, and why.
APART = {
    "letter_blocks_text": 6, "text_live_font": 20,  # the text
    "ladybird_mm": 4,  # a radial gradient off its focus: the other leaves light the rim where the last stop belongs (SVG 1.1, 13.2.3)
}

HOSTILE = sorted((FORMATS / "hostile").iterdir())

# What each file must come to: these codes, or "opens": it is drawn, without what it asked for.
FAULTS = {
    "gif_canvas_65535.gif": {"art.over_limit"},
    "png_claims_60000x60000.png": {"art.over_limit"},
    "png_iccp_bomb.png": {"art.over_limit"},
    "png_idat_bomb.png": {"opens", "art.unreadable", "art.blank"},
    "png_real_20000x20000_1bit.png": {"art.over_limit"},
    "png_ztxt_bomb.png": {"art.tiny"},
    "svg_data_uri_bomb.svg": {"art.over_limit"},
    "svg_data_uri_svg_nested.svg": {"opens", "art.blank"},
    "svg_deep_nesting.svg": {"art.over_limit"},
    "svg_entity_expansion.svg": {"art.unsupported"},
    "svg_external_entity.svg": {"art.unsupported"},
    "svg_external_image.svg": {"opens", "art.blank"},
    "svg_huge_filter.svg": {"art.over_limit"},
    "svg_huge_size.svg": {"art.over_limit"},
    "svg_nan_size.svg": {"opens", "art.unreadable"},
    "svg_script.svg": {"opens"},
    "svg_use_doubling.svg": {"art.over_limit"},
    "svg_use_loop.svg": {"art.over_limit"},
    "svgz_bomb.svgz": {"art.over_limit"},
}

# Bounds of the parent and the child.
SECONDS, CHILD_BYTES, PARENT_BYTES = 5, 1.2 * 2**30, 300 * 2**20


def over_grey(pixels):
    """Straight alpha over mid grey, so that transparent places count too."""
    alpha = pixels[..., 3:].astype(float) / 255
    return pixels[..., :3] * alpha + 128 * (1 - alpha)


@pytest.mark.parametrize("path", DRAWINGS, ids=lambda path: path.stem)
def test_drawings_look_as_an_unrelated_renderer_draws_them(path):
    """Mean difference of codes, and the share of pixels that differ by more than antialiasing may."""
    said, pixels = decode(path, 800)
    assert pixels is not None, said
    height, width = pixels.shape[:2]
    command = ["rsvg-convert", "--width", str(width), "--height", str(height), path]
    drawn = subprocess.run(command, capture_output=True, check=True, timeout=60).stdout
    theirs = numpy.asarray(Image.open(io.BytesIO(drawn)).convert("RGBA"))
    assert theirs.shape == pixels.shape
    off = numpy.abs(over_grey(pixels) - over_grey(theirs)).max(axis=2)
    far = (off > 48).mean()
    assert off.mean() < APART.get(path.stem, 1.5) and far < (0.15 if path.stem in WITH_TEXT else 0.02), (off.mean(), far)
    assert bool(said["live_text"]) == (path.stem in WITH_TEXT)


@pytest.mark.parametrize("path", HOSTILE, ids=lambda path: path.name)
def test_hostile_files_are_answered_in_time_and_memory(quoin, path, tmp_path):
    before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    report, took = timed_report(quoin, tmp_path, path)
    # The largest of all children so far, parent and grandchild alike: only a rise is this file's own.
    after = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    codes = {finding["code"] for finding in report["findings"] if finding["severity"] == "reject"}
    art = {code for code in codes if code.startswith("art.")}
    assert (art or {"opens"}) <= FAULTS[path.name], report["findings"]
    assert took < SECONDS, took
    if after > before:
        assert after * 1024 < CHILD_BYTES, after


def test_every_hostile_file_is_accounted_for():
    assert {path.name for path in HOSTILE} == set(FAULTS)


def test_hostile_files_leave_the_service_alive_and_small(quoin):
    """All of them over HTTP, then a sound drawing; the service itself stays within its bound beyond decoded pixels."""
    with Service(quoin) as service:
        throw_all_at(service)


def throw_all_at(service):
    job = asking({"part": "art"})
    for path in HOSTILE:
        began = time.monotonic()
        answer = service.post("/v1/preflight", job, [("art", path.read_bytes())])
        assert answer.status_code == 200, (path.name, answer.text)
        assert time.monotonic() - began < SECONDS, path.name
        findings = {f["code"] for f in answer.json()["findings"] if f["severity"] == "reject" and f["code"].startswith("art.")}
        assert (findings or {"opens"}) <= FAULTS[path.name], (path.name, findings)
    sound = service.post("/v1/preflight", job, [("art", (ART / "svg" / "treasure_chest.svg").read_bytes())]).json()
    assert sound["measures"]["format"] == "svg" and sound["verdict"] != "reject", sound["findings"]
    status = Path(f"/proc/{service.process.pid}/status").read_text()
    peak = int(next(line for line in status.splitlines() if line.startswith("VmHWM")).split()[1]) * 1024
    # The largest picture that is decoded here is a rendering: at most 1417 x 1417 px at 600 ppi, and its looks.
    assert peak < PARENT_BYTES, peak


def test_live_text_is_told_with_its_words(quoin, tmp_path):
    report, _ = timed_report(quoin, tmp_path, ART / "svg" / "text_live_font.svg")
    finding = next(f for f in report["findings"] if f["code"] == "text.not_outlined")
    words = (ART / "svg" / "text_live_font.svg").read_text().split("</text>")[0].rsplit(">", 1)[1].strip()
    assert words in finding["message"]


@pytest.mark.parametrize("name, missing", [("svg_external_image.svg", 4), ("svg_data_uri_svg_nested.svg", 1)])
def test_what_is_left_out_of_a_drawing_is_told(quoin, tmp_path, name, missing):
    """Links to elsewhere, and a drawing in a drawing; beside it something to see, or nothing else would be told."""
    text = (FORMATS / "hostile" / name).read_text()
    seen = '<rect width="50%" height="50%" fill="navy"/></svg>'
    art = tmp_path / "made" / name
    art.parent.mkdir()
    art.write_text(seen.join(text.rsplit("</svg>", 1)))
    told, _ = timed_report(quoin, tmp_path, art)
    finding = next(f for f in told["findings"] if f["code"] == "art.incomplete")
    assert (finding["measured"], finding["severity"]) == (missing, "caution"), finding


@pytest.mark.parametrize("path", DRAWINGS, ids=lambda path: path.stem)
def test_a_drawing_that_shows_all_it_should_is_told_nothing(quoin, tmp_path, path):
    """`ant_missing_image` links to pictures too, in patterns that nothing is painted with."""
    told, _ = timed_report(quoin, tmp_path, path)
    assert "art.incomplete" not in {finding["code"] for finding in told["findings"]}


def test_a_drawing_is_the_same_from_the_command_line_and_over_http(quoin, service, tmp_path):
    art = ART / "svg" / "robot_clip_paths.svg"
    report, _ = timed_report(quoin, tmp_path, art)
    assert service.post("/v1/preflight", asking({"part": "art"}), [("art", art.read_bytes())]).json() == report


def test_what_a_report_says_hangs_on_no_name(quoin, tmp_path):
    """The same bytes under another name, and beside other files."""
    reports = []
    for name in ("a.png", "zz_other.jpeg", "noending"):
        folder = tmp_path / name
        folder.mkdir()
        art = folder / name
        shutil.copy(FORMATS / "palette_with_alpha.png", art)
        reports.append(report_text(quoin, folder, asking({"file": name})))
    assert len(set(reports)) == 1


def test_a_child_that_wants_too_much_memory_dies_alone(quoin):
    """450 MB, of which 256 MiB are its stack: a canvas of 8000 x 8000 px is more than is left, and says so as it dies."""
    most = {"max_pixels": 120_000_000, "max_side_px": 30_000, "max_frames": 1}
    sizes = ("bytes", "decoded_bytes", "metadata_bytes", "profile_bytes", "drawing_bytes", "drawing_memory_bytes")
    limits = {**most, "max_drawing_cpu_s": 3, **{f"max_{name}": 10**9 for name in sizes}}
    whole = [struct.unpack("<Q", struct.pack("<d", share))[0] for share in (0.0, 0.0, 1.0, 1.0)]
    question = {"longest_px": 8000, "least_px": 8000, "window": whole, "limits": limits}
    drawing = b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>'
    command = [quoin, "render-drawing", "--memory-bytes", "450000000", "--cpu-s", "3"]
    # As the service starts it: with memory in small portions.
    wanted = {
        "input": json.dumps(question).encode() + b"\n" + drawing, "capture_output": True, "timeout": 60,
        "env": {"MIMALLOC_ARENA_RESERVE": "1MiB"},
    }
    done = subprocess.run(command, **wanted)
    assert done.returncode < 0 and b"memory allocation of" in done.stderr, done.stderr
    command[3] = str(6 * 2**30 // 5)
    done = subprocess.run(command, **wanted)
    assert done.returncode == 0 and len(done.stdout.split(b"\n", 1)[1]) == 8000 * 8000 * 4


def test_a_drawing_that_works_without_end_dies_alone(quoin, tmp_path):
    art = tmp_path / "noise" / "noise.svg"
    art.parent.mkdir()
    noise = "<feTurbulence baseFrequency='0.1' numOctaves='9'/>" * 12
    art.write_text(
        f'<svg xmlns="http://www.w3.org/2000/svg" width="100" height="100"><filter id="f">{noise}</filter>'
        '<rect width="100" height="100" filter="url(#f)"/></svg>'
    )
    report, took = timed_report(quoin, tmp_path, art)
    codes = {finding["code"] for finding in report["findings"]}
    assert "art.over_limit" in codes, report["findings"]
    assert took < SECONDS, took


def test_what_is_said_of_an_item_hangs_on_no_order(gang):
    """The same items in one order and in the other: every item's findings are the same."""
    stock = {"stock": "white", "form": {"sheet": {"size": "iso_a4_210x297mm"}}}
    items = [jobs.item(name, picture, 40, 1) for name, picture in [
        ("heart", "heart.png"), ("chest", "treasure_chest.svg"), ("photo", "dahlia_photo.jpg"), ("crow", "crow.png"),
    ]]
    said = []
    for turned in (items, items[::-1]):
        ticket = gang(jobs.job("order", stock, turned)).ticket
        said.append({item["item"]: item["findings"] for order in ticket["orders"] for item in order["items"]})
    assert said[0] == said[1]
