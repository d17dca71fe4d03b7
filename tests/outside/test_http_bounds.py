"""A service that is pushed: bounded memory, bounded queue, health that answers, work that ends with its client."""

import json
import os
import re
import socket
import threading
import time

import pytest
import requests

from conftest import DEMO
from service import Service, multipart, raw_answer, send_gang

MIB = 1 << 20
HEART = (DEMO / "art" / "heart.png").read_bytes()
STOCK = {"stock": "white", "form": {"sheet": {"size": "iso_a4_210x297mm"}}}
PREFLIGHT = {"item": {"art": {"part": "fox"}, "size": {"width_mm": 40}}, "stock": STOCK}


def slow_gang():
    """Work of many seconds for one worker: a mix, because copies of one design are laid out by a pattern at once."""
    items = [
        {"item": str(width), "art": {"part": "fox"}, "size": {"width_mm": width}, "quantity": 30} for width in range(20, 40, 2)
    ]
    job = {"run": "slow", "stocks": [STOCK], "orders": [{"order": "1", "items": items}], "policy": {"effort": "thorough"}}
    return job, [("fox", HEART)]


def posted(service, path, job, parts, results, **options):
    """Posts on a thread of its own connection."""

    def post():
        try:
            answer = requests.post(service.url + path, files=multipart(json.dumps(job), parts), timeout=300, **options)
            results.append(answer)
        except requests.RequestException as error:
            results.append(error)

    thread = threading.Thread(target=post, daemon=True)
    thread.start()
    return thread


def wait_for(condition, seconds=30):
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if condition():
            return
        time.sleep(0.02)
    raise AssertionError("did not happen in time")


def metric(service, name):
    text = requests.get(service.url + "/metrics", timeout=30).text
    line = next(line for line in text.splitlines() if line.startswith(f"quoin_{name} "))
    return float(line.split()[1])


@pytest.fixture
def small(quoin):
    """One worker, one more that may wait."""
    with Service(quoin, "--workers", 1, "--queue-length", 1, "--body-deadline-s", 2) as service:
        yield service


def test_a_full_queue_refuses_at_once_with_an_honest_wait_and_health_answers(small):
    results = []
    job, parts = slow_gang()
    for _ in range(2):
        posted(small, "/v1/gangs", job, parts, results)
    wait_for(lambda: metric(small, "queue_places_taken") == 2)
    began = time.monotonic()
    answer = small.post("/v1/preflight", PREFLIGHT, [("fox", HEART)])
    assert answer.status_code == 503 and answer.json()["code"] == "http.full"
    assert time.monotonic() - began < 1.0
    assert 1 <= int(answer.headers["Retry-After"]) <= 600
    assert small.get("/healthz").text == "ok\n" and small.get("/readyz").status_code == 200


def test_work_ends_with_its_client(small):
    job, parts = slow_gang()
    connection = small.connect()
    send_gang(small, connection, job, parts)
    wait_for(lambda: metric(small, "workers_busy") == 1)
    time.sleep(0.5)
    assert metric(small, "workers_busy") == 1, "the work is slow"
    connection.close()
    wait_for(lambda: metric(small, "workers_busy") == 0, seconds=3)
    wait_for(lambda: any(record.get("outcome") == "client_left" for record in small.records()))
    assert small.post("/v1/preflight", PREFLIGHT, [("fox", HEART)]).status_code == 200


def test_a_client_that_leaves_in_the_middle_of_its_body_keeps_nothing(small):
    for _ in range(5):
        with small.connect() as connection:
            connection.sendall(
                b"POST /v1/preflight HTTP/1.1\r\nHost: x\r\nContent-Type: multipart/form-data; boundary=b\r\n"
                b"Content-Length: 100000\r\n\r\n--b\r\nContent-Disposition: form-data; name=\"fox\"\r\n\r\nhalf"
            )
    wait_for(lambda: metric(small, "queue_places_taken") == 0)
    assert small.post("/v1/preflight", PREFLIGHT, [("fox", HEART)]).status_code == 200


def test_a_slow_body_is_given_up(small):
    with small.connect() as connection:
        connection.sendall(b"POST /v1/preflight HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n")
        stop = time.monotonic() + 20
        connection.settimeout(0.3)
        answer = b""
        while time.monotonic() < stop and b"\r\n\r\n" not in answer:
            try:
                connection.sendall(b" ")
                answer += connection.recv(4096)
            except TimeoutError:
                continue
            except OSError:
                break
    assert answer.startswith(b"HTTP/1.1 408"), answer
    assert b"http.body_too_slow" in answer


def test_a_large_upload_stays_out_of_memory(quoin):
    with Service(quoin) as service:
        assert service.post("/v1/preflight", PREFLIGHT, [("fox", HEART)]).status_code == 200
        before = service.resident_bytes()
        # All but the last byte of a 100 MiB picture: taken in, and not yet decoded.
        boundary = b"b0undary"
        job = json.dumps(PREFLIGHT).encode()
        start = b"".join([
            b"--", boundary, b'\r\nContent-Disposition: form-data; name="job"\r\nContent-Type: application/json\r\n\r\n', job,
            b"\r\n--", boundary, b'\r\nContent-Disposition: form-data; name="fox"; filename="fox.png"\r\n\r\n',
        ])
        end = b"\r\n--" + boundary + b"--\r\n"
        size = 100 * MIB
        with service.connect() as connection:
            length = len(start) + size + len(end)
            connection.sendall(
                b"POST /v1/preflight HTTP/1.1\r\nHost: x\r\nContent-Type: multipart/form-data; boundary=" + boundary
                + f"\r\nContent-Length: {length}\r\n\r\n".encode() + start
            )
            chunk = os.urandom(MIB)
            highest = before
            for number in range(100):
                connection.sendall(chunk[:-1] if number == 99 else chunk)
                highest = max(highest, service.resident_bytes())
            time.sleep(0.5)
            highest = max(highest, service.resident_bytes())
            assert highest - before <= 20 * MIB, (highest - before) / MIB
            connection.sendall(chunk[-1:] + end)
            status, body = raw_answer(connection)
        assert status == 200 and json.loads(body)["findings"][0]["code"] == "art.unreadable"
        over = service.post("/v1/preflight", PREFLIGHT, [("fox", b"\0" * (100 * MIB + 1))])
        assert over.status_code == 200
        finding = over.json()["findings"][0]
        assert (finding["code"], finding["measured"], finding["limit"]) == ("art.over_limit", 100 * MIB + 1, 100 * MIB)


def test_hostile_bodies_get_their_code_and_leave_the_process_small(quoin):
    with Service(quoin) as service:
        before = service.resident_bytes()
        for _ in range(3):
            parts = [(f"p{n}", b"x") for n in range(10_000)]
            assert service.post("/v1/gangs", "{}", parts).json()["code"] == "http.too_many_parts"
        deep = "[" * 10_000 + "]" * 10_000
        for text in [
            deep, '{"item": ' * 10_000, '{"a": 1e999}', '{"a": NaN}', '{"a": "\\ud800"}', b'{"a": "\xff"}', b"\xff\xfe{\x00}\x00", b"",
            b"\x89PNG\r\n\x1a\n" + os.urandom(5000),
        ]:
            answer = service.post("/v1/preflight", text)
            assert answer.status_code == 400 and answer.json()["code"] == "job.not_json", text[:40]
        huge = service.post("/v1/preflight", '{"item": {"quantity": 123456789012345678901234567890}, "stock": 1e308}')
        assert huge.status_code == 422
        for field in [b"", b"; boundary=", b"; boundary=" + b"b" * 200]:
            kind = b"multipart/form-data" + field
            answer = service.request("POST", "/v1/gangs", data=b"--b\r\n", headers={"Content-Type": kind})
            assert answer.status_code == 400 and answer.json()["code"] == "http.broken_body"
        assert service.process.poll() is None
        assert service.resident_bytes() - before <= 60 * MIB


def test_a_thousand_requests_of_garbage_leave_the_service_well(quoin):
    import random

    chance = random.Random(1042)
    with Service(quoin) as service:
        kinds = ["application/json", "multipart/form-data; boundary=b", "text/plain", "application/json; charset=latin1"]
        paths = ["/v1/preflight", "/v1/proofs", "/v1/estimates", "/v1/gangs", "/v1/stocks", "/%00", "/problems/%2e%2e"]
        pieces = [b"--b", b"\r\n", b"{", b"}", b'"item"', b":", b"[", HEART[:100], b"\0", b'Content-Disposition: form-data; name="job"', b"1e9"]
        seen = set()
        for _ in range(1000):
            body = b"".join(chance.choices(pieces, k=chance.randrange(12)))
            headers = {"Content-Type": chance.choice(kinds)}
            answer = service.request(chance.choice(["POST", "PUT", "GET"]), chance.choice(paths), data=body, headers=headers)
            seen.add(answer.status_code)
            assert answer.status_code < 500, (answer.status_code, body)
        assert seen >= {400, 404, 405, 415}
        assert service.get("/healthz").status_code == 200


def test_health_is_answered_under_full_load(quoin):
    """The figure (99 of 100 within 20 ms) is shown by load/health; here only that no answer waits for the work."""
    with Service(quoin, "--workers", 2) as service:
        results = []
        job, parts = slow_gang()
        for _ in range(4):
            posted(service, "/v1/gangs", job, parts, results)
        wait_for(lambda: metric(service, "workers_busy") == 2)
        for _ in range(50):
            began = time.monotonic()
            assert service.get("/healthz").text == "ok\n"
            assert time.monotonic() - began < 2.0, "waited for the work"
        assert not results, "the work is still going on"


def test_a_service_that_is_told_to_stop_finishes_what_runs_and_loses_no_answer(quoin):
    with Service(quoin, "--workers", 1, "--drain-notice-s", 1, "--drain-deadline-s", 100) as service:
        job, parts = slow_gang()
        job["policy"] = {"effort": "standard"}
        results = []
        threads = [posted(service, "/v1/gangs", job, parts, results) for _ in range(2)]
        wait_for(lambda: metric(service, "queue_places_taken") == 2)
        service.terminate()
        wait_for(lambda: requests.get(service.url + "/readyz", timeout=10).status_code == 503)
        assert requests.get(service.url + "/readyz", timeout=10).json()["code"] == "http.draining"
        assert requests.get(service.url + "/healthz", timeout=10).status_code == 200
        time.sleep(1.2)
        assert all(thread.is_alive() for thread in threads), "the work is slow"
        late = requests.post(service.url + "/v1/preflight", files=multipart(json.dumps(PREFLIGHT), [("fox", HEART)]), timeout=60)
        assert late.status_code == 503 and late.json()["code"] == "http.draining" and int(late.headers["Retry-After"]) > 0
        for thread in threads:
            thread.join(timeout=120)
        assert [answer.status_code for answer in results] == [200, 200]
        assert len({answer.content for answer in results}) == 1
        assert service.process.wait(timeout=30) == 0


def test_what_comes_during_the_notice_is_done(quoin):
    with Service(quoin, "--drain-notice-s", 3) as service:
        service.terminate()
        wait_for(lambda: requests.get(service.url + "/readyz", timeout=10).status_code == 503)
        answer = requests.post(service.url + "/v1/preflight", files=multipart(json.dumps(PREFLIGHT), [("fox", HEART)]), timeout=60)
        assert answer.status_code == 200
        assert service.process.wait(timeout=30) == 0


def test_an_answer_that_is_read_slowly_is_sent_to_its_end_before_the_stop(quoin):
    with Service(quoin, "--drain-notice-s", 0, "--drain-deadline-s", 60) as service:
        items = [{"item": str(n), "art": {"part": "fox"}, "size": {"width_mm": 60 + n}, "quantity": 12} for n in range(8)]
        job = {"run": "large", "stocks": [{**STOCK, "print_ppi": 600}], "orders": [{"order": "1", "items": items}],
               "policy": {"effort": "draft"}, "outputs": ["print_pdf", "sheet_png"]}
        with service.connect() as connection:
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 65536)
            send_gang(service, connection, job, [("fox", HEART)])
            connection.settimeout(120)
            data = connection.recv(4096)
            assert data.startswith(b"HTTP/1.1 200"), data
            length = int(re.search(rb"content-length: (\d+)", data, re.IGNORECASE).group(1))
            assert length > 8 * MIB, "more than any buffer on the way"
            assert metric(service, "queue_places_taken") == 1, "what is being sent keeps its place"
            service.terminate()
            time.sleep(11)
            while chunk := connection.recv(1 << 20):
                data += chunk
                if len(data.partition(b"\r\n\r\n")[2]) == length:
                    break
        assert len(data.partition(b"\r\n\r\n")[2]) == length
        assert service.process.wait(timeout=30) == 0


def test_whoever_waits_or_uploads_at_the_deadline_gets_an_answer(quoin):
    with Service(quoin, "--workers", 1, "--drain-notice-s", 0, "--drain-deadline-s", 1) as service:
        job, parts = slow_gang()
        results = []
        threads = [posted(service, "/v1/gangs", job, parts, results) for _ in range(3)]
        wait_for(lambda: metric(service, "queue_places_taken") == 3)
        with service.connect() as connection:
            connection.sendall(b"POST /v1/preflight HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 9\r\n\r\n{")
            wait_for(lambda: metric(service, "queue_places_taken") == 4)
            service.terminate()
            status, body = raw_answer(connection)
        assert status == 503 and json.loads(body)["code"] == "http.draining"
        for thread in threads:
            thread.join(timeout=20)
        assert [answer.status_code for answer in results] == [503, 503, 503]
        assert service.process.wait(timeout=20) == 0


def test_two_signals_end_it_at_once_and_still_with_an_answer(quoin):
    with Service(quoin, "--workers", 1) as service:
        job, parts = slow_gang()
        results = []
        thread = posted(service, "/v1/gangs", job, parts, results)
        wait_for(lambda: metric(service, "workers_busy") == 1)
        service.terminate()
        time.sleep(0.3)
        service.terminate()
        thread.join(timeout=20)
        assert results[0].status_code == 503
        assert service.process.wait(timeout=20) == 0


def test_many_parts_take_one_file(quoin):
    with Service(quoin, "--workers", 1) as service:
        before = len(os.listdir(f"/proc/{service.process.pid}/fd"))
        job, parts = slow_gang()
        posted(service, "/v1/gangs", job, parts, [])
        wait_for(lambda: metric(service, "workers_busy") == 1)
        many = [("fox", HEART), *[(f"p{n}", b"x") for n in range(900)]]
        posted(service, "/v1/gangs", job, many, [])
        wait_for(lambda: metric(service, "queue_places_taken") == 2)
        time.sleep(1)
        assert len(os.listdir(f"/proc/{service.process.pid}/fd")) - before < 20


def test_work_that_outlasts_the_deadline_is_given_up_with_an_answer(quoin):
    with Service(quoin, "--workers", 1, "--drain-notice-s", 0, "--drain-deadline-s", 1) as service:
        results = []
        job, parts = slow_gang()
        thread = posted(service, "/v1/gangs", job, parts, results)
        wait_for(lambda: metric(service, "workers_busy") == 1)
        service.terminate()
        thread.join(timeout=60)
        assert results[0].status_code == 503 and results[0].json()["code"] == "http.draining"
        assert service.process.wait(timeout=30) == 0
