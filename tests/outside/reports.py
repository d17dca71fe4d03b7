"""Runs `quoin preflight`."""

import json
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
