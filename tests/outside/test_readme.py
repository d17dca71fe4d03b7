"""README's lines over HTTP, run as they stand: only the port is another, and the binary is built already."""

import html
import io
import json
import os
import re
import subprocess
import sys
import zipfile

from PIL import Image
import pytest

from conftest import REPOSITORY
from service import Service

README = (REPOSITORY / "README.md").read_text()
BEFORE = README[README.index("## Before the order"):README.index("## Over HTTP")]
SECTION = README[README.index("## Over HTTP"):README.index("### Letting others in")]
ADDRESS = "127.0.0.1:8080"


def blocks(language):
    """Fenced code of the section."""
    return re.findall(rf"```{language}\n(.*?)```", SECTION, re.DOTALL)


@pytest.fixture(scope="module")
def demo_shop(quoin):
    """The service as README starts it."""
    [start] = [block for block in blocks("sh") if " serve " in block]
    flags = start.split(" serve ")[1].split()
    # README is followed from the repository's folder.
    flags = [str(REPOSITORY / flag) if "/" in flag else flag for flag in flags]
    with Service(quoin, *flags) as service:
        yield service


def commands():
    """The curl lines."""
    lines = [line for block in blocks("sh") for line in block.splitlines() if line.startswith("curl ")]
    assert len(lines) == 11
    return lines


@pytest.mark.parametrize("line", commands(), ids=lambda line: re.search(r"8080/(\S+)", line).group(1))
def test_each_line_of_curl_works_as_pasted(demo_shop, line, tmp_path):
    line = line.replace(ADDRESS, f"{demo_shop.host}:{demo_shop.port}")
    (tmp_path / "service").symlink_to(REPOSITORY / "service")
    line = line.replace("curl -sS", "curl -sS --fail-with-body", 1)
    done = subprocess.run(["bash", "-c", line], cwd=tmp_path, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stdout + done.stderr
    written = [path for path in tmp_path.iterdir() if path.name != "service"]
    assert done.stdout.strip() or written
    for path in written:
        data = path.read_bytes()
        if path.suffix == ".png":
            Image.open(io.BytesIO(data)).verify()
        elif path.suffix == ".zip":
            assert "ticket.json" in zipfile.ZipFile(path).namelist()
        else:
            assert data
    if "/v1/preflight" in line:
        assert '"verdict": "caution"' in done.stdout and 'resolution.low' in done.stdout


def test_the_storefronts_call_works_as_it_stands(demo_shop):
    [code] = blocks("python")
    assert len(code.strip().splitlines()) <= 14
    code = code.replace(ADDRESS, f"{demo_shop.host}:{demo_shop.port}")
    done = subprocess.run([sys.executable, "-c", code], cwd=REPOSITORY, capture_output=True, text=True, timeout=120, env=os.environ)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("caution [('At this size"), done.stdout


@pytest.mark.parametrize("line", re.findall(r"^cargo run --release -- (.*?)(?: *#.*)?$", BEFORE, re.MULTILINE))
def test_each_command_about_one_item_works_as_pasted(quoin, line, tmp_path):
    (tmp_path / "service").symlink_to(REPOSITORY / "service")
    done = subprocess.run([quoin, *line.split()], cwd=tmp_path, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    if line.startswith("proof"):
        Image.open(tmp_path / "proof.png").verify()
        assert "Digest:" in done.stdout
    else:
        assert json.loads(done.stdout)["verdict"] in ("ready", "caution")


def test_every_operation_has_its_line():
    document = json.loads((REPOSITORY / "openapi" / "openapi.json").read_text())
    paths = {re.sub(r"\{code\}", "", path) for path in document["paths"]}
    for path in paths:
        assert any(f"{ADDRESS}{path}" in line for line in commands()), path


def test_the_first_lines_of_the_docs_work_as_pasted(demo_shop, tmp_path):
    page = demo_shop.get("/docs").text
    lines = [html.unescape(re.sub(r"<[^>]+>", "", block)) for block in re.findall(r"<pre[^>]*>(.*?)</pre>", page, re.DOTALL)]
    lines = [line for line in lines if line.lstrip().startswith("curl ")]
    assert len(lines) >= 3
    (tmp_path / "service").symlink_to(REPOSITORY / "service")
    for line in lines:
        line = line.replace(ADDRESS, f"{demo_shop.host}:{demo_shop.port}").replace("curl -sS", "curl -sS --fail-with-body", 1)
        done = subprocess.run(["bash", "-c", line], cwd=tmp_path, capture_output=True, text=True, timeout=120)
        assert done.returncode == 0, line + done.stdout + done.stderr
    Image.open(tmp_path / "proof.png").verify()
    assert "ticket.json" in zipfile.ZipFile(tmp_path / "night.zip").namelist()
