"""Where the programs stand that the checks run."""

import os
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]


def quoin():
    """The binary under test."""
    binary = Path(os.environ.get("QUOIN_BINARY", REPOSITORY / "target" / "release" / "quoin"))
    assert binary.is_file(), f"{binary} is missing: build it first (cargo build --release), or say QUOIN_BINARY"
    return binary


def example(name):
    """A developers' program beside it; the Rust suites build them."""
    program = quoin().parent / "examples" / name
    assert program.is_file(), f"{program} is missing: cargo build --release --workspace --examples"
    return program
