"""What the product measures of pictures: runs the developers' program `findings`."""

import csv
import io
from pathlib import Path
import subprocess

ROOT = Path(__file__).resolve().parents[1]


def measured(files, runs=1):
    """A row for each picture that can be opened; times are the least of the runs."""
    command = ["cargo", "run", "--release", "--quiet", "--manifest-path", ROOT / "Cargo.toml", "-p", "quoin-tests"]
    done = subprocess.run([*command, "--example", "findings", "--", str(runs), *files], check=True, capture_output=True, text=True)
    return list(csv.DictReader(io.StringIO(done.stdout), delimiter="\t"))
