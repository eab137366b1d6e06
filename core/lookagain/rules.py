"""The rules by which laid pieces are looked at again. All pieces of a field at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely import MultiPolygon

from core.commission import Commission, Field, Limits
from core.errors import Stopped
from core.geometry import polygon_of
from core.lookagain.finding import Finding
from core.pieces import LaidField, Layout, Pieces

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
NEIGHBOURS = 8
IN_LINE = 0.12  # pitches within which two cross joints stand in line
TIP_DEG = 60.0  # a field's own corner sharper than this forces sharp pieces
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


def look_at(
    doc: Commission, field: Field, laid: LaidField, about: shapely.Geometry | None = None
) -> list[Finding]:
    """Return the findings of one field; spots of grout only `about` a place, where one is given."""
    p, limits = laid.pieces, doc.limits
    if not len(p):
        return []
    look = _Look(field, p, limits)
    cut = field.pieces == "cut"
    if cut and field.laying != "sectile":
        look.shapes()
        look.sizes()
    look.joints()
    if cut:
        look.pools(about)
    if cut and field.laying in ("tessellatum", "vermiculatum", "musivum", "classicum"):
        look.in_line()
        look.flow()
        look.ends()
    look.colours(doc, laid)
    return look.found


class _Look:
    """A field's pieces, measured once for all rules."""

    def __init__(self, field: Field, pieces: Pieces, limits: Limits) -> None:
        self.field, self.p, self.limits = field, pieces, limits
        self.found: list[Finding] = []
        self.outline = polygon_of(field.outline)
        self.border = self.outline.boundary
        self.pitch = field.tessera_mm + field.joint_mm
        self.area = pieces.area_mm2
        self.centre = pieces.centre_mm
        n = len(pieces)
        k = min(NEIGHBOURS + 1, n)
        near = np.asarray(cKDTree(self.centre).query(self.centre, k=k)[1]).reshape(n, k)
        self.usual = np.median(self.area[near], axis=1)
        boxes = shapely.get_coordinates(shapely.oriented_envelope(pieces.polygons))
        c = boxes.reshape(n, -1, 2)
        one, two = c[:, 1] - c[:, 0], c[:, 2] - c[:, 1]
        a, b = np.hypot(*one.T), np.hypot(*two.T)
        self.width, self.length = np.minimum(a, b), np.maximum(a, b)
        self.axis = np.arctan2(one[:, 1], one[:, 0])
        self.near = near
        self.from_border = np.asarray(shapely.distance(pieces.polygons, self.border))
        self.excused = _at_tips(self.outline, pieces.polygons, 1.2 * self.pitch)

    def add(
        self,
        rule: str,
        which: Bools,
        measured: Array,
        limit: float,
        unit: str,
        sentence: str,
    ) -> None:
        """Add a finding for each piece chosen; {m} and {l} in the sentence are the figures."""
        for k in np.flatnonzero(which):
            self.found.append(
                Finding(
                    rule,
                    self.field.id,
                    int(k),
                    (float(self.centre[k, 0]), float(self.centre[k, 1])),
                    float(measured[k]),
                    limit,
                    unit,
                    sentence.format(m=float(measured[k]), l=limit),
                )
            )

    def shapes(self) -> None:
        """Slivers, sharp corners and pieces that are not convex."""
        w = self.width / self.field.tessera_mm
        if self.field.hug_tessera_mm and self.field.laying in ("vermiculatum", "classicum"):
            w = self.width / min(self.field.hug_tessera_mm, self.field.tessera_mm)
        limit = self.limits.sliver_tesserae
        self.add(
            "sliver",
            (w < limit) & ~self.excused,
            w,
            limit,
            "tesserae",
            "Only {m:.2f} of a tessera wide; narrower than {l:g} breaks or shows as a line.",
        )
        corner = _smallest_corner_deg(self.p.polygons)
        limit = self.limits.sharp_deg
        self.add(
            "sharp corner",
            (corner < limit) & ~self.excused,
            corner,
            limit,
            "°",
            "A corner of {m:.0f}°; sharper than {l:g}° chips and draws the eye.",
        )
        full = self.area / np.maximum(shapely.area(shapely.convex_hull(self.p.polygons)), 1e-9)
        limit = self.limits.convex_share
        self.add(
            "not convex",
            full < limit,
            full,
            limit,
            "of its hull",
            "It is hollow: it fills {m:.3f} of its hull, and cannot be nipped so.",
        )

    def sizes(self) -> None:
        """Pieces larger or smaller than those around them."""
        by = self.area / np.maximum(self.usual, 1e-9)
        if self.field.laying == "palladianum":
            return
        limit = self.limits.too_big_times
        self.add(
            "too big",
            by > limit,
            by,
            limit,
            "times its neighbours",
            "{m:.2f} times as large as those around it; by more than a third it shows.",
        )
        limit = self.limits.too_small_times
        self.add(
            "too small",
            (by < limit) & ~self.excused,
            by,
            limit,
            "times its neighbours",
            "{m:.2f} times as large as those around it: too small to hold and nip.",
        )

    def joints(self) -> None:
        """Pieces that touch, and joints too wide, measured from the middle of every side."""
        j = self.field.joint_mm
        tree = shapely.STRtree(self.p.polygons)
        a, b = tree.query(
            self.p.polygons, predicate="dwithin", distance=self.limits.narrow_joint * j
        )
        a, b = a[a < b], b[a < b]
        if len(a):
            gap = shapely.distance(self.p.polygons[a], self.p.polygons[b])
            least = np.full(len(self.p), np.inf)
            np.minimum.at(least, a, gap)
            shown = np.where(np.isfinite(least), least / j, 9.0)
            limit = self.limits.narrow_joint
            self.add(
                "touching",
                np.isfinite(least),
                shown,
                limit,
                "joints",
                "Only {m:.2f} of a joint from its neighbour.",
            )
        xy, _, after, owner = _corners(self.p.polygons)
        length = np.hypot(*(after - xy).T)
        side = length > 0.35 * self.field.tessera_mm
        middle, owner = ((xy + after) / 2)[side], owner[side]
        points = np.asarray(shapely.points(middle), dtype=object)
        inner = shapely.distance(points, self.border) > 1.6 * j
        points, owner, middle = points[inner], owner[inner], middle[inner]
        i, k = tree.query(points, predicate="dwithin", distance=4 * j)
        other = owner[i] != k
        gap = np.full(len(points), np.inf)
        np.minimum.at(gap, i[other], shapely.distance(points[i[other]], self.p.polygons[k[other]]))
        widest = np.zeros(len(self.p))
        np.maximum.at(widest, owner, np.minimum(gap / j, 4.0))
        limit = self.limits.wide_joint
        if self.field.pieces == "cut":
            self.add(
                "wide joint",
                widest > limit,
                widest,
                limit,
                "joints",
                "A joint {m:.1f} times as wide as the others runs along it.",
            )

    def pools(self, about: shapely.Geometry | None = None) -> None:
        """Spots of grout in which a disc of the limit's width finds room."""
        j, limit = self.field.joint_mm, self.limits.pool_joints
        outline = self.outline
        if about is not None:
            seen = shapely.intersection(outline, about)
            parts = [g for g in shapely.get_parts([seen]) if g.geom_type == "Polygon"]
            outline = MultiPolygon([g for g in parts if g.area > 0])
            if outline.is_empty:
                return
        for x, y, width in grout_pools(outline, self.p.polygons, j, limit):
            self.found.append(
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
            )

    def in_line(self) -> None:
        """Cross joints that run on through more courses than the limit."""
        left, right = _next_in_course(self.p, self.centre, self.pitch)
        if not len(left):
            return
        middle = (self.centre[left] + self.centre[right]) / 2
        t = self.centre[right] - self.centre[left]
        t /= np.maximum(np.hypot(*t.T), 1e-9)[:, None]
        pairs = cKDTree(middle).query_pairs(1.35 * self.pitch, output_type="ndarray")
        i, k = pairs.T
        v = middle[k] - middle[i]
        along = np.abs((v * t[i]).sum(1))
        across = np.abs(v[:, 1] * t[i, 0] - v[:, 0] * t[i, 1])
        on = (along < IN_LINE * self.pitch) & (across > 0.6 * self.pitch)
        on &= self.p.course[left[i]] != self.p.course[left[k]]
        n = len(middle)
        graph = coo_array((np.ones(on.sum()), (i[on], k[on])), shape=(n, n))
        _, chain = connected_components(graph, directed=False)
        size = np.bincount(chain)
        limit = self.limits.joints_in_line
        for c in np.flatnonzero(size > limit):
            mine = np.flatnonzero(chain == c)
            courses = len(np.unique(self.p.course[left[mine]]))
            if courses <= limit:
                continue
            mid = mine[np.argsort(middle[mine] @ np.array([0.31, 0.95]))[len(mine) // 2]]
            self.found.append(
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

    def flow(self) -> None:
        """Pieces turned against the flow."""
        off = np.abs(_quarter_deg(self.axis - self.p.angle_rad))
        four = shapely.get_num_coordinates(self.p.polygons) == 5
        inner = self.from_border > HALF_HIDDEN * self.pitch
        limit = self.limits.off_flow_deg
        self.add(
            "off the flow",
            four & inner & (off > limit),
            off,
            limit,
            "°",
            "Turned {m:.0f}° from the flow.",
        )

    def ends(self) -> None:
        """Course ends inside the field in a triangle, or in a scrap."""
        order = np.lexsort((self.p.piece, self.p.course))
        course = self.p.course[order]
        first = np.r_[True, course[1:] != course[:-1]]
        last = np.r_[course[1:] != course[:-1], True]
        end = np.zeros(len(self.p), bool)
        end[order[first | last]] = True
        corners = shapely.get_num_coordinates(self.p.polygons) - 1
        by = self.area / np.maximum(self.usual, 1e-9)
        inner = self.from_border > HALF_HIDDEN * self.pitch
        limit = self.limits.course_end_times
        self.add(
            "course end",
            end & (self.p.course >= 0) & inner & ((corners == 3) | (by < limit)),
            by,
            limit,
            "times its neighbours",
            "A course ends here in a point or a scrap ({m:.2f} of its neighbours).",
        )

    def colours(self, doc: Commission, laid: LaidField) -> None:
        """Pieces far from the colour wanted, and the only piece of a colour."""
        d = np.nan_to_num(laid.delta_e, nan=0.0)
        # materials that were chosen by hand or struck as accents are meant
        stock = laid.stock
        accent = [k for k, m in enumerate(doc.materials) if m.code == self.field.accent]
        meant = np.isin(stock, accent)
        limit = self.limits.colour_delta_e
        self.add(
            "colour",
            (d > limit) & ~meant,
            d,
            limit,
            "CIEDE2000",
            "Its material is {m:.1f} from the colour wanted.",
        )
        if self.limits.lone_piece and len(laid.pieces) > 12:
            count = np.bincount(stock[stock >= 0], minlength=max(len(doc.materials), 1))
            lone = (stock >= 0) & (count[stock.clip(0)] == 1) & ~meant
            self.add(
                "lone colour",
                lone,
                np.ones(len(stock)),
                2.0,
                "pieces",
                "The only piece of its colour in this field.",
            )


def grout_pools(
    outline: shapely.MultiPolygon, polygons: NDArray[np.object_], joint: float, limit: float
) -> list[tuple[float, float, float]]:
    """Return (x, y, width in joints) of spots of grout wider than `limit` joints."""
    # what is laid beyond the border stands off it by half a joint, and bounds a pool as well
    room = shapely.buffer(outline, joint / 2, join_style="mitre")
    x0, y0, x1, y1 = room.bounds
    px = max(joint / 4, float(np.sqrt((x1 - x0) * (y1 - y0) / 1.2e7)))
    x0, y0 = np.floor(x0 / px) * px, np.floor(y0 / px) * px  # a part has the whole's pixels
    size = (int((x1 - x0) / px) + 3, int((y1 - y0) / px) + 3)

    def picture(rings: Iterable[shapely.Geometry], holes: Iterable[shapely.Geometry]) -> Bools:
        image = Image.new("1", size)
        pen = ImageDraw.Draw(image)
        for colour, lines in ((1, rings), (0, holes)):
            for ring in lines:
                c = (shapely.get_coordinates(ring) - (x0, y0)) / px + 1
                pen.polygon([(x, y) for x, y in c.tolist()], fill=colour)
        return np.asarray(image)

    parts = shapely.get_parts([room]).tolist()
    bare = picture([p.exterior for p in parts], [hole for p in parts for hole in p.interiors])
    bare = bare & ~picture(shapely.get_exterior_ring(polygons), ())
    # a disc holds a square: where no square fits, distances need not be measured
    radius = limit / 2 * joint / px + 0.7
    half = max(int(radius / np.sqrt(2)) - 1, 0)
    fits = ndimage.minimum_filter(bare.astype(np.uint8), 2 * half + 1, mode="constant")
    spots, _ = ndimage.label(fits)
    margin = int(3 * radius)
    out = []
    for k, (rows, columns) in enumerate(ndimage.find_objects(spots), 1):
        top, left = max(rows.start - margin, 0), max(columns.start - margin, 0)
        window = np.s_[top : rows.stop + margin, left : columns.stop + margin]
        far = ndimage.distance_transform_edt(np.pad(bare[window], 1))[1:-1, 1:-1]
        deep = np.where(spots[window] == k, far, 0.0)
        y, x = np.unravel_index(int(deep.argmax()), deep.shape)
        at = (x0 + (left + int(x) - 1) * px, y0 + (top + int(y) - 1) * px)
        if deep[y, x] > radius and shapely.intersects_xy(outline, *at):
            out.append((*at, 2 * float(deep[y, x]) * px / joint))
    return out


def _corners(p: NDArray[np.object_]) -> tuple[Array, Array, Array, NDArray[np.int64]]:
    xy, owner = shapely.get_coordinates(shapely.get_exterior_ring(p), return_index=True)
    open_ring = np.r_[owner[1:] == owner[:-1], False]
    xy, owner = xy[open_ring], owner[open_ring]
    first = np.searchsorted(owner, np.arange(len(p)))
    last = np.r_[first[1:], len(xy)] - 1
    before, after = np.arange(len(xy)) - 1, np.arange(len(xy)) + 1
    before[first], after[last] = last, first
    return xy, xy[before], xy[after], owner


def _smallest_corner_deg(p: NDArray[np.object_]) -> Array:
    xy, before, after, owner = _corners(p)
    a, b = before - xy, after - xy
    c = (a * b).sum(1) / np.maximum(np.hypot(*a.T) * np.hypot(*b.T), 1e-12)
    out = np.full(len(p), 180.0)
    np.minimum.at(out, owner, np.degrees(np.arccos(c.clip(-1, 1))))
    return out


def _quarter_deg(angle: Array) -> Array:
    out: Array = np.degrees((angle + np.pi / 4) % (np.pi / 2) - np.pi / 4)
    return out


def _next_in_course(
    p: Pieces, centre: Array, pitch: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    order = np.lexsort((p.piece, p.course))
    step = np.hypot(*np.diff(centre[order], axis=0).T)
    same = (np.diff(p.course[order]) == 0) & (step < 2 * pitch) & (p.course[order][1:] >= 0)
    return order[:-1][same], order[1:][same]


def _at_tips(outline: shapely.MultiPolygon, p: NDArray[np.object_], far: float) -> Bools:
    """Say which pieces lie at a corner of the outline so sharp that it forces a sharp piece."""
    tips = []
    for part in outline.geoms:
        for ring in (part.exterior, *part.interiors):
            c = shapely.get_coordinates(ring)[:-1]
            u, v = np.roll(c, 1, 0) - c, np.roll(c, -1, 0) - c
            size = np.maximum(np.hypot(*u.T) * np.hypot(*v.T), 1e-12)
            tips.append(c[(u * v).sum(1) / size > np.cos(np.radians(TIP_DEG))])
    sharp = np.concatenate(tips)
    if not len(sharp):
        return np.zeros(len(p), bool)
    return np.asarray(shapely.distance(p, shapely.multipoints(sharp)) <= far)
