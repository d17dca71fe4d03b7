"""Keys (RFC 6750, RFC 9110 section 11), settings, and what the log says."""

import hashlib
import subprocess

import pytest

from conftest import DEMO
from service import Service

KEY = "0123456789abcdef" * 4
OTHER = "fedcba9876543210" * 4
STOCK = {"stock": "white", "form": {"sheet": {"size": "iso_a4_210x297mm"}}}
HEART = (DEMO / "art" / "heart.png").read_bytes()


def digest(key):
    return hashlib.sha256(key.encode()).hexdigest()


@pytest.fixture(scope="module")
def keyed(quoin, tmp_path_factory):
    """A service with a key for the storefront and one for the nightly run."""
    settings = f"""
[[keys]]
name = "storefront"
sha256 = "{digest(KEY)}"
scopes = ["inspect"]

[[stocks]]
stock = "gloss"
finish = "gloss laminate"
[stocks.form.sheet]
size = "na_letter_8.5x11in"
"""
    service = Service(
        quoin, environment={"QUOIN_KEYS": f"night={digest(OTHER)}:gang+metrics"}, settings=settings,
        folder=tmp_path_factory.mktemp("keyed"),
    )
    yield service
    service.stop()


def bearer(key):
    return {"Authorization": f"Bearer {key}"}


def test_no_key_an_unknown_key_and_a_key_for_something_else_are_refused(keyed):
    preflight = {"item": {"art": {"part": "fox"}}}
    none = keyed.post("/v1/preflight", preflight, [("fox", HEART)])
    assert none.status_code == 401 and none.json()["code"] == "http.no_key"
    assert none.headers["WWW-Authenticate"].startswith("Bearer realm=")
    for wrong in [KEY[:-1], KEY + "0", KEY.upper(), "ä"]:
        unknown = keyed.get("/v1/stocks", headers={"Authorization": f"Bearer {wrong}".encode()})
        assert unknown.status_code == 401
    unknown = keyed.get("/v1/stocks", headers=bearer(KEY[:-1]))
    assert unknown.json()["code"] == "http.unknown_key" and 'error="invalid_token"' in unknown.headers["WWW-Authenticate"]
    wrong_scope = keyed.post("/v1/gangs", {}, [], headers=bearer(KEY))
    assert wrong_scope.status_code == 403 and wrong_scope.json()["code"] == "http.no_scope"
    assert 'error="insufficient_scope"' in wrong_scope.headers["WWW-Authenticate"]
    assert keyed.get("/metrics", headers=bearer(KEY)).status_code == 403
    assert keyed.get("/metrics").status_code == 401


def test_a_key_opens_its_operations_and_health_needs_none(keyed):
    assert keyed.post("/v1/preflight", {"item": {"art": {"part": "fox"}}}, [("fox", HEART)], headers=bearer(KEY)).status_code == 200
    assert keyed.get("/metrics", headers={"Authorization": f"bearer {OTHER}"}).status_code == 200
    assert keyed.post("/v1/gangs", {}, [], headers=bearer(OTHER)).status_code == 422
    for path in ["/healthz", "/readyz", "/openapi.json", "/docs", "/problems/http.no_key"]:
        assert keyed.get(path).status_code == 200


def test_configured_stocks_are_listed_complete_and_used_by_name(keyed):
    [stock] = keyed.get("/v1/stocks", headers=bearer(KEY)).json()["stocks"]
    assert stock["stock"] == "gloss" and stock["finish"] == "gloss laminate"
    assert stock["gutter_mm"] == 2.0 and stock["cutting"]["minimum_width_mm"] == 3.0
    named = keyed.post("/v1/preflight", {"item": {"art": {"part": "fox"}}, "stock": "gloss"}, [("fox", HEART)], headers=bearer(KEY))
    changed = {"stock": "gloss", "gutter_mm": 5}
    over = keyed.post("/v1/preflight", {"item": {"art": {"part": "fox"}}, "stock": changed}, [("fox", HEART)], headers=bearer(KEY))
    assert named.json()["settings"]["stock"]["gutter_mm"] == 2.0
    assert over.json()["settings"]["stock"]["gutter_mm"] == 5.0
    assert over.json()["settings"]["stock"]["finish"] == "gloss laminate"


def test_no_answer_lets_other_origins_read_it(keyed):
    answer = keyed.get("/v1/stocks", headers={**bearer(KEY), "Origin": "https://shop.example"})
    assert not [name for name in answer.headers if name.lower().startswith("access-control")]


def test_the_log_has_a_line_per_request_and_nothing_of_the_customer(keyed):
    secret = "Persephone-1042"
    job = {"run": "night", "stocks": ["gloss"], "orders": [{"order": secret, "items": [
        {"item": secret, "art": {"part": secret}, "size": {"width_mm": 30}, "quantity": 1, "tags": [secret]}]}]}
    answer = keyed.post("/v1/gangs", job, [(secret, HEART)], headers={**bearer(OTHER), "X-Request-Id": "from-the-shop.1"})
    assert answer.status_code == 200 and answer.headers["X-Request-Id"] == "from-the-shop.1"
    keyed.get(f"/v1/{secret}")
    of_this = [line for line in keyed.records() if line.get("request_id") == "from-the-shop.1"]
    [line] = [line for line in of_this if line["message"] == "request"]
    [run_line] = [line for line in of_this if line["message"] == "run"]
    assert (run_line["sheets"], run_line["placed"], run_line["set_aside"]) == (1, 1, 0)
    assert (line["operation"], line["status"], line["outcome"]) == ("gang", 200, "answered")
    assert line["took_ms"] >= line["work_ms"] > 0 and line["receive_ms"] >= 0 and line["wait_ms"] >= 0
    log = "\n".join(keyed.log)
    assert secret not in log and KEY not in log and OTHER not in log


def run(quoin, *arguments):
    return subprocess.run([quoin, *map(str, arguments)], capture_output=True, text=True, timeout=30)


def test_other_machines_are_kept_out_without_keys(quoin):
    refused = run(quoin, "serve", "--listen", "0.0.0.0:0")
    assert refused.returncode == 1
    assert "--open-without-keys" in refused.stderr and "quoin key" in refused.stderr


def test_wrong_settings_refuse_to_start_with_file_line_and_remedy(quoin, tmp_path):
    path = tmp_path / "quoin.toml"
    path.write_text('workers = 0\n\n[[stocks]]\nstock = "a b"\n[stocks.form.sheet]\nsize = "A4"\n')
    for command in [("serve",), ("config", "check")]:
        refused = run(quoin, *command, "--settings", path)
        assert refused.returncode == 1
        for place in [f"{path}:1: ", f"{path}:4: ", f"{path}:6: "]:
            assert place in refused.stderr, refused.stderr
        assert "iso_a4_210x297mm" in refused.stderr
    path.write_text("workers = 1\n")
    good = run(quoin, "config", "check", "--settings", path)
    assert good.returncode == 0 and "good" in good.stdout


def test_a_new_key_fits_the_hash_that_is_printed_with_it(quoin):
    printed = run(quoin, "key", "storefront").stdout.splitlines()
    key = next(line for line in printed if len(line) == 64)
    assert f'sha256 = "{digest(key)}"' in printed
    assert run(quoin, "key", "storefront").stdout != "\n".join(printed) + "\n"
