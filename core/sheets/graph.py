"""Pieces and the joints between them, as a graph: what a seam between two sheets runs along."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph

from core.commission import Commission
from core.errors import Stopped
from core.pieces import Layout

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Shapes = NDArray[np.object_]

JOINTS = 2.5  # joints within which two pieces lie side by side
SIDE = 0.15  # of a piece's side: less is a corner that touches a corner
PAPER_MM = 40.0  # that facing paper carries parts across which share no joint
AT_ONCE = 1000  # pieces whose joints are found before Stop is heard
BARE_KG_MM2 = 10.0 / 1e6  # where no material says how heavy a piece is: glass of 4 mm


@dataclass(frozen=True, slots=True)
class JointGraph:
    """All pieces of a layout, in the order of its fields, and the joints that two of them share.

    Attributes
    ----------
    polygons : ndarray of Polygon, shape (n,)
    bounds : ndarray (n, 4)
        mm.
    area_mm2, kg : ndarray (n,)
    field, course, place : ndarray of int, shape (n,)
        Its field's place in the commission, its course there (-1 for none) and its place along it.
    a, b : ndarray of int, shape (m,)
        The two pieces of each joint.
    length_mm : ndarray (m,)
        How much of the joint they share; 0 where only paper holds them together.
    middle_mm : ndarray (m, 2)
    """

    polygons: Shapes
    bounds: Floats
    area_mm2: Floats
    kg: Floats
    field: Ints
    course: Ints
    place: Ints
    a: Ints
    b: Ints
    length_mm: Floats
    middle_mm: Floats

    def __len__(self) -> int:
        return len(self.polygons)

    @property
    def centre_mm(self) -> Floats:
        """Middle of each piece's box, shape (n, 2)."""
        out: Floats = (self.bounds[:, :2] + self.bounds[:, 2:]) / 2
        return out

    def box_of(self, which: Ints | NDArray[np.bool_]) -> Floats:
        """Return the box about some pieces, shape (4,)."""
        b = self.bounds[which]
        out: Floats = np.r_[b[:, :2].min(axis=0), b[:, 2:].max(axis=0)]
        return out

    def only(self, which: Ints) -> JointGraph:
        """Return some of the pieces, and the joints between them."""
        number = np.full(len(self), -1)
        number[which] = np.arange(len(which))
        a, b = number[self.a], number[self.b]
        on = (a >= 0) & (b >= 0)
        return JointGraph(
            self.polygons[which],
            self.bounds[which],
            self.area_mm2[which],
            self.kg[which],
            self.field[which],
            self.course[which],
            self.place[which],
            a[on],
            b[on],
            self.length_mm[on],
            self.middle_mm[on],
        )

    def parts(self, label: Ints, kept: NDArray[np.bool_] | None = None) -> Ints:
        """Return in which connected part each piece lies, joints between labels left out.

        Parameters
        ----------
        kept : ndarray of bool, shape (m,), optional
            Joints that hold; all where left out.
        """
        on = label[self.a] == label[self.b]
        if kept is not None:
            on &= kept
        n = len(self)
        links = sparse.coo_array((np.ones(on.sum()), (self.a[on], self.b[on])), shape=(n, n))
        found: Ints = csgraph.connected_components(links, directed=False)[1].astype(np.int64)
        return found


def joint_graph(
    doc: Commission, layout: Layout, stop: Callable[[], bool] = lambda: False
) -> JointGraph:
    """Return the joints of a layout.

    Raises
    ------
    core.errors.Stopped
        `stop` answered True.
    """
    laid = [f for f in layout.fields if len(f.pieces)]
    polygons = layout.polygons
    number = {f.id: k for k, f in enumerate(doc.fields)}
    field = np.repeat([number[f.field_id] for f in laid], [len(f.pieces) for f in laid])
    joint = np.array([f.laying.joint_mm for f in doc.fields] or [1.0])
    field = np.asarray(field, np.int64)
    area = shapely.area(polygons)
    heavy = [m.kg_mm2 for m in doc.materials]
    stock = np.concatenate([f.stock for f in laid] or [np.empty(0, np.int64)])
    per_mm2 = np.array([*heavy, float(np.mean(heavy)) if heavy else BARE_KG_MM2])[stock]
    a, b, length, middle = _joints(polygons, area, joint[field], stop)
    graph = JointGraph(
        polygons,
        shapely.bounds(polygons).reshape(-1, 4),
        area,
        area * per_mm2,
        field,
        np.concatenate([f.pieces.course for f in laid] or [np.empty(0, np.int64)]),
        np.concatenate([f.pieces.piece for f in laid] or [np.empty(0, np.int64)]),
        a,
        b,
        length,
        middle,
    )
    return held_by_paper(graph)


def _joints(
    polygons: Shapes, area: Floats, joint: Floats, stop: Callable[[], bool]
) -> tuple[Ints, Ints, Floats, Floats]:
    """Return which pieces lie side by side, how far, and the middle of the joint between them."""
    tree = shapely.STRtree(polygons)
    found = []
    for begin in range(0, len(polygons), AT_ONCE):
        if stop():
            raise Stopped
        some = np.arange(begin, min(begin + AT_ONCE, len(polygons)))
        found.append(_joints_of(some, tree, area, joint))
    if not found:
        none = np.empty(0, np.int64)
        return none, none, np.empty(0), np.empty((0, 2))
    a, b, length, middle = (np.concatenate(column) for column in zip(*found, strict=True))
    return a, b, length, middle


def _joints_of(
    some: Ints, tree: shapely.STRtree, area: Floats, joint: Floats
) -> tuple[Ints, Ints, Floats, Floats]:
    """Return the joints of some pieces: those that are seen from them."""
    polygons = tree.geometries
    wide = shapely.buffer(polygons[some], JOINTS * joint[some], quad_segs=2)
    of, b = tree.query(wide, predicate="intersects")
    a = some[of]
    # each pair once, as seen from the piece of the wider joint
    once = (joint[a] > joint[b]) | ((joint[a] == joint[b]) & (a < b))
    once &= a != b
    of, a, b = of[once], a[once], b[once]
    facing = shapely.intersection(shapely.get_exterior_ring(polygons[b]), wide[of])
    length = shapely.length(facing) - 2 * shapely.distance(polygons[a], polygons[b])
    side = length > SIDE * np.sqrt(np.minimum(area[a], area[b]))
    a, b, length, facing = a[side], b[side], length[side], facing[side]
    ends = shapely.get_coordinates(shapely.shortest_line(shapely.centroid(facing), polygons[a]))
    middle = ends.reshape(-1, 2, 2).mean(axis=1)
    return a, b, length, middle


def held_by_paper(graph: JointGraph) -> JointGraph:
    """Return a graph in which parts that lie near one another hang together by the paper."""
    part = graph.parts(np.zeros(len(graph), np.int64))
    while part.max(initial=0) > 0:
        whole = np.bincount(part)
        small = np.flatnonzero(part != whole.argmax())
        tree = shapely.STRtree(graph.polygons)
        near = tree.query(graph.polygons[small], predicate="dwithin", distance=PAPER_MM)
        a, b = small[near[0]], near[1]
        apart = part[a] != part[b]
        a, b = a[apart], b[apart]
        if not len(a):
            break
        far = shapely.distance(graph.polygons[a], graph.polygons[b])
        order = np.lexsort((far, part[a]))  # of each part the nearest
        first = order[np.unique(part[a][order], return_index=True)[1]]
        a, b = a[first], b[first]
        link = shapely.shortest_line(graph.polygons[a], graph.polygons[b])
        graph = replace(
            graph,
            a=np.r_[graph.a, a],
            b=np.r_[graph.b, b],
            length_mm=np.r_[graph.length_mm, np.zeros(len(a))],
            middle_mm=np.r_[
                graph.middle_mm,
                shapely.get_coordinates(shapely.line_interpolate_point(link, 0.5, normalized=True)),
            ],
        )
        part = graph.parts(np.zeros(len(graph), np.int64))
    return graph
