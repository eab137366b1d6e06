"""Little pictures of the layings, drawn by rule: quick to make and alike at every size."""

from __future__ import annotations

import math

import numpy as np
import shapely
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QIcon, QPainter, QPixmap, QPolygonF
from shapely import MultiPoint, Point, Polygon, box

from app import theme

WIDE, HIGH = 128, 92  # drawn at twice the size it is shown
FRAME = box(0, 0, WIDE, HIGH)
GROUT, STONE = QColor("#8d877b"), (228, 220, 203)
MIDDLE = (50.0, 54.0)
JOINT = 2.4
Shapes = list[shapely.Geometry]


def laying_icon(laying: str) -> QIcon:
    """Return the picture of a laying."""
    figure, pieces = _DRAWN[laying]()
    out = QPixmap(WIDE, HIGH)
    out.fill(GROUT)
    p = QPainter(out)
    p.setRenderHint(QPainter.RenderHint.Antialiasing)
    p.setPen(Qt.PenStyle.NoPen)
    rng = np.random.default_rng(2)
    for shape in pieces:
        shade = int(rng.integers(-10, 10))
        p.setBrush(QColor(*(v + shade for v in STONE)))
        _paint(p, shape)
    p.setBrush(QColor(theme.SLATE))
    for shape in figure:
        _paint(p, shape)
    p.end()
    return QIcon(out)


def _paint(p: QPainter, shape: shapely.Geometry) -> None:
    inner = shapely.buffer(shape, -JOINT / 2, join_style="mitre")
    for part in shapely.get_parts(shapely.intersection(inner, FRAME)):
        if isinstance(part, Polygon) and part.area > 3:
            p.drawPolygon(QPolygonF([QPointF(x, y) for x, y in part.exterior.coords]))


def _ring(at: tuple[float, float], r0: float, r1: float, size: float, turn: float) -> Shapes:
    """Return a ring of a whole number of pieces between two radii."""
    n = max(3, round(math.pi * (r0 + r1) / size))
    angles = turn + 2 * math.pi * np.arange(n + 1) / n
    x, y = np.cos(angles), np.sin(angles)
    return [
        Polygon(
            [
                (at[0] + r * c, at[1] + r * s)
                for r, c, s in (
                    (r0, x[k], y[k]),
                    (r1, x[k], y[k]),
                    (r1, x[k + 1], y[k + 1]),
                    (r0, x[k + 1], y[k + 1]),
                )
            ]
        )
        for k in range(n)
    ]


def _rows(size: float, shift: float, wave: float) -> Shapes:
    """Return courses that rise and fall a little."""
    out: Shapes = []
    for k in range(-2, int(HIGH / size) + 3):
        for j in range(-1, int(WIDE / size) + 2):
            x0 = j * size + (shift * size if k % 2 else 0.0)
            corners = [(x0, k), (x0 + size, k), (x0 + size, k + 1), (x0, k + 1)]
            out.append(Polygon([(x, r * size + wave * math.sin(x / 19)) for x, r in corners]))
    return out


def _without(shapes: Shapes, hole: shapely.Geometry) -> Shapes:
    cut = shapely.difference(np.array(shapes, dtype=object), hole)
    return [g for g in shapely.get_parts(cut) if g.area > 0.12 * max(s.area for s in shapes[:1])]


def _figure() -> Shapes:
    return [Point(MIDDLE).buffer(19)]


def _tessellatum() -> tuple[Shapes, Shapes]:
    return [], _rows(15.5, 0.5, 7)


def _regulatum() -> tuple[Shapes, Shapes]:
    return [], _rows(15.5, 0.0, 0)


def _vermiculatum() -> tuple[Shapes, Shapes]:
    pieces = [g for k in range(3) for g in _ring(MIDDLE, 18 + 9 * k, 27 + 9 * k, 9, 0.3 * k)]
    outer = [g for k in range(4) for g in _ring(MIDDLE, 45 + 15 * k, 60 + 15 * k, 15, 0.4 * k)]
    return _figure(), pieces + outer


def _musivum() -> tuple[Shapes, Shapes]:
    return _figure(), [
        g for k in range(9) for g in _ring(MIDDLE, 18 + 10 * k, 28 + 10 * k, 10, 0.3 * k)
    ]


def _classicum() -> tuple[Shapes, Shapes]:
    hugging = [g for k in range(2) for g in _ring(MIDDLE, 18 + 10 * k, 28 + 10 * k, 10, 0.3 * k)]
    return _figure(), hugging + _without(_rows(15.5, 0.5, 0), Point(MIDDLE).buffer(38))


def _palladianum() -> tuple[Shapes, Shapes]:
    rng = np.random.default_rng(5)
    x, y = np.meshgrid(np.arange(-20, WIDE + 40, 23.0), np.arange(-20, HIGH + 40, 23.0))
    sites = np.column_stack([x.ravel(), y.ravel()])
    sites[:, 0] += 11 * (np.round(sites[:, 1] / 23) % 2)
    sites += rng.uniform(-8, 8, sites.shape)
    return [], list(shapely.voronoi_polygons(MultiPoint(sites)).geoms)


def _circumactum() -> tuple[Shapes, Shapes]:
    pieces: Shapes = []
    taken: shapely.Geometry = Polygon()
    for row in range(3, -1, -1):
        for column in range(-1, 4):
            at = (column * 52.0 + (26 if row % 2 else 0), 26 + row * 26.0)
            fan = shapely.intersection(
                Point(at).buffer(32, quad_segs=12), box(at[0] - 26, 0, at[0] + 26, at[1] + 14)
            )
            seen = shapely.difference(fan, taken)
            rings = [g for r in (2, 12, 22) for g in _ring(at, r, r + 10, 11, 0.0)]
            pieces += [g for g in shapely.intersection(np.array(rings, dtype=object), seen)]
            taken = shapely.union(taken, fan)
    return [], [g for g in pieces if g.area > 12]


def _sectile() -> tuple[Shapes, Shapes]:
    t = np.linspace(0, math.pi, 24)
    upper = np.column_stack([14 + 100 * t / math.pi, 46 - 32 * np.sin(t)])
    lower = np.column_stack([14 + 100 * t / math.pi, 46 + 26 * np.sin(t)])
    rib = np.column_stack([14 + 100 * t / math.pi, 46 - 6 * np.sin(t)])
    halves: Shapes = [
        Polygon(np.vstack([upper, rib[::-1]])),
        Polygon(np.vstack([rib, lower[::-1]])),
    ]
    leaf = shapely.union_all(halves)
    ground = [
        shapely.difference(box(*b), leaf)
        for b in ((0, 0, 58, 46), (58, 0, WIDE, 46), (0, 46, 72, HIGH), (72, 46, WIDE, HIGH))
    ]
    return halves, ground


_DRAWN = {
    "tessellatum": _tessellatum,
    "regulatum": _regulatum,
    "vermiculatum": _vermiculatum,
    "musivum": _musivum,
    "classicum": _classicum,
    "palladianum": _palladianum,
    "circumactum": _circumactum,
    "sectile": _sectile,
}
