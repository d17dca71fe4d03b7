"""The runs that the outside checks read: the demo, and small jobs of their own, each made once."""

import hashlib
import json
from pathlib import Path
import shutil
import subprocess

import pytest

import jobs
import programs
from programs import REPOSITORY
from run_folder import Run
from service import Service
from shared import common_folder, made_once

OUTSIDE = Path(__file__).resolve().parent
DEMO = REPOSITORY / "service" / "demo"

# A worker takes one file after another. The longest, by seconds, come first, so that none is left over at the end; `--durations=0`
# says when another has become as long.
LONGEST = [
    "test_thorough", "test_contours", "test_print_pdf", "test_preview", "test_http_schema", "test_http_bounds", "test_findings",
    "test_intake_limits",
    "test_proofs", "test_http_answers", "test_openapi", "test_drawing_process", "test_ganging", "test_art_on_its_line",
]


def pytest_collection_modifyitems(items):
    """Files in the order in which they are best begun."""
    assert set(LONGEST) <= {path.stem for path in OUTSIDE.glob("test_*.py")}
    items.sort(key=lambda item: LONGEST.index(item.path.stem) if item.path.stem in LONGEST else len(LONGEST))


@pytest.fixture(scope="session")
def quoin():
    """The binary under test."""
    return programs.quoin()


@pytest.fixture(scope="session")
def service(quoin):
    """A service with its built-in settings."""
    with Service(quoin) as service:
        yield service


@pytest.fixture(scope="session")
def gang(quoin, tmp_path_factory):
    """Runs a job whose pictures lie in the demo's art folder; gives the run. Each job is run once, whichever worker asks."""

    def make(job):
        text = json.dumps(job)

        def fill(folder):
            shutil.copytree(DEMO / "art", folder / "art")
            (folder / "job.json").write_text(text)
            command = [quoin, "gang", folder / "job.json", "--out", folder / "out"]
            done = subprocess.run(command, capture_output=True, text=True)
            assert done.returncode == 0, f"exit {done.returncode}\n{done.stderr}"

        # The job's own name may be no name for a folder: some checks try strange ones.
        name = f"run-{hashlib.sha256(text.encode()).hexdigest()[:16]}"
        folder = made_once(common_folder(tmp_path_factory) / name, fill)
        return Run(job, folder / "out", folder)

    return make


@pytest.fixture(scope="session")
def demo(gang):
    """The demo night."""
    return gang(json.loads((DEMO / "night.json").read_text()))


@pytest.fixture(scope="session")
def holes_and_parts(gang):
    """Kept holes and separate parts, on clear film without marks."""
    return gang(jobs.holes_and_parts())


@pytest.fixture(scope="session")
def roll(gang):
    """A length of roll in sections, with register marks."""
    return gang(jobs.roll())


@pytest.fixture(scope="session")
def feed_edges(gang):
    """One run for each feed edge of a sheet with register marks."""
    return {edge: gang(jobs.feed_edge(edge)) for edge in ("top", "right", "bottom", "left")}


@pytest.fixture(scope="session")
def measured_runs(demo, holes_and_parts, roll, feed_edges):
    """Every run that must hold what every run holds."""
    return [demo, holes_and_parts, roll, *feed_edges.values()]


@pytest.fixture(scope="session")
def every_sheet(measured_runs):
    """Every sheet of every run."""
    return [sheet for run in measured_runs for sheet in run.sheets]
