"""Runs `quoin preflight`."""

import json
import resource
import shutil
import subprocess

import pytest


def report_text(quoin, folder, request, *options):
    """The report on a request, whose pictures lie in the folder, as it is written."""
    (folder / "job.json").write_text(json.dumps(request))
    done = subprocess.run([quoin, "preflight", *options, folder / "job.json"], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    return done.stdout


def report(quoin, folder, request, *options):
    """The same as a value; a number that is none fails the check."""
    text = report_text(quoin, folder, request, *options)
    return json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} in a report"))


def asking(art, **item):
    """A request for one sticker of 60 mm on a letter sheet."""
    return {
        "item": {"art": art, "size": {"width_mm": 60}, **item},
        "stock": {"stock": "white", "form": {"sheet": {"size": "na_letter_8.5x11in"}}},
    }


def timed_report(quoin, folder, art, **item):
    """The report on one file, and the seconds of processor time that it took, the drawing process's too: what else the machine
    does at the time does not count. Of the clock it has a minute."""
    if art.parent != folder:
        shutil.copy(art, folder / art.name)
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    said = report(quoin, folder, asking({"file": art.name}, **item))
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return said, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def told(report, code):
    """The findings of one code."""
    return [finding for finding in report["findings"] if finding["code"] == code]


# Under this longest side, pixels, a picture is refused as art.
LEAST_PX = 32


def assert_tiny(quoin, art, folder):
    """A file whose picture has too few pixels is refused, and told how many it needs."""
    [finding] = told(timed_report(quoin, folder, art)[0], "art.tiny")
    assert (finding["severity"], finding["limit"], finding["unit"]) == ("reject", LEAST_PX, "px")
