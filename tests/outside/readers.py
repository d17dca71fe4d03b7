"""Unrelated programs that must open our files without complaint."""

import subprocess

# What Debian's MuPDF says of its own build, whatever it opens.
OF_THE_BUILD = {"warning: ICC support is not available"}


def opens_quietly(*command):
    """Runs a reader; fails on an exit code or on anything that it says of the file."""
    done = subprocess.run(command, capture_output=True, text=True)
    said = [line for line in done.stderr.splitlines() if line.strip() and line.strip() not in OF_THE_BUILD]
    assert done.returncode == 0 and not said, f"{command[0]} exits {done.returncode}: {done.stdout}{done.stderr}"
