"""The rules by which laid pieces are looked at again. All pieces of a field at once."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely import MultiPolygon

from core.colour.fieldmatch import palette_of
from core.commission import Commission, Field, Outline
from core.errors import Stopped
from core.geometry import box_sides, corners, cross, polygon_of, unit
from core.laying.pieces.axis import quarter_rad
from core.lookagain.finding import Finding
from core.lookagain.grout import Ground
from core.pieces import LaidField, Layout, Pieces
from core.quality import RUN_ON, TIP_DEG
from core.quantities import blank_of, fitting
from core.sizes import scale_for

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
NEIGHBOURS = 8
HALF_HIDDEN = 0.35  # pitches of the border within which a piece is at the border


def look_again(
    doc: Commission,
    layout: Layout,
    field_id: str | None = None,
    stop: Callable[[], bool] = lambda: False,
) -> tuple[Finding, ...]:
    """Return every finding of a field, or of all fields, by the commission's limits.

    Raises
    ------
    core.errors.Stopped
        `stop` answered True.
    """
    out: list[Finding] = []
    for laid in layout.fields:
        if field_id in (None, laid.field_id):
            if stop():
                raise Stopped
            out += look_at(doc, doc.field_by_id(laid.field_id), laid)
    return tuple(out)


def scores(
    doc: Commission, layout: Layout, findings: tuple[Finding, ...] | None = None
) -> dict[str, float]:
    """Return for each field the share of its pieces that nobody would take out, 0 to 100."""
    if findings is None:
        findings = look_again(doc, layout)
    bad: dict[str, set[object]] = {}
    for f in findings:
        bad.setdefault(f.field_id, set()).add(f.index if f.index >= 0 else f.at_mm)
    return {
        laid.field_id: max(
            0.0, 100.0 * (1 - len(bad.get(laid.field_id, ())) / max(len(laid.pieces), 1))
        )
        for laid in layout.fields
    }


def look_at(doc: Commission, field: Field, laid: LaidField) -> list[Finding]:
    """Return the findings of one field."""
    look = Look(doc, field, laid)
    return [f for rule in look.rules for f in look.of(rule)]


class Look:
    """A look at a field's pieces, rule by rule; what several rules need is measured once.

    Parameters
    ----------
    rows : ndarray of int, optional
        The only pieces looked at, among all.
    ground : callable, optional
        Gives where alone spots of grout are looked for, once they are.
    """

    def __init__(
        self,
        doc: Commission,
        field: Field,
        laid: LaidField,
        rows: NDArray[np.int64] | None = None,
        ground: Callable[[], tuple[Ground, ...]] | None = None,
    ) -> None:
        self.doc, self.field, self.laid, self._ground = doc, field, laid, ground
        self.limits = doc.limits
        self.p = laid.pieces if rows is None else some_of(laid.pieces, rows)
        self.rows = np.arange(len(self.p)) if rows is None else rows
        self._found: dict[str, list[Finding]] = {}

    @property
    def rules(self) -> tuple[str, ...]:
        """The rules that the field's laying is held to."""
        cut, laying = self.field.laying.pieces == "cut", self.field.laying.opus
        out = ["touching", "too large", "colour"]
        if cut:
            out += ["wide joint", "grout pool"]
        if cut and laying != "sectile":
            out += ["sliver", "sharp corner", "not convex"]
            if laying != "palladianum":
                out += ["too big", "too small"]
        if cut and laying in ("tessellatum", "vermiculatum", "musivum", "classicum"):
            out += ["joints in line", "off the flow", "course end"]
        if self.limits.lone_piece:
            out.append("lone colour")
        return tuple(rule for rule in _LOOK if rule in out)

    def of(self, rule: str) -> list[Finding]:
        """Return the findings of one of the `rules`."""
        if rule not in self._found:
            seen = self.laid.pieces if rule in _BETWEEN else self.p
            self._found[rule] = _LOOK[rule](self) if len(seen) else []
        return self._found[rule]

    def _each(
        self, rule: str, which: Bools, measured: Array, limit: float, unit: str, sentence: str
    ) -> list[Finding]:
        """Return a finding for each piece chosen; {m} and {l} in the sentence are the figures."""
        return [
            Finding(
                rule,
                self.field.id,
                int(self.rows[k]),
                (float(self.p.centre_mm[k, 0]), float(self.p.centre_mm[k, 1])),
                float(measured[k]),
                limit,
                unit,
                sentence.format(m=float(measured[k]), l=limit),
            )
            for k in np.flatnonzero(which)
        ]

    # what several rules need

    @cached_property
    def _wanted(self) -> Array:
        """The tessera that is wanted at every piece laid, mm."""
        return scale_for(self.doc, self.field).tessera_of(self.laid.pieces.polygons)

    @cached_property
    def _tessera(self) -> Array:
        """The tessera that is wanted at each piece looked at, mm."""
        return self._wanted[self.rows]

    @cached_property
    def _pitch(self) -> Array:
        return self._tessera + self.field.laying.joint_mm

    @cached_property
    def _outline(self) -> MultiPolygon:
        return polygon_of(self.field.outline)

    @cached_property
    def _border(self) -> shapely.Geometry:
        return _border_of(self.field.outline)

    @cached_property
    def _by(self) -> Array:
        """Each piece's area over what is usual about it, each by the size wanted of it."""
        whole = self.laid.pieces
        area = whole.area_mm2 / self._wanted**2
        k = min(NEIGHBOURS + 1, len(whole))
        near = np.asarray(cKDTree(whole.centre_mm).query(self.p.centre_mm, k=k)[1])
        usual = np.median(area[near.reshape(len(self.p), k)], axis=1)
        out: Array = area[self.rows] / np.maximum(usual, 1e-12)
        return out

    @cached_property
    def _boxes(self) -> tuple[Array, Array]:
        """Two sides of the smallest box about each piece, as vectors."""
        one, two = np.moveaxis(box_sides(self.p.polygons), 1, 0)
        return one, two

    @cached_property
    def _inner(self) -> Bools:
        """Whether a piece is not at the border."""
        far: Any = HALF_HIDDEN * self._pitch  # one for each
        return ~np.asarray(shapely.dwithin(self._border, self.p.polygons, far))

    @cached_property
    def _excused(self) -> Bools:
        tips = _tips_of(self.field.outline)
        far: Any = 1.2 * self._pitch
        return np.asarray(shapely.dwithin(self.p.polygons, tips, far))

    # the rules

    def slivers(self) -> list[Finding]:
        """Pieces too narrow."""
        one, two = self._boxes
        width = np.minimum(np.hypot(*one.T), np.hypot(*two.T))
        tessera = self._tessera
        if self.field.laying.hug_tessera_mm and self.field.laying.opus in (
            "vermiculatum",
            "classicum",
        ):
            tessera = np.minimum(self.field.laying.hug_tessera_mm, tessera)
        w = width / tessera
        limit = self.limits.sliver_tesserae
        narrow = w < limit
        return self._each(
            "sliver",
            narrow & ~self._excused if narrow.any() else narrow,
            w,
            limit,
            "tesserae",
            "Only {m:.2f} of a tessera wide; narrower than {l:g} breaks or shows as a line.",
        )

    def sharp(self) -> list[Finding]:
        """Pieces with a corner that chips."""
        corner = _smallest_corner_deg(self.p.polygons)
        limit = self.limits.sharp_deg
        sharp = corner < limit
        return self._each(
            "sharp corner",
            sharp & ~self._excused if sharp.any() else sharp,
            corner,
            limit,
            "°",
            "A corner of {m:.0f}°; sharper than {l:g}° chips and draws the eye.",
        )

    def hollow(self) -> list[Finding]:
        """Pieces that are not convex."""
        hull = shapely.area(shapely.convex_hull(self.p.polygons))
        full = self.p.area_mm2 / np.maximum(hull, 1e-9)
        limit = self.limits.convex_share
        return self._each(
            "not convex",
            full < limit,
            full,
            limit,
            "of its hull",
            "It is hollow: it fills {m:.3f} of its hull, and cannot be nipped so.",
        )

    def too_big(self) -> list[Finding]:
        """Pieces larger than those around them."""
        limit = self.limits.too_big_times
        return self._each(
            "too big",
            self._by > limit,
            self._by,
            limit,
            "times its neighbours",
            "{m:.2f} times as large as those around it; by more than a third it shows.",
        )

    def too_small(self) -> list[Finding]:
        """Pieces smaller than those around them."""
        limit = self.limits.too_small_times
        small = self._by < limit
        return self._each(
            "too small",
            small & ~self._excused if small.any() else small,
            self._by,
            limit,
            "times its neighbours",
            "{m:.2f} times as large as those around it: too small to hold and nip.",
        )

    def touching(self) -> list[Finding]:
        """Pieces that touch, one of each two."""
        j, p, limit = self.field.laying.joint_mm, self.p.polygons, self.limits.narrow_joint
        whole = self.laid.pieces
        a, b = tree_of(whole).query(p, predicate="dwithin", distance=limit * j)
        once = self.rows[a] < b
        a, b = a[once], b[once]
        if not len(a):
            return []
        least = np.full(len(p), np.inf)
        np.minimum.at(least, a, shapely.distance(p[a], whole.polygons[b]))
        return self._each(
            "touching",
            np.isfinite(least),
            least / j,
            limit,
            "joints",
            "Only {m:.2f} of a joint from its neighbour.",
        )

    def wide(self) -> list[Finding]:
        """Joints too wide, measured from the middle of every side."""
        j, p, limit = self.field.laying.joint_mm, self.p.polygons, self.limits.wide_joint
        xy, _, after, owner = corners(p)
        side = np.hypot(*(after - xy).T) > 0.35 * self._tessera[owner]
        points, owner = shapely.points(((xy + after) / 2)[side]), owner[side]
        inner = ~shapely.dwithin(self._border, points, 1.6 * j)
        points, owner = points[inner], owner[inner]
        i, k = tree_of(self.laid.pieces).query(points, predicate="dwithin", distance=4 * j)
        other = self.rows[owner[i]] != k
        i, k = i[other], k[other]
        gap = np.full(len(points), np.inf)
        np.minimum.at(gap, i, shapely.distance(points[i], self.laid.pieces.polygons[k]))
        widest = np.zeros(len(p))
        np.maximum.at(widest, owner, np.minimum(gap / j, 4.0))
        return self._each(
            "wide joint",
            widest > limit,
            widest,
            limit,
            "joints",
            "A joint {m:.1f} times as wide as the others runs along it.",
        )

    def pools(self) -> list[Finding]:
        """Spots of grout in which a disc of the limit's width finds room."""
        j, limit = self.field.laying.joint_mm, self.limits.pool_joints
        ground = self._ground() if self._ground else (Ground(self._outline, j),)
        found = [f for g in ground for f in g.pools(self.laid.pieces.polygons, limit)]
        found.sort(key=lambda spot: (spot[1], spot[0]))
        return [
            Finding(
                "grout pool",
                self.field.id,
                -1,
                (x, y),
                width,
                limit,
                "joints",
                f"A spot of grout {width:.1f} joints wide.",
            )
            for x, y, width in found
        ]

    def in_line(self) -> list[Finding]:
        """Cross joints that run on through more courses than the limit."""
        p, centre = self.laid.pieces, self.laid.pieces.centre_mm
        pitch = self._wanted + self.field.laying.joint_mm
        left, right = _next_in_course(p, centre, pitch)
        if not len(left):
            return []
        middle = (centre[left] + centre[right]) / 2
        t = centre[right] - centre[left]
        t = unit(t)
        pitch = pitch[left]
        pairs = cKDTree(middle).query_pairs(1.35 * pitch.max(), output_type="ndarray")
        i, k = pairs.T
        v = middle[k] - middle[i]
        along = np.abs((v * t[i]).sum(1))
        across = np.abs(cross(v, t[i]))
        near = np.hypot(*v.T) <= 1.35 * pitch[i]
        on = near & (along < RUN_ON * pitch[i]) & (across > 0.6 * pitch[i])
        on &= p.course[left[i]] != p.course[left[k]]
        n = len(middle)
        graph = coo_array((np.ones(on.sum()), (i[on], k[on])), shape=(n, n))
        _, chain = connected_components(graph, directed=False)
        size = np.bincount(chain)
        limit = self.limits.joints_in_line
        out = []
        for c in np.flatnonzero(size > limit):
            mine = np.flatnonzero(chain == c)
            courses = len(np.unique(p.course[left[mine]]))
            if courses <= limit:
                continue
            mid = mine[np.argsort(middle[mine] @ np.array([0.31, 0.95]))[len(mine) // 2]]
            out.append(
                Finding(
                    "joints in line",
                    self.field.id,
                    int(left[mid]),
                    (float(middle[mid, 0]), float(middle[mid, 1])),
                    float(courses),
                    float(limit),
                    "courses",
                    f"Joints stand in line over {courses} courses; after {limit} they show.",
                    int(right[mid]),
                )
            )
        return out

    def flow(self) -> list[Finding]:
        """Pieces turned against the flow."""
        one, _ = self._boxes
        off = np.degrees(quarter_rad(np.arctan2(one[:, 1], one[:, 0]) - self.p.angle_rad))
        four = shapely.get_num_coordinates(self.p.polygons) == 5
        limit = self.limits.off_flow_deg
        return self._each(
            "off the flow",
            four & self._inner & (off > limit),
            off,
            limit,
            "°",
            "Turned {m:.0f}° from the flow.",
        )

    def ends(self) -> list[Finding]:
        """Course ends inside the field in a triangle, or in a scrap."""
        whole = self.laid.pieces
        order = np.lexsort((whole.piece, whole.course))
        course = whole.course[order]
        first = np.r_[True, course[1:] != course[:-1]]
        last = np.r_[course[1:] != course[:-1], True]
        end = np.zeros(len(whole), bool)
        end[order[first | last]] = True
        end &= whole.course >= 0
        sides = shapely.get_num_coordinates(self.p.polygons) - 1
        limit = self.limits.course_end_times
        scrap = end[self.rows] & ((sides == 3) | (self._by < limit))
        return self._each(
            "course end",
            scrap & self._inner if scrap.any() else scrap,
            self._by,
            limit,
            "times its neighbours",
            "A course ends here in a point or a scrap ({m:.2f} of its neighbours).",
        )

    @cached_property
    def _unmeant(self) -> Bools:
        """Whether a piece's material was not struck as an accent."""
        accent = [k for k, m in enumerate(self.doc.materials) if m.code == self.field.colour.accent]
        return ~np.isin(self.laid.stock[self.rows], accent)

    def too_large(self) -> list[Finding]:
        """Pieces that cannot be cut from what their material is stocked as, or from any."""
        materials, box = self.doc.materials, self.p.box_mm
        if not materials:
            return []
        stock = self.laid.stock[self.rows]
        fits = fitting(materials, self.doc.rates, box)
        may = [m.code in palette_of(self.doc, self.field) for m in materials]
        cut = np.where(stock < 0, fits[:, may].any(axis=1), fits[np.arange(len(box)), stock])
        out = []
        for k in np.flatnonzero(~cut & ((stock >= 0) | any(may))).tolist():
            size = f"It is {box[k, 0]:.1f} x {box[k, 1]:.1f} mm"
            if stock[k] < 0:
                by, words = 9.0, f"{size}; nothing that may be laid here is stocked so large."
            else:
                m = materials[stock[k]]
                blank = blank_of(m, self.doc.rates)
                by = float((box[k] / (blank.long_mm, blank.short_mm)).max())
                words = f"{size}; {m.code} is stocked as {m.length_mm:g} x {m.width_mm:g} mm."
            x, y = self.p.centre_mm[k].tolist()
            index = int(self.rows[k])
            out.append(
                Finding(
                    "too large", self.field.id, index, (x, y), by, 1.0, "times its stock", words
                )
            )
        return out

    def colours(self) -> list[Finding]:
        """Pieces far from the colour wanted."""
        d = np.nan_to_num(self.laid.delta_e[self.rows], nan=0.0)
        limit = self.limits.colour_delta_e
        return self._each(
            "colour",
            (d > limit) & self._unmeant,
            d,
            limit,
            "CIEDE2000",
            "Its material is {m:.1f} from the colour wanted.",
        )

    def lone(self) -> list[Finding]:
        """The only piece of a colour in its field."""
        stock = self.laid.stock
        if len(stock) <= 12:
            return []
        count = np.bincount(stock[stock >= 0], minlength=max(len(self.doc.materials), 1))
        mine = stock[self.rows]
        return self._each(
            "lone colour",
            (mine >= 0) & (count[mine.clip(0)] == 1) & self._unmeant,
            np.ones(len(mine)),
            2.0,
            "pieces",
            "The only piece of its colour in this field.",
        )


_LOOK: dict[str, Callable[[Look], list[Finding]]] = {
    "sliver": Look.slivers,
    "sharp corner": Look.sharp,
    "not convex": Look.hollow,
    "too big": Look.too_big,
    "too small": Look.too_small,
    "touching": Look.touching,
    "wide joint": Look.wide,
    "grout pool": Look.pools,
    "joints in line": Look.in_line,
    "off the flow": Look.flow,
    "course end": Look.ends,
    "too large": Look.too_large,
    "colour": Look.colours,
    "lone colour": Look.lone,
}


_BETWEEN = ("grout pool", "joints in line")  # pieces, and seen in the whole only


@lru_cache(maxsize=32)
def tree_of(pieces: Pieces) -> shapely.STRtree:
    """Return the pieces' tree."""
    return shapely.STRtree(pieces.polygons)


def some_of(p: Pieces, rows: NDArray[np.int64]) -> Pieces:
    """Return some of a field's pieces."""
    return Pieces(p.polygons[rows], p.course[rows], p.piece[rows], p.angle_rad[rows])


def _smallest_corner_deg(p: NDArray[np.object_]) -> Array:
    xy, before, after, owner = corners(p)
    a, b = before - xy, after - xy
    c = (a * b).sum(1) / np.maximum(np.hypot(*a.T) * np.hypot(*b.T), 1e-12)
    out = np.full(len(p), 180.0)
    np.minimum.at(out, owner, np.degrees(np.arccos(c.clip(-1, 1))))
    return out


def _next_in_course(
    p: Pieces, centre: Array, pitch: Array
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    order = np.lexsort((p.piece, p.course))
    step = np.hypot(*np.diff(centre[order], axis=0).T)
    same = (
        (np.diff(p.course[order]) == 0)
        & (step < 2 * pitch[order][:-1])
        & (p.course[order][1:] >= 0)
    )
    return order[:-1][same], order[1:][same]


@lru_cache(maxsize=64)
def _border_of(outline: Outline) -> shapely.Geometry:
    border = polygon_of(outline).boundary
    shapely.prepare(border)
    return border


@lru_cache(maxsize=64)
def _tips_of(outline: Outline) -> shapely.Geometry:
    """Return the corners of an outline so sharp that they force sharp pieces."""
    tips = []
    for part in polygon_of(outline).geoms:
        for ring in (part.exterior, *part.interiors):
            c = shapely.get_coordinates(ring)[:-1]
            u, v = np.roll(c, 1, 0) - c, np.roll(c, -1, 0) - c
            size = np.maximum(np.hypot(*u.T) * np.hypot(*v.T), 1e-12)
            tips.append(c[(u * v).sum(1) / size > np.cos(np.radians(TIP_DEG))])
    found = shapely.MultiPoint(np.concatenate(tips))
    shapely.prepare(found)
    return found
