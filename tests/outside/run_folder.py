"""A folder that `quoin gang` wrote, beside the job that it was written for."""

import copy
from functools import cached_property
import json
from pathlib import Path
import subprocess

from PIL import Image

from cut_svg import CutFile
from shared import alone

# Of the contract's item table: what matters to a check and is not said by the job.
BUILT_IN = {"product": "die_cut", "outline": {"shape": "contour", "border_mm": 3.0}}
CHOICES = ("art", "size", "pieces", "fill")


def merged(base, patch):
    """JSON Merge Patch (RFC 7396)."""
    result = copy.deepcopy(base)
    for name, value in patch.items():
        if value is None:
            result.pop(name, None)
        elif isinstance(value, dict) and isinstance(result.get(name), dict) and name not in CHOICES:
            result[name] = merged(result[name], value)
        else:
            result[name] = copy.deepcopy(value)
    return result


class Sheet:
    """One sheet's folder and its part of the ticket."""

    def __init__(self, run, record):
        self.run = run
        self.record = record
        self.folder = run.folder / record["folder"]
        self.name = record["folder"]
        self.size_mm = (record["width_mm"], record["height_mm"])
        self.placements = record["placements"]

    @cached_property
    def cut(self):
        """cut.svg."""
        return CutFile(self.folder / "cut.svg")

    @cached_property
    def stock(self):
        """The stock's settings as the ticket echoes them."""
        return self.run.ticket["settings"]["stocks"][self.record["stock"]]

    def rendered(self, ppi=300, by="poppler"):
        """print.pdf drawn by poppler or MuPDF, kept on disk for the next check."""
        target = self.run.scratch / f"{self.name}-{ppi}-{by}"
        picture = target.with_suffix(".png")
        pdf = self.folder / "print.pdf"
        with alone(target.with_suffix(".lock")):
            if not picture.exists():
                commands = {
                    "poppler": ["pdftoppm", "-r", str(ppi), "-png", "-singlefile", pdf, target],
                    "mupdf": ["mutool", "draw", "-q", "-r", str(ppi), "-o", picture, pdf, "1"],
                }
                subprocess.run(commands[by], check=True, stderr=subprocess.DEVNULL)
        return Image.open(picture).convert("RGB")


class Run:
    """A run's folder."""

    def __init__(self, job, folder: Path, scratch: Path):
        self.job = job
        self.folder = folder
        self.scratch = scratch
        self.ticket = json.loads((folder / "ticket.json").read_text())

    @cached_property
    def sheets(self):
        """Every sheet."""
        return [Sheet(self, record) for record in self.ticket["sheets"]]

    def items(self):
        """(order, item with the defaults merged in) for every line of the job."""
        base = merged(BUILT_IN, self.job.get("defaults", {}))
        for order in self.job["orders"]:
            for item in order["items"]:
                yield order, merged(base, item)

    def item(self, order, item):
        """One line of the job, defaults merged in; a filler has order None."""
        if order is None:
            base = merged(BUILT_IN, self.job.get("defaults", {}))
            fillers = self.job["policy"]["fill_offcuts_with"]
            return next(merged(base, filler) for filler in fillers if filler["item"] == item)
        return next(line for of, line in self.items() if of["order"] == order and line["item"] == item)
