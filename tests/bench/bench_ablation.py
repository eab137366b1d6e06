"""Which tuned numbers and optional steps of the laying tell: each is changed by itself, and laid.

python tests/bench/bench_ablation.py OUT.txt [PART] [SEED]: finds every number at the head of a
module of core/laying and of core/quality.py, multiplies it by 0.7 and then by 1.4 (whole numbers:
one less, one more), and switches each optional step off, one change at a time. Small fields are
laid with each, the quickest first, those alone that run through the module concerned, until a piece
of four is other. A row tells of how many fields that came true, by how many limits more are missed,
and which measures move by how much of their limit. It is written as it is found, and rows that
stand in OUT are not laid again: all take an hour or two. PART: names to lay alone.

A row without effect is a place to look, no proof: a guard against what nobody draws on purpose, or
a step for the one shape in a thousand, moves nothing here. Try it with the tests of its module.
"""

from __future__ import annotations

import ast
import importlib
import pkgutil
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests/core/laying")]

import numpy as np
import shapely
from awkward import CATALOGUE, setting
from measures import BOUNDS, kept, measure
from shapely.affinity import rotate
from unseen import KINDS

import core.laying
from core.errors import EmblemaError
from core.laying import Setting, lay_field
from core.laying.field.scale import Size
from core.pieces import Pieces

SHARE = 0.3  # of the size that unseen fields have: pieces enough to tell, few enough to wait for
ENOUGH = 4  # fields in which a piece is other: no more need be laid
QUICK_S = 0.4  # seconds that a field may take, or all would take hours
MOVED = 0.01  # of a limit by which a measure moves
CHOSEN = (
    *("letter_s", "teardrop", "star_thin", "many_holes", "comb", "slit_wall", "leaf_needle"),
    *("lines_that_cross", "lines_that_contradict", "ribbon_three", "spiral_band", "letter_t"),
)
STEPS: dict[tuple[str, str], Callable[..., Any]] = {
    ("opus.coursed", "without_wedges"): lambda rooms, *_: rooms,
    ("opus.coursed", "without_strips"): lambda rooms_of, s, *_: rooms_of(s),
    ("opus.coursed", "evened_out"): lambda rooms, *_: rooms,
    ("opus.coursed", "nipped"): lambda pieces, *_: pieces,
    ("opus.tries", "straight_in_course"): lambda pieces, *_: pieces,
    ("opus.coursed", "blunted"): lambda pieces, *_: pieces,
    ("rooms.split", "_lengths"): lambda ground, owner, *_: (ground, owner),
    ("rooms.split", "_without_whiskers"): lambda ground, lost, *_: (ground, lost),
    ("rooms.split", "_recut"): lambda rooms, lost, *_: (rooms, lost),
    ("rooms.territories", "_straightened"): lambda centre, vertex, *_: centre[vertex],
    ("rooms.cuts", "_staggered"): lambda ruler, u, *_: u,
    ("rooms.cuts", "_together"): lambda force, *_: np.zeros_like(force),
    ("rooms.cuts", "_alone"): lambda *_: False,
    ("lay", "into_tips"): lambda polygons, *_: polygons,
    ("lay", "_trimmed"): lambda setting, pieces: pieces,
    ("lay", "_every_part"): lambda setting, pieces: pieces,
    ("lay", "hugs"): lambda setting: False,
    ("lay", "star_of"): lambda setting: None,
    ("lay", "is_small_round"): lambda setting: False,
    ("opus.bands", "_arms"): lambda *_: [],
    ("opus.bands", "_bends"): lambda *_: False,
    ("opus.regulatum", "_in_grid"): lambda *_: None,
    ("field.phase", "_leading"): lambda lines, *_: shapely.MultiLineString(lines),
    ("courses.trace", "_smoothed"): lambda line: line,
    ("courses.bends", "_evened"): lambda turn, *_: turn,
    ("pieces.border", "_straight"): lambda shape, *_: shape,
}


def fields(seed: int) -> dict[str, Setting]:
    """Return small fields of every kind by name, most of them unseen."""
    out: dict[str, Setting] = {}
    for k, kind in enumerate(KINDS):
        r = np.random.default_rng((seed, k))
        tessera = r.uniform(6, 12)
        joint = tessera * r.uniform(0.08, 0.18)
        outline, follow, lines = kind(r, SHARE * (tessera + joint))
        if not lines and kind.__name__ != "wall":
            outline = rotate(outline, float(r.uniform(0, 360)), origin=(0, 0))
        out[kind.__name__] = setting(outline, tessera, joint, follow, lines)
    wall, pebble, hole = out["wall"], out["pebble"], shapely.Point(70, 60)
    out["palladianum"] = pebble.with_choices(opus="palladianum", spread=0.3)
    out["circumactum"] = wall.with_choices(opus="circumactum", module_mm=60.0)
    out["rounds"] = pebble.with_choices(pieces="rounds", slenderness=1.4, spread=0.2)
    out["tapers"] = wall.with_choices(pieces="tapers", slenderness=4.0)
    out["sectile"] = out["crossed"].with_choices(opus="sectile")
    out["by hand"] = out["apart"].with_choices(variation=0.3, width_variation=0.15)
    out["butt"] = out["letter"].with_choices(corners="butt")
    out["bent regulatum"] = pebble.with_choices(opus="regulatum")
    ground = setting(shapely.box(0, 0, 150, 120) - hole.buffer(20), 8.0, 1.2, False)
    out["figure"] = ground
    out["vermiculatum"] = ground.with_choices(
        opus="vermiculatum", hug_tessera_mm=5.0, hug_courses=2
    )
    grid = setting(shapely.box(0, 0, 95, 75) - shapely.box(50, 40, 70, 60), 8.0, 1.2)
    out["regulatum"] = grid.with_choices(opus="regulatum")
    out["frame"] = setting(shapely.box(0, 0, 90, 80) - shapely.box(20, 20, 70, 60), 8.0, 1.2)
    out["round"] = setting(hole.buffer(15.5, quad_segs=24), 8.0, 1.2)
    line = shapely.MultiLineString([[(0.0, 40.0), (90.0, 40.0)]])
    square = setting(shapely.box(0, 0, 90, 80), 9.0, 1.2, False)
    out["graded"] = square.with_choices(sizes=(Size(line, 5.0),))
    out |= {name: CATALOGUE[name]() for name in CHOSEN}
    return out


def modules() -> dict[str, ModuleType]:
    """Return every module of the laying by its name below core.laying."""
    found = pkgutil.walk_packages(core.laying.__path__, "core.laying.")
    every = {m.name.removeprefix("core.laying."): importlib.import_module(m.name) for m in found}
    return every | {"quality": importlib.import_module("core.quality")}


def numbers_of(module: ModuleType) -> dict[str, Any]:
    """Return the numbers, and rows of numbers, that a module names at its head."""
    out = {}
    for node in ast.parse(Path(str(module.__file__)).read_text("utf-8")).body:
        targets = node.targets if isinstance(node, ast.Assign) else []
        targets = [node.target] if isinstance(node, ast.AnnAssign) else targets
        for name in (n for t in targets for n in ast.walk(t) if isinstance(n, ast.Name)):
            value = getattr(module, name.id, None)
            if name.id.upper() == name.id and _changed(value, 0.7) is not None:
                out[name.id] = value
    return out


def _changed(value: Any, times: float) -> Any:
    """Return a number, or a row of them, made smaller or larger; None of anything else."""
    if isinstance(value, bool):
        return None
    if isinstance(value, int):
        return value + (1 if times > 1 else -1)
    if isinstance(value, float | np.ndarray):
        return value * times
    if isinstance(value, tuple | list):
        each = [_changed(v, times) for v in value]
        return None if not each or any(v is None for v in each) else type(value)(each)
    return None


@contextmanager
def replaced(every: dict[str, ModuleType], home: str, name: str, other: Any) -> Iterator[None]:
    """Put another value in a name's place, wherever it was imported to or is a default."""
    source = every[home]
    was = getattr(source, name)
    holders: list[tuple[Any, str, Any]] = [(source, name, was)]
    for module in every.values():
        for node in ast.parse(Path(str(module.__file__)).read_text("utf-8")).body:
            if isinstance(node, ast.ImportFrom) and node.module == source.__name__:
                holders += [(module, a.asname or a.name, was) for a in node.names if a.name == name]
    defaults = [
        (f, f.__defaults__)
        for f in vars(source).values()
        if isinstance(f, FunctionType) and any(d is was for d in f.__defaults__ or ())
    ]
    for holder, held, _ in holders:
        setattr(holder, held, other)
    for f, now in defaults:
        f.__defaults__ = tuple(other if d is was else d for d in now or ())
    _forget(every)
    try:
        yield
    finally:
        for holder, held, value in holders:
            setattr(holder, held, value)
        for f, now in defaults:
            f.__defaults__ = now
        _forget(every)


def _forget(every: dict[str, ModuleType]) -> None:
    for module in every.values():
        for thing in vars(module).values():
            if hasattr(thing, "cache_clear"):
                thing.cache_clear()


def used_by(s: Setting) -> tuple[Pieces, set[str]]:
    """Return a field's pieces, and the files whose functions ran to lay it."""
    seen: set[str] = set()
    sys.setprofile(lambda frame, *_: seen.add(frame.f_code.co_filename))
    try:
        pieces = lay_field(s)
    finally:
        sys.setprofile(None)
    return pieces, seen


def _same(a: Pieces, b: Pieces) -> bool:
    return len(a) == len(b) and bool(
        (shapely.to_wkb(a.polygons) == shapely.to_wkb(b.polygons)).all()
    )


def measured(s: Setting, pieces: Pieces) -> dict[str, float]:
    if not len(pieces):
        return {"coverage": 0.0}
    return measure(s.outline, s.laying.tessera_mm, s.laying.joint_mm, pieces, s.flow)


class Bench:
    """Fields as they are laid now, and how they are laid otherwise."""

    def __init__(self, seed: int) -> None:
        self.every = modules()
        self.settings = fields(seed)
        self.laid, self.files, self.measures, self.took = {}, {}, {}, {}
        for name, s in self.settings.items():
            self.laid[name], self.files[name] = used_by(s)
            self.measures[name] = measured(s, self.laid[name])
            begun = time.process_time()
            lay_field(s)
            self.took[name] = time.process_time() - begun
        quick = [k for k in self.settings if self.took[k] <= QUICK_S]
        self.settings = {k: self.settings[k] for k in sorted(quick, key=self.took.__getitem__)}

    def row(self, home: str, name: str, other: Any) -> str:
        """Return what a change does."""
        file = str(self.every[home].__file__)
        users = {file} | {
            str(m.__file__)
            for m in self.every.values()
            if f"import {name}" in (text := Path(str(m.__file__)).read_text("utf-8"))
            or (self.every[home].__name__ in text and name in text)
        }
        some = [k for k in self.settings if self.files[k] & users] or list(self.settings)
        changed, failed, missed, seen = 0, 0, 0, 0
        moved: dict[str, float] = {}
        with replaced(self.every, home, name, other):
            for k in some:
                if changed == ENOUGH:
                    break
                seen += 1
                s = self.settings[k]
                try:
                    pieces = lay_field(s)
                except (EmblemaError, ArithmeticError, IndexError, ValueError, TypeError):
                    failed += 1
                    continue
                if _same(pieces, self.laid[k]):
                    continue
                changed += 1
                before, after = self.measures[k], measured(s, pieces)
                for bound in before.keys() & after.keys():
                    limit, side = BOUNDS[bound]
                    worse = (after[bound] - before[bound]) * (1 if side == "most" else -1)
                    missed += kept(bound, before[bound]) - kept(bound, after[bound])
                    room = limit if side == "most" else 1 - limit
                    moved[bound] = moved.get(bound, 0.0) + worse / max(room, 1e-3)
        telling = {
            k: round(v / changed, 3) for k, v in sorted(moved.items()) if abs(v) >= MOVED * changed
        }
        words = f"{changed}/{seen} other, {missed:+d} missed"
        return words + (f", {failed} fail" if failed else "") + (f" {telling}" if telling else "")


def main() -> None:
    out = Path(sys.argv[1])
    only = sys.argv[2] if len(sys.argv) > 2 else ""
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else 90210
    done = {w.split(" | ")[0] for w in out.read_text().splitlines()} if out.exists() else set()
    bench = Bench(seed)
    changes = [
        (home, name, f"x{times}", _changed(value, times))
        for times in (0.7, 1.4)
        for home, module in bench.every.items()
        for name, value in numbers_of(module).items()
    ]
    changes[:0] = [(home, name, "off", other) for (home, name), other in STEPS.items()]
    with out.open("a") as log:
        for home, name, how, other in changes:
            key = f"{home}.{name} {how}"
            if key not in done and only in key:
                print(f"{key} | {bench.row(home, name, other)}", file=log, flush=True)


if __name__ == "__main__":
    main()
