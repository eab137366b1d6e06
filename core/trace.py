"""Traces fields from the sketch: its flat areas of colour, with borders in common.

Paper grain, wash and pencil line are evened out first. Each border between two areas is found
once, smoothed once and used for both, so the fields leave no gap and never overlap.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely import LineString, MultiPolygon

from core.colour.convert import LINEAR_OF_BYTE, lab_from_linear
from core.colour.difference import ciede2000
from core.commission import Commission, Field, next_id
from core.coverage import knit, polygons_of
from core.errors import EmblemaError, Stopped
from core.fields import LEAST_MM2, areas, whole_work
from core.geometry import SNAP_MM, outline_of
from core.pictures import read_image
from core.sketch import to_mm

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

WORK_PX = 1100  # longest side that is traced; borders are found between its pixels
MOST_COLOURS = 16
ENOUGH = 3.0  # mean CIEDE2000 of the picture to its colours at which there are enough of them,
FAR = 9.0  # where no more than
FEW = 0.01  # of it lies further off than FAR


@dataclass(frozen=True, slots=True)
class Traced:
    """A new document and the fields that were traced."""

    doc: Commission
    field_ids: tuple[str, ...]
    notes: tuple[str, ...] = ()


def trace(
    doc: Commission,
    images: Mapping[str, bytes],
    colours: int | None = None,
    smallest_mm2: float = 400.0,
    smooth: float = 1.0,
    stop: Callable[[], bool] = lambda: False,
) -> Traced:
    """Find the sketch's flat areas of colour and make each a field beneath those already drawn.

    Parameters
    ----------
    colours : int or None
        Flat colours to look for; None finds how many there are.
    smallest_mm2 : float
        Areas smaller than this go to the neighbour they are most like.
    smooth : float
        How smooth borders run: 0 follows the pixels, 1 is a steady hand, 3 is very even.

    Raises
    ------
    EmblemaError
        There is no sketch, or nothing of it lies on the work.
    core.errors.Stopped
        `stop` answered True.
    """
    sketch = doc.sketch
    if sketch is None or sketch.image not in images:
        raise EmblemaError("There is no sketch to trace: bring one in first.")
    if colours is not None and not 2 <= colours <= 64:
        raise EmblemaError("Trace 2 to 64 colours.")
    pixels = read_image(images[sketch.image], "sketch")
    small, px_step = _brought_down(pixels)
    mm_per_px = sketch.mm_per_px * px_step
    _check(stop)
    lab = _flattened(small)
    _check(stop)
    labels = _clustered(lab, colours, smooth)
    _check(stop)
    regions = _without_specks(labels, lab, smallest_mm2 / mm_per_px**2)
    _check(stop)
    shapes, numbers = _outlines(regions, smooth)
    placed = [shapely.transform(s, lambda xy: to_mm(sketch, xy * px_step)) for s in shapes]
    _check(stop)
    return _as_fields(doc, placed, [lab[regions == n].mean(0) for n in numbers])


def _check(stop: Callable[[], bool]) -> None:
    if stop():
        raise Stopped


def _brought_down(pixels: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], float]:
    """Return the picture at most WORK_PX long, and how many of its pixels one then is."""
    from PIL import Image

    h, w = pixels.shape[:2]
    by = max(1.0, max(h, w) / WORK_PX)
    if by == 1.0:
        return pixels, 1.0
    size = (max(1, round(w / by)), max(1, round(h / by)))
    small = Image.fromarray(pixels).resize(size, Image.Resampling.BOX)
    return np.asarray(small), w / size[0]


def _flattened(pixels: NDArray[np.uint8]) -> Array:
    """Return CIELAB with pencil lines closed and grain evened out, shape (h, w, 3)."""
    lab = lab_from_linear(LINEAR_OF_BYTE[pixels])
    lab[..., 0] = ndimage.grey_closing(lab[..., 0], (5, 5))  # lines darker than both their sides
    for k in range(3):
        lab[..., k] = ndimage.median_filter(lab[..., k], 5)
    return lab


def _clustered(lab: Array, colours: int | None, smooth: float) -> Ints:
    """Return each pixel's colour number; borders lie where two colours are equally near."""
    from scipy.cluster.vq import kmeans2

    rng = np.random.default_rng(1)
    flat = lab.reshape(-1, 3)
    sample = flat[rng.choice(len(flat), min(len(flat), 12_000), replace=False)]
    spread = float(np.sqrt(sample.var(axis=0).sum()))
    if spread < 1.0:
        return np.zeros(lab.shape[:2], np.int64)
    tries = [colours] if colours else range(3, MOST_COLOURS + 1)
    centres = sample[:1]
    for k in tries:
        found = min(
            (kmeans2(sample, k, minit="++", seed=s, missing="warn", iter=20) for s in (1, 2)),
            key=lambda r: float(((sample - r[0][r[1]]) ** 2).sum()),
        )
        centres = found[0][np.unique(found[1])]
        off = ciede2000(sample, found[0][found[1]])
        if float(off.mean()) < ENOUGH and float((off > FAR).mean()) < FEW:
            break
    centres = _unlike(centres)
    best = np.full(lab.shape[:2], np.inf)
    label = np.zeros(lab.shape[:2], np.int64)
    for n, centre in enumerate(centres):
        # how ill the colour fits around here, not only at the pixel: grain does not decide
        misfit = np.minimum(((lab - centre) ** 2).sum(-1), 900.0)
        misfit = ndimage.gaussian_filter(misfit, 1.0 + smooth)
        better = misfit < best
        label[better], best[better] = n, misfit[better]
    return label


def _unlike(centres: Array, least: float = 3.0) -> Array:
    """Leave out colours that the eye would hardly tell from one already there."""
    kept: list[Array] = []
    for c in centres:
        if not kept or float(ciede2000(c, np.array(kept)).min()) > least:
            kept.append(c)
    return np.array(kept)


def _without_specks(labels: Ints, lab: Array, smallest_px: float) -> Ints:
    """Return region numbers; small or thin regions are given to the neighbour most like them."""
    from skimage.measure import label as connected

    regions = connected(labels, background=-1, connectivity=1) - 1
    n = int(regions.max()) + 1
    area = np.bincount(regions.ravel(), minlength=n).astype(float)
    mean = np.stack(
        [np.bincount(regions.ravel(), lab[..., k].ravel(), n) / area for k in range(3)], axis=1
    )
    shared: dict[int, dict[int, int]] = defaultdict(dict)
    perimeter = np.zeros(n)
    for a, b in ((regions[:, :-1], regions[:, 1:]), (regions[:-1], regions[1:])):
        apart = a != b
        pairs, count = np.unique(np.stack([a[apart], b[apart]]), axis=1, return_counts=True)
        for (i, j), c in zip(pairs.T, count, strict=True):
            shared[int(i)][int(j)] = shared[int(i)].get(int(j), 0) + int(c)
            shared[int(j)][int(i)] = shared[int(j)].get(int(i), 0) + int(c)
    for i, near in shared.items():
        perimeter[i] = sum(near.values())
    thin = 0.18 * np.sqrt(smallest_px)

    def small(i: int) -> bool:
        narrow = 2 * area[i] / max(perimeter[i], 1.0) < thin
        return bool(area[i] < smallest_px or (narrow and area[i] < 20 * smallest_px))

    owner = np.arange(n)
    queue = [(area[i], i) for i in range(n) if small(i)]
    heapq.heapify(queue)
    while queue:
        size, i = heapq.heappop(queue)
        if owner[i] != i or size != area[i] or not shared[i] or not small(i):
            continue
        beside = list(shared[i])
        unlike = ciede2000(mean[i], mean[beside])
        j = beside[
            int(np.argmax([shared[i][k] / (4.0 + d) for k, d in zip(beside, unlike, strict=True)]))
        ]
        mean[j] = (mean[j] * area[j] + mean[i] * area[i]) / (area[j] + area[i])
        area[j] += area[i]
        owner[i] = j
        for k, c in shared.pop(i).items():
            shared[k].pop(i)
            if k != j:
                shared[j][k] = shared[j].get(k, 0) + c
                shared[k][j] = shared[k].get(j, 0) + c
        perimeter[j] = sum(shared[j].values())
        if small(j):
            heapq.heappush(queue, (area[j], j))
    for i in range(n):
        while owner[i] != owner[owner[i]]:
            owner[i] = owner[owner[i]]
    merged: Ints = owner[regions]
    return merged


def _outlines(regions: Ints, smooth: float) -> tuple[list[MultiPolygon], list[int]]:
    """Return each region's shape in pixel coordinates, borders shared, and its number."""
    h, w = regions.shape
    arcs = []
    for line in _borders(regions):
        c = shapely.get_coordinates(line)
        on_frame = ((c[:, 0] == 0) | (c[:, 0] == w)).all() or (
            (c[:, 1] == 0) | (c[:, 1] == h)
        ).all()
        arcs.append(LineString(c if on_frame else _steady(c, smooth)))
    frame = shapely.box(0, 0, w, h)
    drawn = shapely.union_all([*arcs, frame.boundary], grid_size=1e-3)
    faces = shapely.get_parts(shapely.polygonize([drawn]))
    inside = shapely.get_coordinates(shapely.point_on_surface(faces))
    column = np.clip(inside[:, 0].astype(int), 0, w - 1)
    row = np.clip(inside[:, 1].astype(int), 0, h - 1)
    owner = regions[row, column]
    numbers = [int(k) for k in np.unique(owner)]
    return [polygons_of(shapely.coverage_union_all(faces[owner == k])) for k in numbers], numbers


def _borders(regions: Ints) -> list[LineString]:
    """Return the lines between regions along pixel edges, from junction to junction."""
    r, c = np.nonzero(regions[:, :-1] != regions[:, 1:])
    upright = np.stack([np.stack([c + 1, r], 1), np.stack([c + 1, r + 1], 1)], 1)
    r, c = np.nonzero(regions[:-1] != regions[1:])
    level = np.stack([np.stack([c, r + 1], 1), np.stack([c + 1, r + 1], 1)], 1)
    edges = np.concatenate([upright, level]).astype(float)
    if not len(edges):
        return []
    merged = shapely.line_merge(
        shapely.multilinestrings(list(np.asarray(shapely.linestrings(edges), dtype=object)))
    )
    return list(shapely.get_parts(merged))


def _steady(c: Array, smooth: float) -> Array:
    """Draw a stair of pixel edges as a steady line, its ends kept."""
    if smooth <= 0 or len(c) < 4:
        return c
    closed = bool((c[0] == c[-1]).all())
    sigma = 2.0 * smooth + 0.5
    if closed:
        body = ndimage.gaussian_filter1d(c[:-1], sigma, axis=0, mode="wrap")
        out = np.vstack([body, body[:1]])
    else:
        # reflected through its ends, so that the line keeps them and its direction there
        n = min(len(c) - 1, int(4 * sigma))
        wide = np.vstack([2 * c[0] - c[n:0:-1], c, 2 * c[-1] - c[-2 : -n - 2 : -1]])
        out = ndimage.gaussian_filter1d(wide, sigma, axis=0, mode="nearest")[n : n + len(c)]
        out[0], out[-1] = c[0], c[-1]
    return shapely.get_coordinates(LineString(out).simplify(0.12, preserve_topology=False))


def _as_fields(doc: Commission, shapes: list[MultiPolygon], labs: list[Array]) -> Traced:
    frame = whole_work(doc)
    on_work = [polygons_of(shapely.intersection(_to_edge(s, doc), frame)) for s in shapes]
    if sum(s.area for s in on_work) < LEAST_MM2:
        raise EmblemaError("Nothing of the sketch lies on the work; place it first.")
    above = list(reversed(doc.fields))
    order = sorted(range(len(on_work)), key=lambda k: -on_work[k].area)
    knitted = knit([*reversed(areas(doc)), *(on_work[k] for k in order)])
    kept = [replace(f, outline=outline_of(s)) for f, s in zip(above, knitted, strict=False)]
    taken = [f.id for f in doc.fields]
    names: dict[str, int] = defaultdict(int)
    traced = []
    for k, shape in zip(order, knitted[len(above) :], strict=True):
        if shape.area < LEAST_MM2:
            continue
        word = colour_name(labs[k])
        names[word] += 1
        number = next_id("f", taken)
        taken.append(number)
        name = word if names[word] == 1 else f"{word} {names[word]}"
        traced.append(Field(number, name[0].upper() + name[1:], outline_of(shape)))
    out = replace(doc, fields=(*traced, *reversed(kept)))
    return Traced(out, tuple(f.id for f in traced))


def _to_edge(shape: MultiPolygon, doc: Commission, near_mm: float = 0.6) -> shapely.Geometry:
    """Carry borders that run a hair inside the work's edge out to the edge."""

    def snap(xy: Array) -> Array:
        out = xy.copy()
        for k, far in ((0, doc.width_mm), (1, doc.height_mm)):
            out[np.abs(out[:, k]) < near_mm, k] = 0.0
            out[np.abs(out[:, k] - far) < near_mm, k] = far
        return out

    return shapely.set_precision(shapely.make_valid(shapely.transform(shape, snap)), SNAP_MM)


HUES = (
    (20.0, "pink"),
    (48.0, "red"),
    (72.0, "orange"),
    (104.0, "yellow"),
    (160.0, "green"),
    (215.0, "blue-green"),
    (285.0, "blue"),
    (325.0, "violet"),
    (360.0, "pink"),
)


def colour_name(lab: Array) -> str:
    """Return a plain name of a colour, such as "pale blue"."""
    lightness, chroma = float(lab[0]), float(np.hypot(lab[1], lab[2]))
    if chroma < 7:
        return next(
            w
            for most, w in (
                (18, "black"),
                (40, "dark grey"),
                (65, "grey"),
                (88, "pale grey"),
                (200, "white"),
            )
            if lightness < most
        )
    turn = float(np.degrees(np.arctan2(lab[2], lab[1]))) % 360
    hue = next(word for most, word in HUES if turn <= most)
    if hue in ("orange", "yellow") and (lightness < 55 or chroma < 30):
        hue = "brown" if lightness < 60 else "sand"
    depth = "dark " if lightness < 35 else "pale " if lightness > 75 else ""
    return depth + hue
