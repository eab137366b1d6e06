"""How fast fields are laid, and how the laying compares with published ways, in one run.

python tests/bench/bench_laying.py [--quick] [SETTING_OUT.geojson ...]. Times on a busy machine
wander: what is set against the oriented squares is laid in turn with them, the best of three, and
processor seconds far below the seconds show that others had the processor. How quick the squares
are hangs on their pixels, so those are shown too. Without files four fields of the bench's own
are compared.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests/core/laying"), str(ROOT / "tests/bench")]

from baseline_fields import many_fields, one_field, own_fields, with_wave_moved
from baselines import PIXELS, grid, oriented_squares, plain_relaxation
from measures import BOUNDS, kept, measure

from core.laying import Setting, lay_field
from core.pieces import Pieces
from core.plan import Planner, setting_of
from core.setting_out import read_setting_out

Result = dict[str, float]
Way = Callable[[Setting], Pieces]

AGAIN = 5  # times that a small field is laid again; the middle one counts
IN_TURN, ROUNDS = ("one:5000", "squares:5000"), 3  # by turns so often; the best of each counts
FINENESS = (6, PIXELS, 10)  # pixels across a pitch that the oriented squares are tried with
WARM_UP = 200  # pieces laid first, so that no library is loaded within the time
MEASURES = (
    *("overlap", "outside", "coverage", "joint_even", "pools", "quads", "convex", "area_cv"),
    *("along_flow_deg", "course_turn_deg", "aligned_joints"),
)
WAYS: tuple[tuple[str, Way], ...] = (
    ("square grid, clipped", grid),
    ("plain Voronoi relaxation", plain_relaxation),
    ("oriented squares, L1 relaxation", oriented_squares),
    ("Emblema", lay_field),
)
ROWS = (  # words, what, left out when quick
    ("500 in one field, laid again", "again:500", False),
    ("5,000 in one field", "one:5000", False),
    (f"5,000 oriented squares, L1, {PIXELS} px", "squares:5000", False),
    ("20,000 in 25 fields, from cold", "fields:20000", False),
    ("20,000 in one field", "one:20000", True),
    ("50,000 in one field", "one:50000", True),
)


def lay_timed(what: str) -> Result:
    """Lay something in this process: pieces, seconds, processor seconds and peak memory in MB."""
    kind, _, size = what.partition(":")
    if kind == "fields":
        return _from_cold(25, int(size))
    if kind == "again":
        return _again(int(size))
    return _one(oriented_squares if kind == "squares" else lay_field, int(size))


def _one(way: Way, size: int) -> Result:
    way(one_field(WARM_UP))
    setting = one_field(size)
    begun, busy = time.perf_counter(), time.process_time()
    n = len(way(setting))
    seconds, cpu = time.perf_counter() - begun, time.process_time() - busy
    return {"pieces": n, "seconds": seconds, "cpu": cpu, "mb": _peak_mb()}


def _again(size: int) -> Result:
    """Lay a field anew each time that its flow line was moved, as the window does."""
    doc = many_fields(1, size)
    planner = Planner()
    planner.layout(doc, {})
    runs = []
    for k in range(AGAIN):
        doc = with_wave_moved(doc, 3.0 + k)
        begun, busy = time.perf_counter(), time.process_time()
        n = len(planner.layout(doc, {}))
        runs.append((time.perf_counter() - begun, time.process_time() - busy))
    planner.close()
    seconds, cpu = sorted(runs)[AGAIN // 2]
    return {"pieces": n, "seconds": seconds, "cpu": cpu, "mb": _peak_mb()}


def _from_cold(fields: int, size: int) -> Result:
    """Lay many fields over all processors, the start of the workers included."""
    doc = many_fields(fields, size)
    begun, busy = time.perf_counter(), time.process_time()
    planner = Planner()
    n = len(planner.layout(doc, {}))
    seconds, cpu = time.perf_counter() - begun, time.process_time() - busy
    planner.close()
    of_workers = os.times()  # known once they have ended
    cpu += of_workers.children_user + of_workers.children_system
    return {"pieces": n, "seconds": seconds, "cpu": cpu, "mb": _peak_mb(os.cpu_count() or 1)}


def _peak_mb(workers: int = 0) -> float:
    """Peak of this process, and of each worker as much as the largest of them took."""
    try:
        import resource
    except ImportError:  # Windows does not tell
        return float("nan")
    unit = 1024**2 if sys.platform == "darwin" else 1024
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit
    status = Path("/proc/self/status")
    if status.exists():  # the figure above would hold what the starting process took too
        line = next(x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
        own = int(line.split()[1]) / 1024
    return own + workers * resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / unit


def speeds(quick: bool) -> None:
    """Print the times, each from a process of its own so that memory is its own too."""
    print(f"Speed ({os.cpu_count()} processors, {_load()})")
    print(f"{'':34}{'pieces':>8}{'seconds':>9}{'pieces/s':>10}{'MB':>7}{'processor s':>13}")
    got: dict[str, Result] = {}
    for words, what, large in ROWS:
        if large and quick:
            continue
        if what not in got:
            got |= _best_of(IN_TURN, ROUNDS) if what in IN_TURN else _best_of((what,), 1)
        v = got[what]
        print(
            f"{words:34}{v['pieces']:8,.0f}{v['seconds']:9.2f}{v['rate']:10,.0f}{v['mb']:7.0f}"
            f"{v['cpu']:13.2f}",
            flush=True,
        )
    print(f"({_load()} at the end)")
    _targets(got)


def _best_of(whats: tuple[str, ...], rounds: int) -> dict[str, Result]:
    runs: dict[str, list[Result]] = {what: [] for what in whats}
    for what in whats * rounds:
        command = [sys.executable, str(Path(__file__).resolve()), "--one", what]
        done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True)
        v = json.loads(done.stdout)
        runs[what].append(v | {"rate": v["pieces"] / v["seconds"]})
    return {what: min(each, key=lambda v: v["seconds"]) for what, each in runs.items()}


def _load() -> str:
    return f"load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "load unknown"


def _targets(got: dict[str, Result]) -> None:
    checks = [
        ("20,000 in 25 fields, s", got["fields:20000"]["seconds"], "at most", 6.0),
        ("500 laid again, s", got["again:500"]["seconds"], "at most", 0.4),
        (
            f"rate over oriented squares', {PIXELS} px",
            got["one:5000"]["rate"] / got["squares:5000"]["rate"],
            *("at least", 4.0),
        ),
    ]
    if "one:50000" in got:
        large = got["one:50000"]
        checks += [
            ("50,000 in one field, s", large["seconds"], "at most", 30.0),
            (
                "rate at 50,000 over 5,000",
                large["rate"] / got["one:5000"]["rate"],
                *("at least", 0.7),
            ),
            ("peak memory at 50,000, MB", large["mb"], "less than", 1500.0),
        ]
    print(f"\n{'':36}{'figure':>9}   {'target':>14}   held or not")
    for words, value, side, target in checks:
        held = {"at most": value <= target, "at least": value >= target}.get(side, value < target)
        target_words = f"{side} {target:g}"
        print(f"{words:36}{value:9.2f}   {target_words:>14}   {'held' if held else 'NOT HELD'}")


def by_pixels() -> None:
    """Print how much finer pixels make the oriented squares better, and slower."""
    setting = one_field(1500)
    rates: dict[int, list[float]] = {across: [] for across in (0, *FINENESS)}
    measured: dict[int, Result] = {}
    for _ in range(ROUNDS):
        for across, seen in rates.items():
            begun = time.perf_counter()
            pieces = oriented_squares(setting, across=across) if across else lay_field(setting)
            seen.append(len(pieces) / (time.perf_counter() - begun))
            if across not in measured:
                measured[across] = _measured(setting, pieces)
    print("\nOriented squares by the pixels across a pitch (1,500 pieces, by turns, best of three)")
    names = ("overlap", "joint_even", "pools", "coverage")
    print(
        f"{'':10}{'pieces/s':>10}{'ours over':>11}" + "".join(f"{_heading(k):>12}" for k in names)
    )
    for across, seen in rates.items():
        words = f"{across} px" if across else "Emblema"
        figures = "".join(f"{measured[across][k]:11.4f} " for k in names)
        print(f"{words:10}{max(seen):10,.0f}{max(rates[0]) / max(seen):11.2f}{figures}")


def comparison(files: list[Path]) -> None:
    """Print every way on the same fields by the same measures; * where a bound is missed."""
    total: dict[str, list[tuple[int, Result]]] = {words: [] for words, _ in WAYS}
    columns = [_heading(k) for k in (*MEASURES, "seconds", "pieces/s")]
    print("\nPublished ways beside ours (* outside what a careful hand keeps to)")
    print(f"{'':33}" + "".join(f"{c:>10}" for c in columns))
    print(f"{'bound':33}" + "".join(f"{_bound(k):>10}" for k in MEASURES))
    for name, setting in _fields(files):
        print(
            f"{name} ({setting.laying}, {setting.outline.area / setting.pitch_mm**2:,.0f} pieces)"
        )
        for words, way in WAYS:
            begun = time.perf_counter()
            pieces = way(setting)
            seconds = time.perf_counter() - begun
            m = _measured(setting, pieces) | {"seconds": seconds}
            m["rate"] = len(pieces) / seconds
            total[words].append((len(pieces), m))
            print(_row(words, m), flush=True)
    print("all of them, weighted by pieces")
    for words, each in total.items():
        m = {}
        for k in MEASURES:
            seen = [(n, v[k]) for n, v in each if k in v]
            if seen:
                m[k] = sum(n * v for n, v in seen) / sum(n for n, _ in seen)
        m["seconds"] = sum(v["seconds"] for _, v in each)
        m["rate"] = sum(n for n, _ in each) / m["seconds"]
        print(_row(words, m))


def _fields(files: list[Path]) -> Iterator[tuple[str, Setting]]:
    if not files:
        yield from own_fields().items()
    for path in files:
        doc, _ = read_setting_out(path)
        for field in doc.fields:
            yield f"{path.stem}, {field.name}", setting_of(doc, field)


def _measured(setting: Setting, pieces: Pieces) -> Result:
    m = measure(
        setting.outline, setting.laying.tessera_mm, setting.laying.joint_mm, pieces, setting.flow
    )
    if (pieces.course < 0).all():  # nothing to follow where there is no course
        m = {k: v for k, v in m.items() if k not in ("course_turn_deg", "aligned_joints")}
    if setting.laying == "regulatum":  # its joints run on by design
        m.pop("aligned_joints", None)
    return m


def _row(words: str, m: Result) -> str:
    cells = [
        f"{m[k]:9.4f}{' ' if kept(k, m[k]) else '*'}" if k in m else f"{'-':>9} " for k in MEASURES
    ]
    return f"  {words:31}" + "".join(cells) + f"{m['seconds']:10.2f}{m['rate']:10,.0f}"


def _heading(measure_name: str) -> str:
    short = {
        "along_flow_deg": "off flow°",
        "course_turn_deg": "turn°",
        "aligned_joints": "aligned",
    }
    return short.get(measure_name, measure_name.replace("_", " ")) + " "


def _bound(measure_name: str) -> str:
    limit, side = BOUNDS[measure_name]
    return f"{'<=' if side == 'most' else '>='} {limit:g} "


def main() -> None:
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("files", nargs="*", type=Path, help="settings out to compare on")
    p.add_argument("--quick", action="store_true", help="leave the largest fields out")
    p.add_argument("--one", help=argparse.SUPPRESS)
    a = p.parse_args()
    if a.one:
        print(json.dumps(lay_timed(a.one)))
        return
    speeds(a.quick)
    by_pixels()
    comparison(a.files)


if __name__ == "__main__":
    main()
