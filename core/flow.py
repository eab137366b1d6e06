"""The andamento: flow lines as smooth curves, and which of them guide a field."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString

from core.commission import Commission, Field, FlowLine, Point
from core.geometry import lines_in, polygon_of, valid


def smooth_curve(points: Sequence[Point], step_mm: float = 2.0) -> NDArray[np.float64]:
    """Return a smooth curve through points as (n, 2) mm, about `step_mm` apart.

    A centripetal Catmull-Rom spline: it passes through every point and makes no loops or cusps
    of its own within a span. Two points give the straight line between them.

    References
    ----------
    Yuksel, Schaefer, Keyser 2011, "Parameterization and applications of Catmull-Rom curves".
    """
    p = np.asarray(points, float)
    p = p[np.r_[True, np.hypot(*np.diff(p, axis=0).T) > 1e-9]]
    if len(p) < 3:
        return p
    p = np.vstack([2 * p[0] - p[1], p, 2 * p[-1] - p[-2]])
    out = []
    for p0, p1, p2, p3 in zip(p, p[1:], p[2:], p[3:], strict=False):
        t1 = np.hypot(*(p1 - p0)) ** 0.5
        t2 = t1 + np.hypot(*(p2 - p1)) ** 0.5
        t3 = t2 + np.hypot(*(p3 - p2)) ** 0.5
        n = max(2, int(np.ceil(np.hypot(*(p2 - p1)) / step_mm)) + 1)
        t = np.linspace(t1, t2, n, endpoint=False)[:, None]
        a1 = (t1 - t) / t1 * p0 + t / t1 * p1
        a2 = (t2 - t) / (t2 - t1) * p1 + (t - t1) / (t2 - t1) * p2
        a3 = (t3 - t) / (t3 - t2) * p2 + (t - t2) / (t3 - t2) * p3
        b1 = (t2 - t) / t2 * a1 + t / t2 * a2
        b2 = (t3 - t) / (t3 - t1) * a2 + (t - t1) / (t3 - t1) * a3
        out.append((t2 - t) / (t2 - t1) * b1 + (t - t1) / (t2 - t1) * b2)
    return np.vstack([*out, p[-2:-1]])


@lru_cache(maxsize=512)
def curve_of(line: FlowLine) -> LineString:
    """Return the curve of a flow line, mm."""
    return LineString(smooth_curve(line.points) if line.smooth else line.points)


def lines_for(doc: Commission, field: Field) -> tuple[LineString, ...]:
    """Return the curves that lead a field's courses: its own and those for all fields."""
    return tuple(curve_of(w) for w in doc.flow_lines if w.leads and w.field_id in (None, field.id))


def hugged(doc: Commission, field: Field) -> tuple[LineString, ...]:
    """Return the borders that a field shares with the motifs whose borders it hugs."""
    others = [f for f in doc.fields if f.id != field.id and f.motif and f.motif in field.laying.hug]
    if not others:
        return ()
    edge = polygon_of(field.outline).boundary
    figure = shapely.union_all([valid(polygon_of(f.outline)) for f in others])
    shared = shapely.intersection(edge, shapely.buffer(figure, field.laying.joint_mm / 20))
    merged = shapely.line_merge(shapely.multilinestrings(lines_in(shared)))
    return tuple(w for w in lines_in(merged) if w.length > field.laying.tessera_mm)
