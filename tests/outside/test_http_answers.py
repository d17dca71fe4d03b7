"""What the service answers, read by others: Python's zipfile, Pillow, an SVG library; and held against the command line."""

import base64
import hashlib
import io
import json
import subprocess
import zipfile

from PIL import Image
import pytest
from svgelements import SVG

from conftest import DEMO
from service import with_parts

HEART = (DEMO / "art" / "heart.png").read_bytes()
STOCK = {"stock": "white", "form": {"sheet": {"size": "iso_a4_210x297mm"}}}


def single(**fields):
    return {"item": {"art": {"part": "art"}, "size": {"width_mm": 40}, **fields}, "stock": STOCK}


@pytest.fixture(scope="session")
def night():
    """The demo night without its drawing: over HTTP drawings are set aside."""
    job = json.loads((DEMO / "night.json").read_text())
    job["policy"]["effort"] = "draft"
    for order in job["orders"]:
        order["items"] = [item for item in order["items"] if "svg" not in json.dumps(item)]
    job["orders"] = [order for order in job["orders"] if order["items"]]
    return job


@pytest.fixture(scope="session")
def night_on_the_command_line(gang, night):
    return gang(night)


def test_an_archive_holds_the_command_lines_files_byte_for_byte(service, night, night_on_the_command_line):
    job, parts = with_parts(night, DEMO)
    answer = service.post("/v1/gangs", job, parts)
    assert answer.status_code == 200 and answer.headers["Content-Type"] == "application/zip"
    assert answer.headers["Content-Disposition"] == f'attachment; filename="{job["run"]}.zip"'
    archive = zipfile.ZipFile(io.BytesIO(answer.content))
    assert archive.testzip() is None
    folder = night_on_the_command_line.folder
    expected = {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    assert set(archive.namelist()) == set(expected)
    for name, data in expected.items():
        assert archive.read(name) == data, name
    assert archive.namelist()[0] == "ticket.json"
    ticket = json.loads(archive.read("ticket.json"))
    for file in ticket["files"] + [file for sheet in ticket["sheets"] for file in sheet["files"]]:
        data = archive.read(file["path"])
        assert (len(data), hashlib.sha256(data).hexdigest()) == (file["bytes"], file["sha256"])


def test_a_run_as_json_holds_the_same_files_and_comes_again_the_same(service):
    item = {"item": "1", "art": {"part": "art"}, "size": {"width_mm": 40}, "quantity": 3}
    job = {"run": "small", "stocks": [STOCK], "orders": [{"order": "1", "items": [item]}]}
    zipped = service.post("/v1/gangs", job, [("art", HEART)], headers={"Accept": "application/zip"})
    as_json = service.post("/v1/gangs", job, [("art", HEART)], headers={"Accept": "application/json"})
    # RFC 7240, section 2: a preference that is not understood or not supported is ignored.
    again = service.post("/v1/gangs", job, [("art", HEART)], headers={"Prefer": "respond-async"})
    assert again.status_code == 200 and again.content == zipped.content
    assert as_json.headers["Content-Type"] == "application/json"
    document = as_json.json()
    files = {file["path"]: base64.b64decode(file["base64"]) for file in document["files"]}
    archive = zipfile.ZipFile(io.BytesIO(zipped.content))
    assert files == {name: archive.read(name) for name in archive.namelist()}
    assert document["ticket"] == json.loads(files["ticket.json"])
    inline = json.loads(json.dumps(job))
    inline["orders"][0]["items"][0]["art"] = {"base64": base64.b64encode(HEART).decode()}
    assert service.post("/v1/gangs", inline).content == zipped.content


def on_the_command_line(quoin, tmp_path, command, job, *flags):
    (tmp_path / "art.png").write_bytes(HEART)
    job = json.loads(json.dumps(job).replace('{"part": "art"}', '{"file": "art.png"}'))
    (tmp_path / "job.json").write_text(json.dumps(job))
    return subprocess.run([quoin, command, tmp_path / "job.json", *flags], capture_output=True, timeout=120)


@pytest.mark.parametrize(("path", "command", "job"), [
    ("/v1/preflight", "preflight", single()),
    ("/v1/preflight", "preflight", {"item": {"art": {"part": "art"}}, "stock": STOCK}),
    ("/v1/estimates", "estimate", {**single(), "quantities": [10, 50]}),
])
def test_reports_and_estimates_are_those_of_the_command_line(service, quoin, tmp_path, path, command, job):
    answer = service.post(path, job, [("art", HEART)])
    assert answer.status_code == 200 and answer.headers["Content-Type"] == "application/json"
    done = on_the_command_line(quoin, tmp_path, command, job)
    assert done.returncode == 0 and done.stdout == answer.content


def test_a_proof_comes_as_picture_drawing_and_json_with_one_digest(service, quoin, tmp_path):
    job = {**single(), "view": {"ground": "dark", "longest_px": 500}}
    png = service.post("/v1/proofs", job, [("art", HEART)])
    svg = service.post("/v1/proofs", job, [("art", HEART)], headers={"Accept": "image/svg+xml"})
    document = service.post("/v1/proofs", job, [("art", HEART)], headers={"Accept": "application/json"})
    assert png.headers["Content-Type"] == "image/png" and svg.headers["Content-Type"] == "image/svg+xml"
    digest = png.headers["Proof-Digest"]
    assert png.headers["Proof-Verdict"] == "ready"
    assert len(digest) == 64 and digest == svg.headers["Proof-Digest"] == document.headers["Proof-Digest"]
    picture = Image.open(io.BytesIO(png.content))
    assert max(picture.size) == 500
    body = document.json()
    assert set(body) == {"report", "digest", "picture"} and body["digest"] == digest
    assert body["picture"]["media_type"] == "image/png"
    assert base64.b64decode(body["picture"]["base64"]) == png.content
    assert body["report"] == service.post("/v1/preflight", single(), [("art", HEART)]).json()
    drawing = SVG.parse(io.BytesIO(svg.content))
    assert drawing.width > 0 and drawing.height > 0
    out = tmp_path / "proof.png"
    done = on_the_command_line(quoin, tmp_path, "proof", job, "--out", out)
    assert done.returncode == 0 and out.read_bytes() == png.content


def test_an_approved_proof_is_printed_and_a_changed_one_set_aside(service):
    digest = service.post("/v1/proofs", single(), [("art", HEART)]).headers["Proof-Digest"]

    def job(width_mm):
        item = {"item": "1", "art": {"part": "art"}, "size": {"width_mm": width_mm}, "quantity": 2, "approved": digest}
        keep = {"item": "2", "art": {"part": "art"}, "size": {"width_mm": 30}, "quantity": 1}
        return {"run": "approved", "stocks": [STOCK], "orders": [{"order": "1", "items": [item, keep]}], "policy": {"effort": "draft"}}

    as_json = {"Accept": "application/json"}
    same = service.post("/v1/gangs", job(40), [("art", HEART)], headers=as_json).json()["ticket"]
    assert same["totals"]["set_aside"] == 0
    other = service.post("/v1/gangs", job(41), [("art", HEART)], headers=as_json).json()["ticket"]
    [aside] = other["set_aside"]
    assert aside["copies"] == [1, 2] and [finding["code"] for finding in aside["findings"]][-1] == "proof.changed"


def test_a_drawing_from_a_stranger_is_taken(service):
    svg = (DEMO / "art" / "treasure_chest.svg").read_bytes()
    report = service.post("/v1/preflight", single(), [("art", svg)]).json()
    assert report["verdict"] != "reject", report["findings"]
    assert report["measures"]["format"] == "svg" and report["measures"]["effective_ppi"] is None


def test_a_picture_that_cannot_be_printed_is_a_report_and_not_a_fault(service):
    for data, code in [(b"", "art.unreadable"), (HEART[:200], "art.unreadable"), (b"8BPS\0\x01\0\0", "art.unsupported")]:
        answer = service.post("/v1/preflight", single(), [("art", data)])
        assert answer.status_code == 200
        assert answer.json()["verdict"] == "reject" and answer.json()["findings"][0]["code"] == code
        estimate = service.post("/v1/estimates", single(), [("art", data)])
        assert estimate.status_code == 200
        assert estimate.json()["verdict"] == "reject" and estimate.json()["quantities"] == []


def test_a_proof_is_refused_only_where_no_sticker_can_be_made(service):
    small = service.post("/v1/proofs", single(size={"width_mm": 5}), [("art", HEART)])
    assert small.status_code == 422 and [finding["code"] for finding in small.json()["findings"]] == ["size.too_small"]
    pieces = [{"piece": "a", "art": {"part": "art"}, "size": {"width_mm": 60}, "copies": 20}]
    page = {"product": "sticker_sheet", "page": {"width_mm": 90, "height_mm": 90}, "pieces": pieces}
    full = service.post("/v1/proofs", {"item": page, "stock": STOCK}, [("art", HEART)])
    assert full.status_code == 422 and "page.full" in [finding["code"] for finding in full.json()["findings"]]
    large = service.post("/v1/proofs", single(size={"width_mm": 400}), [("art", HEART)])
    assert large.status_code == 200 and large.headers["Proof-Verdict"] == "reject"


def test_a_sheet_of_many_pieces_opens_its_picture_once(service):
    before = service.resident_bytes(peak=True)
    big = io.BytesIO()
    Image.new("RGBA", (4000, 4000), (20, 120, 60, 255)).save(big, "PNG")
    pieces = [{"piece": str(n), "art": {"part": "art"}, "size": {"width_mm": 20}} for n in range(30)]
    page = {"product": "sticker_sheet", "page": {"width_mm": 180, "height_mm": 240}, "pieces": pieces, "backdrop": {"remove": "never"}}
    answer = service.post("/v1/preflight", {"item": page, "stock": STOCK}, [("art", big.getvalue())])
    assert answer.status_code == 200, answer.text
    # 61 MiB once decoded; opened for each piece it would be 1.8 GiB.
    assert service.resident_bytes(peak=True) - before < 600 << 20


def test_the_examples_of_rfc_7578_shape_are_taken(service):
    """RFC 7578, section 4: parts in any order, each with its own headers, names with any character."""
    boundary = "AaB03x"
    job = json.dumps({"item": {"art": {"part": "Bild ä 🦊"}, "size": {"width_mm": 40}}, "stock": STOCK})
    body = b"".join([
        b"preamble that is ignored\r\n--", boundary.encode(), b'\r\nContent-Disposition: form-data; name="',
        "Bild ä 🦊".encode(), b'"; filename="file1.txt"\r\nContent-Type: text/plain\r\nX-Other: 1\r\n\r\n', HEART,
        b"\r\n--", boundary.encode(), b'\r\ncontent-disposition: form-data; name=job\r\nContent-Type: application/json; charset=utf-8\r\n\r\n',
        job.encode(), b"\r\n--", boundary.encode(), b"--\r\nepilogue that is ignored",
    ])
    answer = service.request("POST", "/v1/preflight", data=body, headers={"Content-Type": f"multipart/form-data; boundary={boundary}"})
    assert answer.status_code == 200, answer.text
    assert answer.content == service.post("/v1/preflight", single(), [("art", HEART)]).content


def test_accept_chooses_as_rfc_9110_says(service):
    # RFC 9110, section 12.5.1: the most specific range counts, and 0 means not at all.
    cases = [
        ("image/png;q=0.1, image/svg+xml", "image/svg+xml"),
        ("image/*, application/json;q=0.5", "image/png"),
        ("image/png;q=0, */*", "image/svg+xml"),
        ("*/*", "image/png"),
    ]
    for accept, media_type in cases:
        job = {**single(), "view": {"longest_px": 64}}
        answer = service.post("/v1/proofs", job, [("art", HEART)], headers={"Accept": accept})
        assert answer.headers["Content-Type"] == media_type, accept


def test_digests_of_many_answers_are_right_and_nothing_may_be_kept(service):
    for path in ["/v1/stocks", "/healthz", "/nothing", "/metrics", "/docs"]:
        answer = service.get(path)
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
    answer = service.post("/v1/preflight", single(), [("art", HEART)])
    assert answer.headers["Cache-Control"] == "no-store"


def test_the_metrics_are_open_metrics(service):
    from prometheus_client.openmetrics.parser import text_string_to_metric_families

    assert service.post("/v1/preflight", single(), [("art", HEART)]).status_code == 200
    text = service.get("/metrics").text
    families = {family.name: family for family in text_string_to_metric_families(text)}
    assert families["quoin_requests"].type == "counter"
    assert families["quoin_request_duration_seconds"].type == "histogram"
    assert {sample.labels["operation"] for sample in families["quoin_requests"].samples} >= {"preflight"}
    assert families["quoin_ready"].samples[0].value == 1
