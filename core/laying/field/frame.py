"""A frame of a field's own, in which it is laid wherever it lies and however it is turned.

Its origin is the field's centroid, its x axis runs along the longest side, and which way round is
chosen by the outline and lines themselves, so that a field moved, turned or mirrored with its
lines has the same numbers there and is laid alike. What a wall says, which way is up, is carried
along: where nothing else gives a direction, courses are level on the wall, and fans open upwards.
There a twin that was turned is laid as its own wall asks, and not as a twin.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon

from core.geometry import largest, stretches
from core.laying.exact import FINE, PLACE_MM, angles, quantised
from core.laying.field.grid import Array
from core.laying.field.scale import Size
from core.laying.spec import Setting
from core.moves import Move
from core.pieces import Pieces

ALIKE_MM = 2.0**-16  # by which sides and places of twins may differ
MOST_COMPARED = 1_000_000  # stretches of outline and lines; of more ways only the nearest are tried
MICROMETRES = 1000.0  # in a millimetre
# mm, so that no corner lies midway between two micrometres, where its last bits would decide
ASIDE_MM = np.array([1.7e-7, 2.3e-7])
INSETS_MM = (0.002, 0.005, 0.02)  # by which a piece steps back that rounding leads out
ANGLE_DIGITS = 6  # of radians


class Frame(Move):
    """The move that carries what is laid in this frame to the drawing."""

    __slots__ = ()

    def setting(self, setting: Setting) -> Setting:
        """Return a setting in this frame, whatever the order of its points, rings and lines."""
        up = quantised(self._turned(np.array([setting.up])), FINE)[0]
        outline = shapely.transform(setting.outline, self._place)
        return replace(
            setting,
            outline=shapely.normalize(shapely.remove_repeated_points(outline)),
            flow=self._lines(setting.flow),
            hug=self._lines(setting.hug),
            sizes=tuple(self._size(s) for s in _by_size(setting)),
            up=(float(up[0]), float(up[1])),
        )

    def pieces(self, pieces: Pieces, field: MultiPolygon) -> Pieces:
        """Return pieces laid in this frame in the drawing, to whole micrometres.

        They are valid, lie in the `field` and apart from one another.
        """
        polygons = self.rounded(pieces.polygons)
        bad = _unsound(polygons, field)
        for inset in INSETS_MM:
            if not bad.any():
                break
            less = shapely.buffer(pieces.polygons[bad], -inset, join_style="mitre")
            polygons[bad] = self.rounded(largest(less))
            bad = _unsound(polygons, field)
        c, s = self.way
        turn = angles(np.array(s), np.array(c))
        angle = turn + (-pieces.angle_rad if self.mirrored else pieces.angle_rad)
        right = round(np.pi / 2, ANGLE_DIGITS)
        angle = np.round((angle + np.pi / 2) % np.pi - np.pi / 2, ANGLE_DIGITS) + 0.0
        angle[angle <= -right] = right
        keep = ~bad
        return Pieces(polygons[keep], pieces.course[keep], pieces.piece[keep], angle[keep])

    def _place(self, xy: Array) -> Array:
        return quantised(self.into(xy), PLACE_MM)

    def rounded(self, polygons: NDArray[np.object_]) -> NDArray[np.object_]:
        """Return pieces of this frame in the drawing, to whole micrometres."""

        def whole(xy: Array) -> Array:
            out: Array = np.rint(self.out(xy + ASIDE_MM) * MICROMETRES) / MICROMETRES + 0.0
            return out

        placed = shapely.transform(polygons, whole)
        # what is no larger than rounding has no ring left to take points out of
        placed[shapely.area(placed) <= 0] = Polygon()
        return np.asarray(shapely.remove_repeated_points(placed))

    def _size(self, size: Size) -> Size:
        lines = self._lines(tuple(size.lines.geoms))
        return replace(size, lines=shapely.MultiLineString(lines))

    def _lines(self, lines: tuple[LineString, ...]) -> tuple[LineString, ...]:
        placed = [_in_order(self._place(shapely.get_coordinates(w))) for w in lines]
        return tuple(LineString(c) for c in sorted(placed, key=lambda c: c.tolist()))


def frame_of(setting: Setting) -> Frame:
    """Return a field's own frame: the same for the field moved, turned or mirrored.

    A field that is alike in several frames, as a square is, takes that which is nearest to the
    drawing. One drawn so finely as a circle of thousands of equal sides, within lines that are
    not, is not compared in all of its frames.
    """
    stretches = [_stretches(g) for g in _all(setting)]
    edge = stretches[0]
    if not len(edge):
        return Frame((0.0, 0.0), (1.0, 0.0), False)
    middle = shapely.get_coordinates(shapely.centroid(setting.outline))
    origin = middle[0] if len(middle) else edge[0, 0]
    way = edge[:, 1] - edge[:, 0]
    size = np.hypot(*way.T)
    longest = quantised(size, ALIKE_MM) >= quantised(size, ALIKE_MM).max()
    way = way[longest] / size[longest, None]
    every = [
        Frame((float(origin[0]), float(origin[1])), (float(x), float(y)), mirrored)
        for x, y in np.concatenate([way, -way])
        for mirrored in (False, True)
    ]
    every.sort(key=_off_the_drawing)
    most = max(MOST_COMPARED // sum(map(len, stretches)), 4)
    return max(every[:most], key=lambda f: _looks(f, stretches, setting.up))


def _off_the_drawing(frame: Frame) -> tuple[bool, float, float]:
    """Return how far a frame is turned and mirrored, for an order."""
    x, y = (round(v, 9) + 0.0 for v in frame.way)
    return frame.mirrored, -x, -y


def _all(setting: Setting) -> tuple[shapely.Geometry, ...]:
    lines = (shapely.MultiLineString(w) for w in (setting.flow, setting.hug))
    sizes = (s.lines for s in _by_size(setting))
    return shapely.boundary(setting.outline), *lines, *sizes


def _by_size(setting: Setting) -> list[Size]:
    """Return the sizes, the lines of each size and grade together, in order."""
    alike: dict[tuple[float, float], list[LineString]] = {}
    for s in setting.sizes:
        alike.setdefault((s.tessera_mm, s.grade), []).extend(s.lines.geoms)
    return [Size(shapely.MultiLineString(alike[k]), *k) for k in sorted(alike)]


def _stretches(lines: shapely.Geometry) -> Array:
    """Return both ends of every straight stretch of lines, (n, 2, 2) mm."""
    ends = stretches(lines)
    out: Array = ends[(ends[:, 0] != ends[:, 1]).any(1)]
    return out


def _looks(frame: Frame, stretches: list[Array], up: tuple[float, float]) -> bytes:
    """Return how all that is given looks in a frame; the wall's way up tells last."""
    found = []
    for ends in stretches:
        at = np.rint(frame.into(ends.reshape(-1, 2)) / ALIKE_MM).astype(np.int64).reshape(-1, 4)
        back = (at[:, 0] > at[:, 2]) | ((at[:, 0] == at[:, 2]) & (at[:, 1] > at[:, 3]))
        at[back] = at[back][:, [2, 3, 0, 1]]
        found.append(at[np.lexsort(at.T)].tobytes())
    # level has no front: doubled angles first
    x, y = frame._turned(np.array([up]))[0]
    wall = np.array([x * x - y * y, 2 * x * y, x, y])
    return b"".join([*found, np.rint(wall / ALIKE_MM).astype(np.int64).tobytes()])


def _in_order(c: Array) -> Array:
    """Return a line's points from its lesser end, or round from the least of a closed line."""
    if len(c) > 2 and (c[0] == c[-1]).all():
        start = np.lexsort(c[:-1].T)[0]
        c = np.roll(c[:-1], -start, axis=0)
        c = np.concatenate([c, c[:1]])
    return min(c, c[::-1], key=lambda line: line.tolist())


def _unsound(polygons: NDArray[np.object_], field: MultiPolygon) -> NDArray[np.bool_]:
    """Return which pieces are no piece, leave the field, or meet a larger one."""
    shapely.prepare(field)
    bad: NDArray[np.bool_] = ~shapely.is_valid(polygons) | (shapely.area(polygons) <= 0)
    bad |= ~shapely.covers(field, polygons)
    sound = np.flatnonzero(~bad)
    a, b = shapely.STRtree(polygons[sound]).query(polygons[sound], predicate="intersects")
    a, b = sound[a[a < b]], sound[b[a < b]]
    bad[np.where(shapely.area(polygons[a]) < shapely.area(polygons[b]), a, b)] = True
    return bad
