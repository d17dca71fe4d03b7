"""A client that a generator made of the document, used for the demo shop's evening."""

import base64
import importlib
from io import BytesIO
import json
from pathlib import Path
import subprocess
import sys

import pytest

from conftest import DEMO, REPOSITORY
from service import Service


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    """The generated package."""
    folder = tmp_path_factory.mktemp("generated")
    generator = Path(sys.executable).parent / "openapi-python-client"
    document = REPOSITORY / "openapi" / "openapi.json"
    command = [generator, "generate", "--path", document, "--meta", "none", "--output-path", folder / "storefront_client"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Endpoint will not be generated" not in done.stdout, done.stdout
    # A slip of this generator: where a body has two media types it names `Unset` without importing it.
    for module in folder.glob("storefront_client/api/*/*.py"):
        module.write_text(module.read_text().replace("import Response, UNSET\n", "import Response, UNSET, Unset\n"))
    sys.path.insert(0, str(folder))
    try:
        yield importlib.import_module("storefront_client")
    finally:
        sys.path.remove(str(folder))


@pytest.fixture(scope="module")
def shop(quoin):
    """The demo shop's service."""
    with Service(quoin, "--settings", DEMO / "quoin.toml") as service:
        yield service


def module(client, name):
    return importlib.import_module(f"{client.__name__}.{name}")


def picture(client, name):
    return module(client, "types").File(payload=BytesIO((DEMO / "art" / name).read_bytes()), file_name=name)


def test_an_evening_through_a_generated_client(client, shop):
    models = module(client, "models")
    session = client.Client(base_url=shop.url, headers={"Accept": "application/json"}, timeout=120)

    stocks = module(client, "api.stickers.list_stocks").sync(client=session)
    assert [stock.stock for stock in stocks.stocks] == ["letter-white-vinyl", "clear-film-330x480"]

    single = {"item": {"art": {"part": "art"}, "size": {"width_mm": 40}}, "stock": stocks.stocks[0].stock}
    body = models.PreflightFilesBody(job=models.PreflightRequest.from_dict(single))
    body["art"] = picture(client, "heart.png")
    report = module(client, "api.stickers.preflight").sync(client=session, body=body)
    assert report.verdict == "ready" and abs(report.finished.width_mm - 40) < 0.1

    body = models.ProofFilesBody(job=models.ProofRequest.from_dict({**single, "view": {"ground": "dark"}}))
    body["art"] = picture(client, "heart.png")
    proof = module(client, "api.stickers.proof").sync(client=session, body=body)
    assert base64.b64decode(proof.picture.base64).startswith(b"\x89PNG") and len(proof.digest) == 64

    body = models.EstimateFilesBody(job=models.EstimateRequest.from_dict({**single, "quantities": [10]}))
    body["art"] = picture(client, "heart.png")
    estimate = module(client, "api.stickers.estimate").sync(client=session, body=body)
    assert [(entry.quantity, entry.sheets) for entry in estimate.quantities] == [(10, 1)]

    evening = json.loads((DEMO / "evening.json").read_text())
    body = models.GangFilesBody(job=models.GangJob.from_dict(evening))
    body["heart"], body["crow"] = picture(client, "heart.png"), picture(client, "crow.png")
    run = module(client, "api.gangs.gang").sync(client=session, body=body)
    assert run.ticket.totals.placed == run.ticket.totals.ordered == 11
    assert "sheet-001/print.pdf" in [file.path for file in run.files]


def test_a_generated_client_tells_its_developer_what_is_wrong(client, shop):
    models = module(client, "models")
    session = client.Client(base_url=shop.url, timeout=60)
    wrong = {"item": {"art": {"part": "art"}, "size": {"width_mm": 40}}, "stock": "silk"}
    body = models.PreflightFilesBody(job=models.PreflightRequest.from_dict(wrong))
    body["art"] = picture(client, "heart.png")
    problem = module(client, "api.stickers.preflight").sync(client=session, body=body)
    assert isinstance(problem, models.Problem) and problem.status == 422
    assert [(mistake.code, mistake.pointer) for mistake in problem.mistakes] == [("job.unknown_stock", "/stock")]
