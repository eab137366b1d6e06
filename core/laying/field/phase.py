"""Where the courses run: a unit complex field whose phase turns once a pitch across the flow.

Phase 0 is the middle of a course and pi a joint. Where the flow spreads, a course ends or
begins by itself at a point where the field has no phase.

References
----------
Knöppel, Crane, Pinkall, Schröder 2015, "Stripe patterns on surfaces", ACM TOG 34(4).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import sparse

from core.errors import Stopped
from core.laying.courses.gaps import wave_numbers
from core.laying.exact import (
    PLACE_MM,
    SOLVED,
    conjugate_gradients,
    dot,
    factored,
    quantised,
    raised,
    turns,
    ways,
)
from core.laying.field.direction import YIELDS, Direction
from core.laying.field.grid import Array, Grid, across, straight_parts
from core.laying.spec import Setting

BORDER_TIE = 3.0
LINE_TIE = 0.2  # a line says which way; where a course lies it says only if no border does
MOST_POINTS = 200  # of a line whose room is drawn at once
STRETCH = 8  # points, of a line with more
LOOSE_BORDER_TIE = 0.6  # a border not followed still draws courses that run along it
UNIT_PULL = 0.15
ROUNDS = 10


@dataclass(frozen=True, slots=True)
class Phase:
    """The phase on a grid: complex `psi`, and the unit normal and rate of its turning."""

    grid: Grid
    psi: NDArray[np.complex128]
    normal: Array  # (2, rows, columns)
    inside: NDArray[np.bool_]
    wave: Array  # turning across the flow, radians a mm


def phase_field(
    setting: Setting,
    direction: Direction,
    stop: Callable[[], bool],
    step_share: float = 0.5,
) -> Phase:
    """Solve for the phase on a grid of a share of the smallest pitch, and refine it to half."""
    pitch = setting.pitch_mm
    grid = Grid.over(setting.outline, step_share * setting.scale.finest_mm, 2 * pitch)
    wide = shapely.buffer(setting.outline, 0.9 * pitch, quad_segs=4)
    inside = grid.inside(wide)
    normal = _normals(grid, direction)
    wave = wave_numbers(setting, grid, normal)
    weight, target = _ties(setting, grid, normal, inside, wave)
    target = quantised(target, SOLVED)
    psi = _solve(grid, normal, inside, weight, target, wave, stop)
    return _refine(Phase(grid, psi, normal, inside, wave), direction, wide)


def _normals(grid: Grid, direction: Direction) -> Array:
    x, y = grid.nodes()
    t = direction.angle(np.stack([x.ravel(), y.ravel()], axis=1)).reshape(grid.shape)
    way = ways(t)
    return np.stack([-way[..., 1], way[..., 0]])


def _ties(
    setting: Setting, grid: Grid, normal: Array, inside: NDArray[np.bool_], wave: Array
) -> tuple[Array, NDArray[np.complex128]]:
    """Return how strongly each node's phase is tied, and to what."""
    pitch = setting.pitch_mm
    weight = np.zeros(grid.shape)
    target = np.zeros(grid.shape, complex)
    x, y = grid.nodes()
    r, c = np.nonzero(inside)
    xy = np.stack([x[r, c], y[r, c]], axis=1)
    n = normal[:, r, c].T
    pts = np.asarray(shapely.points(xy), dtype=object)

    def tie(lines: shapely.Geometry, strength: float, phase: float, power: int) -> None:
        # Each node near the line takes the phase that its signed distance asks for.
        parts = straight_parts(lines)
        near, part = shapely.STRtree(parts).query_nearest(
            pts, max_distance=0.75 * grid.step_mm, all_matches=False
        )
        link = shapely.shortest_line(pts[near], parts[part])
        foot = shapely.get_coordinates(link).reshape(-1, 2, 2)
        off = foot[:, 0] - foot[:, 1]
        far = np.hypot(*off.T)
        side = dot(off, n[near])
        fit = np.where(far > 0.02 * pitch, np.abs(side) / np.maximum(far, 1e-12), 1.0)
        w = strength * raised(fit, power)
        rr, cc = r[near], c[near]
        weight[rr, cc] += w
        target[rr, cc] += w * turns(phase + wave[rr, cc] * np.copysign(far, side))

    if setting.hug:
        tie(shapely.MultiLineString(setting.hug), BORDER_TIE, np.pi, 4)
        tie(setting.outline.boundary, LOOSE_BORDER_TIE, np.pi, 12)
    elif setting.laying.follow_border:
        tie(setting.outline.boundary, BORDER_TIE, np.pi, 4)
    elif setting.laying.opus == "regulatum":
        # the grid fits the field as a whole and stays straight past what is cut out of it
        rings = [p.exterior for p in setting.outline.geoms]
        tie(shapely.MultiLineString(rings), LOOSE_BORDER_TIE, np.pi, 12)
    else:
        tie(setting.outline.boundary, LOOSE_BORDER_TIE, np.pi, 12)
    if setting.flow:
        tie(_leading(setting.flow, YIELDS * pitch), LINE_TIE, 0.0, 2)
    return weight, target


def _room(line: shapely.Geometry, apart_mm: float) -> shapely.Geometry:
    """Return what lies within a distance of a line.

    A scribble is taken stretch by stretch: drawn at once, the room round one that crosses itself
    some hundred times fills the memory.
    """
    if shapely.get_num_coordinates(line) <= MOST_POINTS:
        return shapely.buffer(line, apart_mm, quad_segs=4)
    stretches = [
        shapely.LineString(part.coords[k : k + STRETCH])
        for part in shapely.get_parts(line)
        for k in range(0, len(part.coords) - 1, STRETCH - 1)
    ]
    return shapely.union_all(shapely.buffer(stretches, apart_mm, quad_segs=4))


def _leading(lines: tuple[shapely.LineString, ...], apart_mm: float) -> shapely.Geometry:
    """Return the lines, the longest first, as far as each is no neighbour of those before."""
    room: shapely.Geometry = shapely.Polygon()
    led: list[shapely.Geometry] = []
    for k in np.argsort([-quantised(np.array(w.length), PLACE_MM) for w in lines], kind="stable"):
        if led:  # nothing is to be kept clear of the last
            room = shapely.union(room, _room(led[-1], apart_mm))
        led.append(shapely.difference(lines[k], room))
    parts = shapely.get_parts(shapely.get_parts(led))
    return shapely.MultiLineString(parts[~shapely.is_empty(parts)].tolist())


def _edges(
    shape: tuple[int, int],
) -> tuple[tuple[slice, slice, slice, slice, float], ...]:
    """Return neighbour pairs as slices: right, down and both diagonals, with their weights."""
    all_, lo, hi = slice(None), slice(None, -1), slice(1, None)
    return (
        (all_, lo, all_, hi, 1.0),
        (lo, all_, hi, all_, 1.0),
        (lo, lo, hi, hi, 0.5),
        (lo, hi, hi, lo, 0.5),
    )


def _solve(
    grid: Grid,
    normal: Array,
    inside: NDArray[np.bool_],
    weight: Array,
    target: NDArray[np.complex128],
    wave: Array,
    stop: Callable[[], bool],
) -> NDArray[np.complex128]:
    number = np.full(grid.shape, -1)
    number[inside] = np.arange(np.count_nonzero(inside))
    n = int(np.count_nonzero(inside))
    x, y = grid.nodes()
    rows: list[NDArray[np.int64]] = []
    cols: list[NDArray[np.int64]] = []
    vals: list[Array] = []
    diagonal = np.zeros(n)
    for r1, c1, r2, c2, w in _edges(grid.shape):
        a, b = number[r1, c1], number[r2, c2]
        both = (a >= 0) & (b >= 0)
        i, j = a[both], b[both]
        ni, nj = normal[:, r1, c1][:, both], normal[:, r2, c2][:, both]
        d = np.stack([x[r2, c2][both] - x[r1, c1][both], y[r2, c2][both] - y[r1, c1][both]])
        same = np.where((ni * nj).sum(0) >= 0, 1.0, -1.0)
        ki, kj = wave[r1, c1][both], wave[r2, c2][both]
        turn = 0.5 * ((ki * ni + same * kj * nj) * d).sum(0)
        co, si = w * np.moveaxis(ways(turn), -1, 0)
        diagonal += w * (np.bincount(i, minlength=n) + np.bincount(j, minlength=n))
        # psi_j = R psi_i, or its conjugate where the two normals disagree
        for p, q, v in (
            (2 * j, 2 * i, co),
            (2 * j, 2 * i + 1, -si),
            (2 * j + 1, 2 * i, same * si),
            (2 * j + 1, 2 * i + 1, same * co),
        ):
            rows += [p, q]
            cols += [q, p]
            vals += [-v, -v]
    coupling = sparse.coo_array(
        (np.concatenate(vals), (np.concatenate(rows), np.concatenate(cols))),
        shape=(2 * n, 2 * n),
    ).tocsr()
    tied = weight[inside]
    asked = target[inside]
    rhs = np.stack([asked.real, asked.imag], axis=1).ravel()
    free = np.repeat(diagonal + tied, 2)
    pull = UNIT_PULL * np.repeat(np.maximum(diagonal, 1.0), 2) / 6
    base = sparse.csr_array(coupling + sparse.diags_array(free))
    if not tied.any():  # nothing to hold on to: begin from the middle node
        rhs[2 * (n // 2)] = 1.0
    psi = np.zeros(2 * n)
    order = (2 * across(inside)[:, None] + np.arange(2)).ravel()
    first = _solver(sparse.csr_array(base + sparse.diags_array(np.full(2 * n, 1e-4))), n, order)
    psi = quantised(first(rhs, psi), SOLVED)
    again = _solver(sparse.csr_array(base + sparse.diags_array(pull)), n, order)
    for _ in range(ROUNDS):
        if stop():
            raise Stopped
        size = np.hypot(psi[::2], psi[1::2])
        unit = psi / np.repeat(np.maximum(size, 1e-12), 2)
        psi = quantised(again(rhs + pull * unit, unit), SOLVED)
    out = np.zeros(grid.shape, complex)
    out[inside] = psi[::2] + 1j * psi[1::2]
    return out


def _solver(
    matrix: sparse.csr_array, n: int, order: NDArray[np.int64]
) -> Callable[[Array, Array], Array]:
    """Return a solver: one factorisation for a small field, conjugate gradients for a large one."""
    if n < 12_000:
        solve = factored(matrix, order)
        return lambda rhs, start: solve(rhs)
    return lambda rhs, start: conjugate_gradients(matrix, rhs, start, 400, 1e-3)


def _refine(phase: Phase, direction: Direction, wide: shapely.Geometry) -> Phase:
    """Carry the phase to a grid of half the step."""
    grid = Grid(
        phase.grid.origin_mm,
        phase.grid.step_mm / 2,
        (2 * phase.grid.shape[0] - 1, 2 * phase.grid.shape[1] - 1),
    )
    normal = _normals(grid, direction)
    inside = grid.inside(wide)
    psi = np.zeros(grid.shape, complex)
    x, y = grid.nodes()
    xy = np.stack([x[inside], y[inside]], axis=1)
    psi[inside] = carried(phase, xy, normal[:, inside].T)
    wave = np.zeros(grid.shape)
    wave[inside] = phase.grid.sample(phase.wave, xy)
    return Phase(grid, psi, normal, inside & (np.abs(psi) > 1e-9), wave)


def carried(phase: Phase, xy: Array, normal: Array) -> NDArray[np.complex128]:
    """Return the phase at points (n, 2) mm as seen along the unit normals (n, 2) given there.

    Each of the four nodes round a point is carried to it at its own rate of turning; the part of
    each is bilinear.
    """
    grid = phase.grid
    row, column = grid.cell(xy)
    r0 = np.clip(np.floor(row).astype(np.int64), 0, grid.shape[0] - 2)
    c0 = np.clip(np.floor(column).astype(np.int64), 0, grid.shape[1] - 2)
    fr, fc = row - r0, column - c0
    x0, y0 = grid.origin_mm
    total = np.zeros(len(xy), complex)
    for dr, wr in ((0, 1 - fr), (1, fr)):
        for dc, wc in ((0, 1 - fc), (1, fc)):
            r, c = r0 + dr, c0 + dc
            theirs = phase.normal[:, r, c].T
            same = np.where(dot(theirs, normal) >= 0, 1.0, -1.0)
            dx = xy[:, 0] - (x0 + grid.step_mm * c)
            dy = xy[:, 1] - (y0 + grid.step_mm * r)
            mean = theirs + same[:, None] * normal
            turn = 0.5 * phase.wave[r, c] * (mean[:, 0] * dx + mean[:, 1] * dy)
            value = phase.psi[r, c] * turns(turn)
            total += wr * wc * np.where(same > 0, value, value.conj())
    return quantised(total, SOLVED)
