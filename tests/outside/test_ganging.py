"""Layouts of published packing instances, judged by a checker that shares nothing with the product (GEOS), and held to the
lengths that they had: `fixtures/packing` says where instances, optima and checker come from."""

import copy
import functools
import json
import subprocess
import sys
from pathlib import Path

import pytest
from shapely import Polygon

from ganging_table import CHECK
from programs import example

PACKING = Path(__file__).parent.parent / "fixtures" / "packing"
TABLE = Path(__file__).parent / "ganging_table.py"

# What ganging reaches at `draft`, seed 1: length equivalent as the checker counts it (of a strip the used length). Counted work, so
# the same on every machine of an architecture; the last digits may move with another. A change of the search renews this
# table: run `pytest tests/outside/test_ganging.py -rP` and take over what it prints, when that is less, or say why not.
LENGTH_AT_DRAFT = {
    "fu": 34.001,
    "marques": 84.859,
    "shapes0": 68.670,
    "TF004": 2.4370,
    "TF004C5": 2.5530,
    "TS004C5": 2.7851,
    "a-300-of-12": 5.1778,
}
SLACK = 1.0002


def instance(name):
    """One of the instances."""
    return json.loads((PACKING / f"{name}.json").read_text())


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """Gives the layout of an instance at draft as text, each made once."""
    folder = tmp_path_factory.mktemp("layouts")

    @functools.cache
    def make(name, threads=2):
        out = folder / f"{name}-{threads}.json"
        command = [example("ganging"), PACKING / f"{name}.json", "--effort", "draft", "--threads", str(threads), "--out", out]
        subprocess.run(command, check=True, capture_output=True, timeout=300)
        return out.read_text()

    return make


@pytest.mark.parametrize("name", LENGTH_AT_DRAFT)
def test_every_copy_stands_where_it_may_and_none_is_lost(written, name):
    found = CHECK.check(instance(name), json.loads(written(name)), require_complete=True)
    assert found["valid"], found["details"][:5]
    assert found["complete"] and found["placed"] == found["copies"]


@pytest.mark.parametrize("name", LENGTH_AT_DRAFT)
def test_layouts_are_no_longer_than_they_were(written, name):
    found = CHECK.check(instance(name), json.loads(written(name)))
    print(f"{name}: length equivalent {found['length_equivalent']:.4f}, density {found['density']:.4f}")
    assert found["length_equivalent"] <= LENGTH_AT_DRAFT[name] * SLACK


@pytest.mark.parametrize("name", [name for name in LENGTH_AT_DRAFT if name.startswith("T")])
def test_jigsaws_take_one_bin_more_than_their_optimum_at_most(written, name):
    found = CHECK.check(instance(name), json.loads(written(name)))
    assert found["bins_over_optimum"] <= 1


@pytest.mark.parametrize("name", ["a-300-of-12", "fu"])
def test_one_thread_makes_the_same_layout_as_two(written, name):
    assert written(name, threads=1) == written(name, threads=2)


def test_the_table_tells_what_the_checker_finds_beside_an_outside_solver_at_the_same_cpu_time():
    # On the command line of `load/ganging --table`.
    files = [PACKING / f"{name}.json" for name in ("fu", "TF004")]
    command = [sys.executable, TABLE, "--program", example("ganging"), "--effort", "draft", "--seconds", "1", *files]
    said = subprocess.run(command, check=True, capture_output=True, text=True, timeout=300).stdout
    rows = {line.split()[0]: line for line in said.splitlines() if line}
    ours, theirs, published = rows["fu"].split("|")
    name, kind, pieces, bound, length, bins, density, valid, seeds, seconds = ours.split()
    solved, solved_seconds, points = (float(word) for word in theirs.split())
    area = sum(item["demand"] * Polygon(item["outline"]).area for item in instance("fu")["items"])
    assert (kind, pieces, bins, valid) == ("strip", "12", "1", "yes") and int(seeds) > 1
    assert float(bound) == pytest.approx(area / instance("fu")["strip_height"], abs=1e-3)
    assert float(density) == pytest.approx(100 * float(bound) / float(length), abs=0.02)
    assert 60 < solved < 95 and points == pytest.approx(float(density) - solved, abs=0.011)
    assert 0.5 * solved_seconds < float(seconds) < 1.5 * solved_seconds
    assert float(published.split()[0]) == instance("fu")["published"]["mean_density"]
    assert rows["TF004"].split()[:3] == ["TF004", "bins", "30"] and " of 2 " in rows["TF004"]
    assert "valid and complete: 2 of 2" in said and "of 1; at most one bin over" in said


def spoiled():
    """Ways to spoil a layout, each with the violation that it is."""

    def moved(layout, axis, by):
        layout["containers"][0]["placements"][0][axis] += by

    def lost(layout):
        layout["containers"][0]["placements"].pop()

    def invented(layout):
        layout["containers"][0]["placements"].append(dict(layout["containers"][0]["placements"][0], x=100.0, y=100.0))

    def turned(layout):
        layout["containers"][0]["placements"][0]["rotation_deg"] += 1.0

    def twice(layout):
        placements = layout["containers"][0]["placements"]
        placements[1] = dict(placements[0], item=placements[1]["item"])

    return {
        "outside": lambda layout: moved(layout, "x", -500.0),
        "copies": lost,
        "copies ": invented,
        "rotation": turned,
        "clearance": twice,
    }


@pytest.mark.parametrize("kind", spoiled())
def test_the_checker_sees_a_spoiled_layout(written, kind):
    layout = copy.deepcopy(json.loads(written("fu")))
    assert CHECK.check(instance("fu"), layout)["valid"]
    spoiled()[kind](layout)
    assert kind.strip() in CHECK.check(instance("fu"), layout)["violations"]
