"""The table of `load/ganging --table`: layouts of packing instances, judged by the checker of `fixtures/packing`, strips beside
an outside solver at the same CPU time."""

import argparse
import importlib.util
import json
import math
from pathlib import Path
import platform
import re
import resource
import subprocess
import sys
import tempfile
import time

import shapely

CHECKER = Path(__file__).resolve().parents[1] / "fixtures" / "packing" / "check_layout.py"
# What the outside solver may fall short of a strip's gutter, as a share of its height: it reckons in single precision.
OUTSIDE_TOLERANCE = 1e-4
# Less of the CPU seconds than this is not worth another try with the next seed.
LEAST_SHARE = 0.03
HEADING = (
    f"{'instance':16} {'kind':6} {'pieces':>6} {'bound':>9} {'length':>9} {'bins':>9} {'dens. %':>8} {'valid':>5} {'seeds':>5}"
    f" {'CPU s':>7} | {'spyrrow %':>9} {'CPU s':>7} {'points':>7} | {'publ. %':>8} {'points':>7}"
)


def checker():
    """The checker as a module."""
    spec = importlib.util.spec_from_file_location("check_layout", CHECKER)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


CHECK = checker()


def bound(instance):
    """The least length equivalent that areas allow: grown by half the gutter pieces are disjoint and lie in the grown window."""
    box = CHECK.Container(instance)
    gutter, area = box.gutter, 0.0
    for item in instance["items"]:
        outline = shapely.Polygon(item["outline"])
        area += item["demand"] * (outline.buffer(gutter / 2, quad_segs=16) if gutter else outline).area
    length = area / (box.breadth + gutter)
    if box.kind == "strip":
        return length - gutter
    containers = max(1, math.ceil(length / (box.full_length + gutter) - 1e-9))
    return (length - containers * gutter) / box.full_length


def laid_out(asked, path, out, seconds, seed):
    """One layout of ours with what the checker says of it, and its CPU seconds."""
    command = [asked.program, path, "--effort", asked.effort, "--threads", str(asked.threads), "--seed", str(seed), "--out", out]
    if seconds is not None:
        command += ["--cpu", f"{seconds:.3f}"]
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    cpu = float(re.search(r"^cpu seconds +([0-9.]+)", said, re.M)[1])
    return json.loads(Path(out).read_text()), cpu


def ours(asked, path, instance, seconds):
    """The best of ours: with seeds one after another until the seconds are spent where those are a strip's, else one."""
    with tempfile.TemporaryDirectory() as folder:
        out, best, spent, seeds = Path(folder) / "layout.json", None, 0.0, 0
        while best is None or ("strip_height" in instance and seconds - spent > LEAST_SHARE * seconds):
            left = None if seconds is None else seconds - spent
            layout, cpu = laid_out(asked, path, out, left, asked.seed + seeds)
            found = CHECK.check(instance, layout)
            spent, seeds = spent + max(cpu, 0.01), seeds + 1
            rank = (not found["valid"], not found["complete"], found.get("length_equivalent", math.inf))
            if best is None or rank < best[0]:
                best = (rank, found, layout)
    return best[1], best[2], spent, seeds


def outside(asked, path):
    """What the outside solver makes of a strip, in a process of its own, so that its CPU time is its own."""
    command = [sys.executable, __file__, "--outside", path, str(asked.seconds), str(asked.workers), str(asked.seed)]
    return json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout.splitlines()[-1])


def share_of_a_processor():
    """What a busy machine leaves for one thread: the outside solver's limit is wall time."""
    began, began_cpu = time.perf_counter(), time.process_time()
    while time.perf_counter() - began < 1.0:
        pass
    return max(0.3, min(1.0, (time.process_time() - began_cpu) / (time.perf_counter() - began)))


def solve_outside(path, seconds, workers, seed):
    """Prints its layout and the CPU seconds that it took."""
    import spyrrow

    instance = json.loads(Path(path).read_text())
    item = lambda entry: spyrrow.Item(
        entry["id"],
        [tuple(map(float, corner)) for corner in entry["outline"]],
        demand=entry["demand"],
        allowed_orientations=None if entry["allowed_rotations_deg"] == "free" else entry["allowed_rotations_deg"],
    )
    gutter = instance.get("gutter") or None
    strip = spyrrow.StripPackingInstance(instance["name"], instance["strip_height"], list(map(item, instance["items"])))
    wall = max(1, round(seconds / workers / share_of_a_processor()))
    config = spyrrow.StripPackingConfig(
        early_termination=False, total_computation_time=wall, num_workers=workers, seed=seed, min_items_separation=gutter
    )
    used = lambda: sum(resource.getrusage(resource.RUSAGE_SELF)[:2])
    began = used()
    solution = strip.solve(config)
    cpu = used() - began
    place = lambda placed: {
        "item": placed.id, "x": placed.translation[0], "y": placed.translation[1], "rotation_deg": placed.rotation
    }
    containers = [{"index": 0, "placements": list(map(place, solution.placed_items))}]
    print(json.dumps({"cpu": cpu, "layout": {"instance": instance["name"], "containers": containers}}))


def row(asked, path):
    """Prints an instance's row; returns what the sums need."""
    instance = json.loads(Path(path).read_text())
    strip = "strip_height" in instance
    solved, seconds = None, asked.seconds if strip or asked.limit else None
    if strip and not asked.alone:
        solved = outside(asked, path)
        # A busy machine gave it less than was asked for: the same for both.
        seconds = solved["cpu"]
    found, layout, cpu, seeds = ours(asked, path, instance, seconds)
    if asked.out:
        asked.out.mkdir(parents=True, exist_ok=True)
        (asked.out / f"{instance['name']}.json").write_text(json.dumps(layout))
    density = 100 * found.get("density", 0.0)
    made = {"name": instance["name"], "valid": found["valid"] and found["complete"]}
    bins, optimum = str(found["containers_used"]), instance.get("optimal_bins")
    if optimum:
        bins += f" of {optimum}"
        made["bins"] = (found["containers_used"], optimum)
    text = (
        f"{instance['name']:16} {found['kind']:6} {found['copies']:6} {bound(instance):9.3f}"
        f" {found.get('length_equivalent', math.nan):9.3f} {bins:>9} {density:8.2f} {'yes' if made['valid'] else 'NO':>5}"
        f" {seeds:5} {cpu:7.1f} |"
    )
    if solved:
        tolerance = OUTSIDE_TOLERANCE * instance["strip_height"]
        theirs = CHECK.check(instance, solved["layout"], require_complete=True, tol=tolerance)
        made["points"] = density - 100 * theirs["density"]
        mark = " " if theirs["valid"] else "!"
        text += f" {100 * theirs['density']:8.2f}{mark} {solved['cpu']:7.1f} {made['points']:+7.2f} |"
    else:
        text += f" {'':9} {'':7} {'':7} |"
    published = (instance.get("published") or {}).get("mean_density")
    if published:
        made["published"] = density - published
        text += f" {published:8.2f} {made['published']:+7.2f}"
    print(text, flush=True)
    return made


def sums(rows):
    """The closing lines."""
    invalid = [made["name"] for made in rows if not made["valid"]]
    print(f"\nvalid and complete: {len(rows) - len(invalid)} of {len(rows)}{': not ' * bool(invalid)}{', '.join(invalid)}")
    for key, name in [("points", "spyrrow at the same CPU time"), ("published", "the published 20-minute means")]:
        points = [(made[key], made["name"]) for made in rows if key in made]
        if points:
            mean = sum(point for point, _ in points) / len(points)
            worst = min(points)
            print(f"strips against {name}: {mean:+.2f} points on average of {len(points)}, at worst {worst[0]:+.2f} ({worst[1]})")
    bins = [made["bins"] for made in rows if "bins" in made]
    if bins:
        met = sum(used == optimum for used, optimum in bins)
        most = lambda optimum: optimum + 1 if optimum <= 3 else math.ceil(1.25 * optimum)
        within = sum(used <= most(optimum) for used, optimum in bins)
        print(f"jigsaws: optimum met by {met} of {len(bins)}; at most one bin over 2 or 3, or 1.25 x of more: {within} of {len(bins)}")


def processor():
    """What it is measured on."""
    try:
        names = re.findall(r"^model name\s*: (.*)$", Path("/proc/cpuinfo").read_text(), re.M)
    except OSError:
        names = []
    return f"{len(names)} x {names[0]}" if names else platform.processor() or "an unknown processor"


def arguments():
    parser = argparse.ArgumentParser(prog="load/ganging --table", description=__doc__)
    parser.add_argument("--program", required=True, help=argparse.SUPPRESS)
    parser.add_argument("files", nargs="+", metavar="INSTANCE.json")
    parser.add_argument("--effort", default="thorough", choices=["draft", "standard", "thorough"])
    parser.add_argument("--seconds", type=int, help="CPU seconds: of a strip spent whole (60), of others a hard stop (none)")
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1, help="threads of spyrrow; its wall time is the seconds over these")
    parser.add_argument("--alone", action="store_true", help="without spyrrow")
    parser.add_argument("--out", type=Path, help="folder for the layouts")
    asked = parser.parse_args()
    asked.limit = asked.seconds is not None
    asked.seconds = asked.seconds or 60
    return asked


def main():
    if sys.argv[1:2] == ["--outside"]:
        path, *numbers = sys.argv[2:]
        solve_outside(path, *map(int, numbers))
        return
    asked = arguments()
    strips, others = f"{asked.seconds} CPU s for a strip", f"{asked.seconds} s at most" if asked.limit else "no limit"
    print(f"{asked.effort}, {strips}, {others} for others, {asked.threads} threads from seed {asked.seed}; on {processor()}\n")
    print(HEADING)
    sums([row(asked, path) for path in asked.files])


if __name__ == "__main__":
    main()
