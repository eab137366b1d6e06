"""Traces the courses: the curves along which the phase is zero, clipped to the field."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from core.laying.exact import PLACE_MM, angles, quantised
from core.laying.field.grid import Array
from core.laying.field.phase import Phase
from core.laying.pieces.border import cut_to
from core.laying.spec import Setting


def trace_courses(phase: Phase, setting: Setting) -> list[Array]:
    """Return every course as points (n, 2) mm; a closed course repeats its first point."""
    xy, number_h, number_v = _crossings(phase)
    ends = _segments(phase.grid.shape, number_h, number_v)
    # where a course passes right through a node, several edges are crossed in that one point
    ends = ends[(xy[ends[:, 0]] != xy[ends[:, 1]]).any(1)]
    if not len(ends):
        return []
    segments = list(np.asarray(shapely.linestrings(xy[ends]), dtype=object))
    lines = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(segments)))
    scale = setting.scale
    lines = np.array([_smoothed(w) for w in lines], dtype=object)
    shapely.prepare(setting.outline)
    within = shapely.contains_properly(setting.outline, lines)
    parts, _ = cut_to(lines[~within], setting.outline)
    parts = parts[shapely.get_type_id(parts) == 1]
    courses = [shapely.get_coordinates(w) for w in (*lines[within], *_rejoined(parts))]
    return [
        c
        for c in courses
        if _length(c) > 0.45 * scale.pitch_at(c[len(c) // 2 : len(c) // 2 + 1])[0]
    ]


def _length(c: Array) -> float:
    return float(np.hypot(*np.diff(c, axis=0).T).sum())


def _rejoined(parts: NDArray[np.object_]) -> NDArray[np.object_]:
    if not len(parts):
        return parts
    merged: NDArray[np.object_] = shapely.get_parts(
        shapely.line_merge(shapely.multilinestrings(list(parts)))
    )
    return merged


def _smoothed(line: shapely.LineString) -> shapely.LineString:
    """Take out the grid's small steps: two passes of a three-point mean, ends kept."""
    c = shapely.get_coordinates(line)
    ring = line.is_closed
    for _ in range(2):
        if len(c) < 4:
            break
        if ring:
            b = c[:-1]
            b = (np.roll(b, 1, 0) + 2 * b + np.roll(b, -1, 0)) / 4
            c = np.vstack([b, b[:1]])
        else:
            c = np.vstack([c[:1], (c[:-2] + 2 * c[1:-1] + c[2:]) / 4, c[-1:]])
    return shapely.LineString(c)


def _crossings(phase: Phase) -> tuple[Array, NDArray[np.int64], NDArray[np.int64]]:
    """Return the points where grid edges cross phase zero, and each edge's point number or -1."""
    x, y = phase.grid.nodes()
    points: list[Array] = []
    numbers: list[NDArray[np.int64]] = []
    count = 0
    lo, hi, all_ = slice(None, -1), slice(1, None), slice(None)
    for a, b in (((all_, lo), (all_, hi)), ((lo, all_), (hi, all_))):
        na, nb = phase.normal[(slice(None), *a)], phase.normal[(slice(None), *b)]
        pa, pb = (angles(phase.psi[k].imag, phase.psi[k].real) for k in (a, b))
        pb = np.where((na * nb).sum(0) >= 0, pb, -pb)
        ok = ((pa < 0) != (pb < 0)) & (np.abs(pa - pb) < np.pi)
        ok &= phase.inside[a] & phase.inside[b]
        t = pa[ok] / (pa[ok] - pb[ok])
        points.append(
            np.stack(
                [x[a][ok] + t * (x[b] - x[a])[ok], y[a][ok] + t * (y[b] - y[a])[ok]],
                axis=1,
            )
        )
        number = np.full(ok.shape, -1)
        number[ok] = count + np.arange(len(t))
        count += len(t)
        numbers.append(number)
    return quantised(np.concatenate(points), PLACE_MM), numbers[0], numbers[1]


def _segments(
    shape: tuple[int, int], number_h: NDArray[np.int64], number_v: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Return pairs of crossing numbers, one segment a grid cell that two of its edges cross."""
    sides = np.stack(
        [number_h[:-1], number_v[:, 1:], number_h[1:], number_v[:, :-1]], axis=-1
    ).reshape(-1, 4)
    two = (sides >= 0).sum(1) == 2
    picked = np.sort(sides[two], axis=1)[:, 2:]
    four = sides[(sides >= 0).all(1)]
    return np.concatenate([picked, four[:, :2], four[:, 2:]])
