"""How fast fields are laid, and how the laying compares with published ways, in one run.

python tests/bench/bench_laying.py [--quick] [SETTING_OUT.geojson ...]. Times on a busy machine
wander; the ratios of one run tell more. Without files four fields of the tests are compared.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests/core/laying"), str(ROOT / "tests/bench")]

import shapely
from awkward import CATALOGUE
from baselines import grid, oriented_squares, plain_relaxation
from measures import kept, measure

from core.commission import Commission, Field, add_flow_line
from core.geometry import outline_of
from core.laying import Setting, lay_field
from core.pieces import Pieces
from core.plan import Planner, setting_of
from core.setting_out import read_setting_out

TESSERA, JOINT = 10.0, 1.5
PITCH = TESSERA + JOINT
SHOWN = (
    *("overlap", "coverage", "joint_even", "pools", "convex", "quads", "acute", "area_cv"),
    *("along_flow_deg", "course_turn_deg", "aligned_joints"),
)
WAYS: tuple[tuple[str, Callable[[Setting], Pieces]], ...] = (
    ("square grid, clipped", grid),
    ("plain Voronoi relaxation", plain_relaxation),
    ("oriented squares, L1 relaxation", oriented_squares),
    ("Emblema", lay_field),
)
OWN = ("wall_with_sockets", "leaf_broad_with_vein", "star_six", "line_outside")


def one_field(pieces: int) -> Setting:
    """A wall with a round hole and a wave across it."""
    w = np.sqrt(pieces * PITCH**2 * 4 / 3)
    h = 0.75 * w
    wall = shapely.box(0, 0, w, h).difference(shapely.Point(0.6 * w, h / 2).buffer(0.2 * h))
    x = np.linspace(0, w, 60)
    wave = shapely.LineString(np.c_[x, h / 4 + 0.08 * h * np.sin(9 * x / w)])
    return Setting(shapely.MultiPolygon([wall]), "tessellatum", TESSERA, JOINT, True, (wave,))


def many_fields(fields: int, pieces: int) -> Commission:
    """Squares side by side, with waves across all of them."""
    side, across = np.sqrt(pieces / fields) * PITCH, round(np.sqrt(fields))
    some = tuple(
        Field(
            f"f{k + 1}",
            f"Field {k + 1}",
            outline_of(
                shapely.box(
                    k % across * side,
                    k // across * side,
                    (k % across + 1) * side,
                    (k // across + 1) * side,
                )
            ),
        )
        for k in range(fields)
    )
    doc = Commission("Bench", across * side, across * side, fields=some)
    x = np.linspace(0, across * side, 30)
    for row in range(across):
        y = side * (row + 0.5) + 0.2 * side * np.sin(2 * x / side)
        doc, _ = add_flow_line(doc, np.c_[x, y].tolist())
    return doc


def timed(what: str) -> dict[str, float]:
    """Lay something once in this process; what it took."""
    kind, _, size = what.partition(":")
    begun = time.perf_counter()
    if kind == "fields":
        doc = many_fields(25, int(size))
        begun = time.perf_counter()
        planner = Planner()
        n = len(planner.layout(doc, {}))
        seconds = time.perf_counter() - begun
        planner.close()
    else:
        s = one_field(int(size))
        if kind == "again":
            lay_field(replace(s, seed=1))
        begun = time.perf_counter()
        way = oriented_squares if kind == "squares" else lay_field
        n = len(way(s))
        seconds = time.perf_counter() - begun
    return {"pieces": n, "seconds": seconds, "mb": peak_mb()}


def peak_mb() -> float:
    try:
        import resource
    except ImportError:  # Windows does not tell
        return float("nan")
    most = max(
        resource.getrusage(who).ru_maxrss
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    )
    return most / (1024**2 if sys.platform == "darwin" else 1024)


def speeds(quick: bool) -> None:
    """Each in a process of its own, so that memory is its own too."""
    rows = [
        ("500 in one field, laid again", "again:500"),
        ("5,000 in one field", "one:5000"),
        ("oriented squares, L1: 5,000", "squares:5000"),
        ("20,000 in 25 fields, from cold", "fields:20000"),
    ]
    if not quick:
        rows += [("20,000 in one field", "one:20000"), ("50,000 in one field", "one:50000")]
    got: dict[str, dict[str, float]] = {}
    print(f"{'':34}{'pieces':>8}{'seconds':>9}{'pieces/s':>10}{'MB':>7}")
    for words, what in rows:
        done = subprocess.run(
            [sys.executable, __file__, "--one", what], capture_output=True, text=True, check=True
        )
        v = got[what] = json.loads(done.stdout)
        rate = v["pieces"] / v["seconds"]
        print(f"{words:34}{v['pieces']:8,.0f}{v['seconds']:9.2f}{rate:10,.0f}{v['mb']:7.0f}")

    def rate_of(what: str) -> float:
        return got[what]["pieces"] / got[what]["seconds"]

    checks = [
        ("500 laid again, s", got["again:500"]["seconds"], 0.4, False),
        ("20,000 in 25 fields, s", got["fields:20000"]["seconds"], 6.0, False),
        (
            "times the oriented squares' rate",
            rate_of("one:5000") / rate_of("squares:5000"),
            4,
            True,
        ),
    ]
    if not quick:
        checks += [
            ("50,000 in one field, s", got["one:50000"]["seconds"], 30.0, False),
            ("rate at 50,000 over 5,000", rate_of("one:50000") / rate_of("one:5000"), 0.7, True),
            ("peak memory at 50,000, MB", got["one:50000"]["mb"], 1500, False),
        ]
    print()
    for words, value, target, least in checks:
        good = value >= target if least else value <= target
        side = "at least" if least else "at most"
        print(f"{words:34}{value:9.2f}   {side} {target:g}: {'held' if good else 'MISSED'}")


def comparison(files: list[Path]) -> None:
    """Every way on the same fields, by the same measures; * where a bound is missed."""
    fields: list[tuple[str, Setting]] = []
    for path in files:
        doc, _ = read_setting_out(path)
        fields += [(f"{path.stem}, {f.name}", setting_of(doc, f)) for f in doc.fields]
    if not files:
        fields = [(name.replace("_", " "), CATALOGUE[name]()) for name in OWN]
    for name, s in fields:
        print(f"\n{name}")
        print(f"{'':33}" + "".join(f"{k.replace('_deg', '°').replace('_', ' '):>17}" for k in SHOWN)
              + f"{'pieces/s':>10}")  # fmt: skip
        for words, way in WAYS:
            begun = time.perf_counter()
            pieces = way(s)
            seconds = time.perf_counter() - begun
            m = measure(s.outline, s.tessera_mm, s.joint_mm, pieces, s.flow)
            cells = "".join(
                f"{m[k]:16.4f}{' ' if kept(k, m[k]) else '*'}" if k in m else f"{'':17}"
                for k in SHOWN
            )
            print(f"{words:33}{cells}{len(pieces) / seconds:10,.0f}")


def main() -> None:
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("files", nargs="*", type=Path)
    p.add_argument("--quick", action="store_true", help="leave the largest fields out")
    p.add_argument("--one", help=argparse.SUPPRESS)
    a = p.parse_args()
    if a.one:
        print(json.dumps(timed(a.one)))
        return
    speeds(a.quick)
    comparison(a.files)


if __name__ == "__main__":
    main()
