"""Pieces in patches that are laid before their putty sets: which, in what order, how much to mix.

A patch is made of whole runs of courses: consecutive pieces of one course that lie side by side.
Only a run that takes longer than the putty stays workable is cut, at joints, into parts alike
long. A patch grows by the run that has most of its joints with what is laid already, so that
patches are compact and leave no holes; when no run beside it can be laid in the time that is left,
the next is begun. So putty ends along joints, mostly between two courses or at a course's end.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import sparse

from core.commission import Commission
from core.errors import Stopped
from core.figures import EFFORT
from core.figures.pace import paces
from core.sheets.graph import Floats, Ints, JointGraph, held_by_paper

BY_PAPER_MM = 1e-3  # of joint: what two runs share that lie near one another and touch nowhere
FINE = 3  # digits of a share of joint that tell


@dataclass(frozen=True, slots=True)
class Patch:
    """What is laid with one mix of putty or adhesive.

    Attributes
    ----------
    which : ndarray of int
        Its pieces, as places in the graph that was divided, run by run in the order of laying.
    seconds : float
        To lay them; more than the putty's time only where one piece alone takes longer.
    area_mm2 : float
        Of the bed: the pieces with half of the joints about them.
    kg : float
        Of putty or adhesive for that bed, as deep as the commission's rates say.
    """

    which: Ints
    seconds: float
    area_mm2: float
    kg: float

    @property
    def pieces(self) -> int:
        """How many are laid."""
        return len(self.which)


def seconds_each(doc: Commission, graph: JointGraph) -> Floats:
    """Return how long each piece of a graph takes to lay, shape (n,): rate, way of laying, and the
    studio's own pace where it was measured.
    """
    known = paces(doc)
    opus = [f.laying.opus for f in doc.fields]
    times = np.array([EFFORT.get(o, 1.0) * known.share_of_laying(o) for o in opus])
    out: Floats = doc.rates.seconds_a_piece * times[graph.field]
    return out


def patches(
    doc: Commission, graph: JointGraph, stop: Callable[[], bool] = lambda: False
) -> tuple[Patch, ...]:
    """Return pieces in patches, in the order of laying; each piece is in one.

    Each patch is laid within `doc.rates.putty_minutes` at `doc.rates.seconds_a_piece` times the
    effort of each field's laying. Fields with a motif are laid before those without, else in the
    document's order, and each from its upper left; a patch goes on into the next field only where
    that lies beside it and time is left. The same graph gives the same patches.

    Parameters
    ----------
    doc : Commission
    graph : JointGraph
        The pieces to lay: those of a whole layout (`core.sheets.graph.joint_graph`), or of one
        field or one sheet by `graph.only(which)`.
    stop : callable
        Asked now and then.

    Returns
    -------
    tuple of Patch
        Empty where there is no piece.

    Raises
    ------
    core.errors.Stopped
        `stop` answered True.
    """
    if not len(graph):
        return ()
    graph = held_by_paper(graph)  # what lies near is laid together, as in one sheet
    seconds, limit = seconds_each(doc, graph), 60.0 * doc.rates.putty_minutes
    run = _runs(graph, seconds, limit)
    motif = np.array([not f.motif for f in doc.fields], bool)
    own = _Runs.of(graph, run, seconds, motif)
    patch = _merged(_grown(own, limit, stop), own, limit)
    joint = np.array([f.laying.joint_mm for f in doc.fields])[graph.field]
    bed = shapely.area(shapely.buffer(graph.polygons, joint / 2, join_style="mitre"))
    per_mm2 = doc.rates.goods.bed_mm(doc.rates.bed_mm) * doc.rates.adhesive_kg_m2_mm / 1e6
    pieces = _members(run, graph.place)
    out = []
    for runs in patch:
        which = np.concatenate([pieces[r] for r in runs])
        area = float(bed[which].sum())
        out.append(Patch(which, float(seconds[which].sum()), area, area * per_mm2))
    return tuple(out)


def _runs(graph: JointGraph, seconds: Floats, limit: float) -> Ints:
    """Return the number of each piece's run, shape (n,); none takes longer than the limit."""
    n = len(graph)
    alone = graph.course < 0
    # pieces of no course are each a run of their own
    key = np.stack([graph.field, np.where(alone, -1 - np.arange(n), graph.course)], axis=1)
    course = np.unique(key, axis=0, return_inverse=True)[1].ravel()
    part = graph.parts(course, graph.length_mm > 0)
    order = np.lexsort((graph.place, part))
    begin = np.searchsorted(part[order], part[order])
    nth = np.empty(n, np.int64)
    nth[order] = np.arange(n) - begin
    many = np.bincount(part)[part]
    with np.errstate(divide="ignore"):
        most = np.maximum(1, np.minimum(limit / seconds, n).astype(np.int64))
    cut = -(-many // most)
    key = np.stack([part, nth * cut // many], axis=1)
    return np.unique(key, axis=0, return_inverse=True)[1].ravel().astype(np.int64)


@dataclass(frozen=True, slots=True)
class _Runs:
    """Runs to be gathered: (r,) each, and how much joint any two share, mm.

    `rank` is the place of each when they are ordered by field and from the upper left.
    """

    seconds: Floats
    field: Ints
    rank: Ints
    shared: sparse.csr_array
    whole: Floats

    @staticmethod
    def of(graph: JointGraph, run: Ints, seconds: Floats, later: NDArray[np.bool_]) -> _Runs:
        r = int(run.max()) + 1
        first = np.full(r, len(graph))
        np.minimum.at(first, run, np.arange(len(graph)))
        field = graph.field[first]
        top = np.full((r, 2), np.inf)
        np.minimum.at(top, run, np.round(graph.bounds[:, :2], FINE))
        rank = np.empty(r, np.int64)
        rank[np.lexsort((top[:, 0], top[:, 1], field, later[field]))] = np.arange(r)
        one, two = run[graph.a], run[graph.b]
        on = one != two
        one, two = np.r_[one[on], two[on]], np.r_[two[on], one[on]]
        joint = np.tile(np.maximum(graph.length_mm[on], BY_PAPER_MM), 2)
        shared = sparse.coo_array((joint, (one, two)), shape=(r, r)).tocsr()
        took, whole = np.bincount(run, seconds), np.asarray(shared.sum(axis=1))
        return _Runs(took.astype(float), field, rank, shared, whole.astype(float))

    def beside(self, k: int) -> tuple[list[int], list[float]]:
        """Return the runs beside one, and the joint that each shares with it."""
        s = slice(self.shared.indptr[k], self.shared.indptr[k + 1])
        return self.shared.indices[s].tolist(), self.shared.data[s].tolist()


def _grown(own: _Runs, limit: float, stop: Callable[[], bool]) -> list[list[int]]:
    """Return runs in patches, each grown from the run that is next to be laid."""
    r = len(own.seconds)
    laid = [False] * r
    joined = [0.0] * r  # of each run's joints, with what is laid
    rank, seconds, whole = own.rank.tolist(), own.seconds.tolist(), own.whole.tolist()
    field = own.field.tolist()
    of_field = np.empty(r, np.int64)  # the rank of the first run of its field
    for f in np.unique(own.field).tolist():
        of_field[own.field == f] = own.rank[own.field == f].min()
    field_rank = of_field.tolist()

    def key(k: int) -> tuple[int, float, int]:
        return field_rank[k], -round(joined[k] / whole[k], FINE) if whole[k] else 0.0, rank[k]

    waiting = [(*key(k), k) for k in range(r)]
    heapq.heapify(waiting)
    out: list[list[int]] = []
    while waiting:
        *_, start = heapq.heappop(waiting)
        if laid[start]:
            continue
        if stop():
            raise Stopped
        mine, time = list[int](), 0.0
        near: set[int] = set()
        k: int | None = start
        while k is not None:
            laid[k] = True
            mine.append(k)
            time += seconds[k]
            for n, mm in zip(*own.beside(k), strict=True):
                joined[n] += mm
                if not laid[n]:
                    near.add(n)
                    heapq.heappush(waiting, (*key(n), n))
            near.discard(k)
            fit = [n for n in near if time + seconds[n] <= limit * (1 + 1e-9)]
            # a field is finished before the next is begun
            k = min(fit, key=lambda n: (field[n] != field[start], *key(n)[1:]), default=None)
        out.append(mine)
    return out


def _merged(patch: list[list[int]], own: _Runs, limit: float) -> list[list[int]]:
    """Return patches joined to a neighbour, the smallest first, while both are laid in the time."""
    of = np.empty(len(own.seconds), np.int64)
    for p, runs in enumerate(patch):
        of[runs] = p
    n = len(patch)
    members = sparse.coo_array((np.ones(len(of)), (of, np.arange(len(of)))), shape=(n, len(of)))
    shared = (members @ own.shared @ members.T).tocoo()
    beside: list[dict[int, float]] = [{} for _ in patch]
    for p, q, mm in zip(*shared.coords, shared.data, strict=True):
        if p != q:
            beside[int(p)][int(q)] = round(float(mm), FINE)
    seconds = [float(own.seconds[runs].sum()) for runs in patch]
    todo = [(s, p) for p, s in enumerate(seconds)]
    heapq.heapify(todo)
    out: list[list[int] | None] = list(patch)
    while todo:
        took, p = heapq.heappop(todo)
        if out[p] is None or took != seconds[p]:
            continue
        fit = [q for q in beside[p] if took + seconds[q] <= limit * (1 + 1e-9)]
        if not fit:
            continue
        q = max(fit, key=lambda q: (beside[p][q], -q))
        # the earlier keeps its place in the order
        keep, gone = min(p, q), max(p, q)
        out[keep] = [*(out[keep] or ()), *(out[gone] or ())]
        out[gone] = None
        seconds[keep] += seconds[gone]
        for other, mm in beside[gone].items():
            del beside[other][gone]
            if other != keep:
                both = beside[keep].get(other, 0.0) + mm
                beside[keep][other] = beside[other][keep] = both
        heapq.heappush(todo, (seconds[keep], keep))
    return [runs for runs in out if runs is not None]


def _members(run: Ints, place: Ints) -> list[Ints]:
    """Return the pieces of each run, from one end to the other."""
    order = np.lexsort((place, run))
    edges = np.r_[np.searchsorted(run[order], np.arange(run.max() + 1)), len(run)]
    return [order[a:b] for a, b in pairwise(edges.tolist())]
