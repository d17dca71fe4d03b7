"""Every code that a request can cause, caused over HTTP: status, problem document, page.

RFC 9457 (problem documents), RFC 6901 (pointers), RFC 9110 (Allow, Accept, Retry-After), RFC 7578 (multipart).
"""

import json
import re
import socket

import pytest

from conftest import DEMO
from service import multipart, raw_answer

FOX = (DEMO / "art" / "heart.png").read_bytes()
STOCK = {"stock": "white", "form": {"sheet": {"size": "iso_a4_210x297mm"}}}

# Of the command line alone, or our own mistakes, which no request is known to cause.
NOT_OVER_HTTP = {"job.file_missing", "job.file_outside_folder", "http.internal"}


def item(**fields):
    return {"item": "1", "art": {"part": "fox"}, "size": {"width_mm": 40}, "quantity": 2, **fields}


def gang(item=item(), **fields):
    return {"run": "night", "stocks": [STOCK], "orders": [{"order": "1", "items": [item]}], "policy": {"effort": "draft"}, **fields}


def single(**fields):
    return {"item": {"art": {"part": "fox"}, "size": {"width_mm": 40}, **fields}, "stock": STOCK}


def without(thing, field):
    return {name: value for name, value in thing.items() if name != field}


# Mistake code -> the job, its parts, and where the mistake is pointed at.
MISTAKES = {
    "job.duplicate_field": ('{"run": "a", "run": "b", "stocks": [], "orders": []}', [], "/run"),
    "job.unknown_field": (gang(item(colour="red")), [("fox", FOX)], "/orders/0/items/0/colour"),
    "job.missing_field": (gang(without(item(), "quantity")), [("fox", FOX)], "/orders/0/items/0"),
    "job.wrong_type": (gang(item(quantity="two")), [("fox", FOX)], "/orders/0/items/0/quantity"),
    "job.out_of_range": (gang(item(quantity=0)), [("fox", FOX)], "/orders/0/items/0/quantity"),
    "job.unknown_word": (gang(item(product="mug")), [("fox", FOX)], "/orders/0/items/0/product"),
    "job.not_supported_yet": (gang(stocks=[{**STOCK, "colour": "cmyk"}]), [("fox", FOX)], "/stocks/0/colour"),
    "job.duplicate_id": (
        gang(orders=[{"order": "1", "items": [item()]}, {"order": "1", "items": [item()]}]), [("fox", FOX)], "/orders/1/order"
    ),
    "job.bad_id": (gang(run="a/b"), [("fox", FOX)], "/run"),
    "job.bad_colour": (gang(item(outline={"border_colour": "white"})), [("fox", FOX)], "/orders/0/items/0/outline/border_colour"),
    "job.bad_date": (gang(date="tomorrow"), [("fox", FOX)], "/date"),
    "job.unknown_media": (
        gang(stocks=[{"stock": "white", "form": {"sheet": {"size": "A4"}}}]), [("fox", FOX)], "/stocks/0/form/sheet/size"
    ),
    "job.unknown_stock": (gang(item(stock="silk")), [("fox", FOX)], "/orders/0/items/0/stock"),
    "job.no_stock_chosen": (gang(stocks=[STOCK, {**STOCK, "stock": "clear"}]), [("fox", FOX)], "/orders/0/items/0"),
    "job.broken_stock": (
        gang(stocks=[{**STOCK, "register_marks": {"shape": "disc"}, "margins_mm": {"top": 5, "right": 5, "bottom": 5, "left": 5}}]),
        [("fox", FOX)], None,
    ),
    "job.contradiction": (
        gang(item(size={"width_mm": 40, "longest_mm": 40})), [("fox", FOX)], "/orders/0/items/0/size"
    ),
    "job.too_many_copies": (
        gang(orders=[{"order": str(n), "items": [item(quantity=100_000)]} for n in range(11)]), [("fox", FOX)], "/orders"
    ),
    "job.art_not_taken": (gang(item(art={"file": "fox.png"})), [], "/orders/0/items/0/art/file"),
    "job.part_missing": (gang(), [], "/orders/0/items/0/art/part"),
    "job.part_unused": (gang(), [("fox", FOX), ("cat", FOX)], ""),
    "job.part_doubled": (gang(), [("fox", FOX), ("fox", FOX)], ""),
    "job.bad_base64": (gang(item(art={"base64": "%%%"})), [], "/orders/0/items/0/art/base64"),
}


def problem(answer, status, code):
    """A problem document of RFC 9457, section 3, with our members."""
    assert answer.status_code == status, (answer.status_code, answer.text)
    assert answer.headers["Content-Type"] == "application/problem+json"
    document = answer.json()
    assert document["type"] == f"/problems/{code}" and document["code"] == code
    assert document["status"] == status
    assert document["title"] and document["detail"]
    assert isinstance(document["mistakes"], list)
    return document


@pytest.mark.parametrize("code", MISTAKES)
def test_each_mistake_is_listed_with_its_place(service, code):
    job, parts, pointer = MISTAKES[code]
    document = problem(service.post("/v1/gangs", job, parts), 422, "job.has_mistakes")
    mistakes = [mistake for mistake in document["mistakes"] if mistake["code"] == code]
    assert mistakes, document
    if pointer is not None:
        assert pointer in [mistake["pointer"] for mistake in mistakes], mistakes
    for mistake in document["mistakes"]:
        assert set(mistake) == {"code", "pointer", "message"} and mistake["message"]
        # RFC 6901, section 3.
        assert re.fullmatch(r"(/([^~/]|~[01])*)*", mistake["pointer"])


def test_all_mistakes_come_at_once(service):
    job = gang(item(quantity=0, product="mug", colour="red"), run="a/b", date="soon")
    document = problem(service.post("/v1/gangs", job, [("fox", FOX)]), 422, "job.has_mistakes")
    assert {mistake["code"] for mistake in document["mistakes"]} >= {
        "job.out_of_range", "job.unknown_word", "job.unknown_field", "job.bad_id", "job.bad_date"
    }


def test_the_job_twice_is_a_doubled_part(service):
    files = [*multipart(json.dumps(gang()), [("fox", FOX)]), ("job", (None, "{}", "application/json"))]
    document = problem(service.request("POST", "/v1/gangs", files=files), 422, "job.has_mistakes")
    assert [mistake["code"] for mistake in document["mistakes"]] == ["job.part_doubled"]


def test_a_head_of_a_part_that_is_too_long_is_broken_and_not_large(service):
    head = b'--b\r\nContent-Disposition: form-data; name="' + b"x" * 70_000 + b'"\r\n\r\n\r\n--b--\r\n'
    answer = service.request("POST", "/v1/gangs", data=head, headers={"Content-Type": "multipart/form-data; boundary=b"})
    problem(answer, 400, "http.broken_body")


def cause_not_json(service):
    return service.post("/v1/preflight", "{", [])


def cause_broken_body(service):
    headers = {"Content-Type": "multipart/form-data; boundary=right"}
    return service.request("POST", "/v1/preflight", data=b"--wrong\r\n\r\n\r\n--wrong--\r\n", headers=headers)


def cause_no_job_part(service):
    return service.request("POST", "/v1/preflight", files=[("fox", ("fox.png", FOX))])


def cause_not_found(service):
    return service.get("/v1/nothing")


def cause_method_not_allowed(service):
    answer = service.get("/v1/gangs")
    assert answer.headers["Allow"] == "POST"
    other = service.request("DELETE", "/v1/stocks")
    assert other.status_code == 405 and other.headers["Allow"] == "GET, HEAD"
    return answer


def cause_not_acceptable(service):
    return service.post("/v1/preflight", single(), [("fox", FOX)], headers={"Accept": "text/csv"})


def cause_unsupported_media_type(service):
    job = json.dumps(single())
    for files in [
        [("job", (None, job)), ("fox", ("fox.png", FOX))],
        [("job", (None, FOX, "image/png")), ("fox", ("fox.png", FOX))],
    ]:
        part = service.request("POST", "/v1/preflight", files=files)
        assert problem(part, 415, "http.unsupported_media_type")
    missing = service.request("POST", "/v1/preflight", data=b"")
    assert missing.status_code == 415
    answer = service.request("POST", "/v1/preflight", data=FOX, headers={"Content-Type": "image/png"})
    # RFC 9110, section 15.5.16: Accept says what would have been taken.
    assert "application/json" in answer.headers["Accept"]
    return answer


def cause_unsupported_coding(service):
    headers = {"Content-Type": "application/json", "Content-Encoding": "gzip"}
    return service.request("POST", "/v1/preflight", data=b"x", headers=headers)


def cause_too_many_parts(service):
    parts = [(f"p{n}", b"x") for n in range(1200)]
    return service.post("/v1/preflight", single(), parts)


def cause_body_too_large(service):
    # Said in the head: refused before a byte of it comes.
    with service.connect() as connection:
        head = f"POST /v1/preflight HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: {1 << 30}\r\n\r\n"
        connection.sendall(head.encode())
        status, body = raw_answer(connection)
    assert status == 413 and json.loads(body)["code"] == "http.body_too_large"
    return service.post("/v1/preflight", b'{"x": "' + b"a" * (65 << 20) + b'"}')


def cause_nothing_placed(service):
    answer = service.post("/v1/gangs", gang(), [("fox", b"not a picture")])
    findings = answer.json()["findings"]
    assert findings[0]["order"] == "1" and findings[0]["copies"] == [1, 2]
    assert findings[0]["findings"][0]["code"] == "art.unsupported" or findings[0]["findings"][0]["code"] == "art.unreadable"
    return answer


def cause_no_sticker(service):
    answer = service.post("/v1/proofs", single(), [("fox", b"")])
    assert answer.json()["findings"][0]["code"] == "art.unreadable"
    return answer


PROBLEMS = {
    "http.broken_body": (400, cause_broken_body),
    "http.no_job_part": (400, cause_no_job_part),
    "job.not_json": (400, cause_not_json),
    "http.not_found": (404, cause_not_found),
    "http.method_not_allowed": (405, cause_method_not_allowed),
    "http.not_acceptable": (406, cause_not_acceptable),
    "http.body_too_large": (413, cause_body_too_large),
    "http.too_many_parts": (413, cause_too_many_parts),
    "http.unsupported_media_type": (415, cause_unsupported_media_type),
    "http.unsupported_coding": (415, cause_unsupported_coding),
    "run.nothing_placed": (422, cause_nothing_placed),
    "proof.no_sticker": (422, cause_no_sticker),
}

# Caused in tests of their own: test_http_bounds.py, test_http_keys.py.
ELSEWHERE = {
    "job.has_mistakes", "http.body_too_slow", "http.full", "http.draining", "http.no_key", "http.unknown_key", "http.no_scope"
}


@pytest.mark.parametrize("code", PROBLEMS)
def test_each_problem_is_caused(service, code):
    status, cause = PROBLEMS[code]
    problem(cause(service), status, code)


def test_every_code_has_a_page_and_every_one_that_a_request_can_cause_is_caused(service):
    codes = set(re.findall(r'href="/problems/([^"]+)"', service.get("/docs").text))
    assert len(codes) > 60
    faults = set()
    for code in codes:
        page = service.get(f"/problems/{code}", headers={"Accept": "application/json"}).json()
        assert set(page) == {"code", "status", "title", "cause", "remedy"}
        assert page["code"] == code and page["title"] and page["cause"] and page["remedy"]
        page_for_people = service.get(f"/problems/{code}")
        assert page_for_people.headers["Content-Type"].startswith("text/html") and code in page_for_people.text
        # A finding about an item is no fault: it has no status.
        if page["status"] is not None:
            faults.add(code)
    assert set(PROBLEMS) | set(MISTAKES) | ELSEWHERE == faults - NOT_OVER_HTTP
    assert service.get("/problems/no.such_code").status_code == 404


def test_head_is_answered_like_get_without_content(service):
    # RFC 9110, section 9.3.2.
    for path in ["/v1/stocks", "/healthz", "/readyz", "/openapi.json", "/docs", "/problems/http.full"]:
        get, head = service.get(path), service.request("HEAD", path)
        assert head.status_code == get.status_code == 200 and head.content == b""
        assert head.headers["Content-Type"] == get.headers["Content-Type"]
        assert head.headers["Content-Length"] == get.headers["Content-Length"]


def test_a_wrong_request_line_ends_its_own_connection_only(service):
    for garbage in [b"\x00\x01\x02\r\n\r\n", b"GET\r\n\r\n", b"POST /v1/preflight HTTP/9.9\r\n\r\n", b"\x16\x03\x01\x02\x00"]:
        with service.connect() as connection:
            connection.sendall(garbage)
            connection.shutdown(socket.SHUT_WR)
            # Below the application there are no documents: a bare 400 and the end of the connection.
            status, body = raw_answer(connection)
            assert (status, body) in [(400, b""), (0, b"")], (status, body)
    assert service.get("/healthz").text == "ok\n"
