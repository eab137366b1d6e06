"""Traces fields from the sketch: its flat areas of colour, with borders in common."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from core.bounds import one_of, within
from core.commission import Commission, Field, Sketch, next_id
from core.coverage import give, knit, opened, polygons_of
from core.errors import EmblemaError, Stopped
from core.fields import LEAST_MM2, areas, whole_work
from core.geometry import SNAP_MM, outline_of, polygons_in
from core.material import Lab
from core.pictures import read_image
from core.sketch import to_mm
from core.trace.borders import outlines
from core.trace.flat import CALM, brought_down, calmed, ink_of, lab_of, without
from core.trace.names import names_of
from core.trace.regions import clustered, connected, without_faint_borders, without_specks

Array = NDArray[np.float64]

INKS: Final = ("aside", "borders", "drawn")
SLIVER: Final = 0.2  # of the smallest field's side: what is narrower all along is a sliver
BROAD: Final = 0.35  # of an area, that a sliver has less of where it is wider than that
# Steps of colour, CIEDE2000, that are no border, by how calm the sketch is made.
FAINT: Final = (0.0, 2.0, 4.0, 7.0, 9.0)
NEAR_EDGE_MM: Final = 0.6


@dataclass(frozen=True, slots=True)
class Wish:
    """How a sketch is traced.

    Attributes
    ----------
    colours : int or None
        Flat colours to look for; None finds how many there are.
    smallest_mm2 : float
        Areas smaller than this go to the neighbour they are most like.
    smooth : float
        How smooth borders run: 0 follows the pixels, 1 is a steady hand, 3 is very even.
    ink : str
        What becomes of thin dark strokes: "aside" (they go to the areas beside them), "borders"
        (and part areas of one colour) or "drawn" (a colour like any other).
    calm : int
        How much grain and wash are smoothed before colours are parted, 0 to `CALM`.
    """

    colours: int | None = None
    smallest_mm2: float = 400.0
    smooth: float = 1.0
    ink: str = "aside"
    calm: int = 3


@dataclass(frozen=True, slots=True)
class Traced:
    """A new document, the fields that were traced, and each one's mean colour in the sketch."""

    doc: Commission
    field_ids: tuple[str, ...]
    labs: tuple[Lab, ...] = ()


def trace(
    doc: Commission,
    images: Mapping[str, bytes],
    wish: Wish | None = None,
    stop: Callable[[], bool] = lambda: False,
) -> Traced:
    """Find the sketch's flat areas of colour and make each a field beneath those already drawn.

    Raises
    ------
    EmblemaError
        There is no sketch, nothing of it lies on the work, or it cannot be traced like that.
    core.errors.Stopped
        `stop` answered True.
    """
    wish = wish or Wish()
    _check_wish(wish)
    sketch, pixels = sketch_of(doc, images)
    small, px_step = brought_down(pixels)
    mm_per_px = sketch.mm_per_px * px_step

    def go_on() -> None:
        if stop():
            raise Stopped

    go_on()
    lab, parts = flattened(small, wish.ink, wish.calm)
    go_on()
    labels = clustered(lab, wish.colours, wish.smooth)
    if parts is not None:
        labels = labels + (int(labels.max()) + 1) * parts
    go_on()
    regions = connected(labels)
    if FAINT[wish.calm]:
        regions = without_faint_borders(regions, lab, FAINT[wish.calm], parts)
    go_on()
    regions = without_specks(connected(regions), lab, wish.smallest_mm2 / mm_per_px**2)
    go_on()
    shapes, numbers = outlines(regions, wish.smooth)
    placed = [shapely.transform(s, lambda xy: to_mm(sketch, xy * px_step)) for s in shapes]
    go_on()
    placed = without_slivers(placed, SLIVER * float(np.sqrt(wish.smallest_mm2)))
    return _as_fields(doc, placed, [lab[regions == n].mean(0) for n in numbers])


def _check_wish(wish: Wish) -> None:
    if wish.colours is not None and not 2 <= wish.colours <= 64:
        raise EmblemaError("Trace 2 to 64 colours.")
    within("The smallest field", wish.smallest_mm2, 0, 1e9, " mm²")
    within("How smooth borders run", wish.smooth, 0, 10)
    one_of("What becomes of ink lines", wish.ink, INKS)
    within("How calm the sketch is made", wish.calm, 0, CALM)


def sketch_of(doc: Commission, images: Mapping[str, bytes]) -> tuple[Sketch, NDArray[np.uint8]]:
    """Return the sketch and its pixels, or say that there is none."""
    sketch = doc.sketch
    if sketch is None or sketch.image not in images:
        raise EmblemaError("There is no sketch to trace: bring one in first.")
    return sketch, read_image(images[sketch.image], "sketch")


def flattened(
    pixels: NDArray[np.uint8], ink: str, calm: int
) -> tuple[Array, NDArray[np.int64] | None]:
    """Return a picture's flat colours, CIELAB (h, w, 3), and the parts that its ink divides it in,
    (h, w), where ink is to be a border.
    """
    lab = lab_of(pixels)
    if ink == "drawn":
        return calmed(lab, calm), None
    strokes = ink_of(lab)
    lab = calmed(without(lab, strokes), calm)
    return lab, divided(strokes) if ink == "borders" else None


def divided(strokes: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return the number of the part each pixel is in, of those that strokes divide a picture in."""
    from scipy import ndimage
    from skimage.measure import label

    closed = ndimage.binary_closing(np.pad(strokes, 3), iterations=3)[3:-3, 3:-3] | strokes
    parts = label(~closed, background=0, connectivity=1)
    if not parts.any():
        return np.zeros(strokes.shape, np.int64)
    row, column = ndimage.distance_transform_edt(
        parts == 0, return_distances=False, return_indices=True
    )
    return np.asarray(parts[row, column], np.int64)


def without_slivers(shapes: list[MultiPolygon], width_mm: float) -> list[MultiPolygon]:
    """Give each part that is narrower than a width all along to the neighbour it borders most."""
    thin: list[Polygon] = []
    givers: list[int] = []
    for k, shape in enumerate(shapes):
        for part in polygons_in(shape):
            if shapely.area(opened(part, 2 * width_mm)) < BROAD * part.area:
                thin.append(part)
                givers.append(k)
    if not thin or len(thin) == sum(len(polygons_in(s)) for s in shapes):
        return shapes
    return give(shapes, thin, givers, [False] * len(shapes))[0]


def _as_fields(doc: Commission, shapes: list[MultiPolygon], labs: list[Array]) -> Traced:
    frame = whole_work(doc)
    on_work = [polygons_of(shapely.intersection(_to_edge(s, doc), frame)) for s in shapes]
    if sum(s.area for s in on_work) < LEAST_MM2:
        raise EmblemaError("Nothing of the sketch lies on the work; place it first.")
    above = list(reversed(doc.fields))
    order = sorted(range(len(on_work)), key=lambda k: -on_work[k].area)
    knitted = knit([*reversed(areas(doc)), *(on_work[k] for k in order)])
    kept = [replace(f, outline=outline_of(s)) for f, s in zip(above, knitted, strict=False)]
    of_colour = [
        (labs[k], shape)
        for k, shape in zip(order, knitted[len(above) :], strict=True)
        if shape.area >= LEAST_MM2
    ]
    middles = [shapely.get_coordinates(shapely.centroid(s))[0] for _, s in of_colour]
    names = names_of(
        [lab for lab, _ in of_colour],
        [(float(x), float(y)) for x, y in middles],
        doc.width_mm,
        doc.height_mm,
    )
    taken = [f.id for f in doc.fields]
    traced = []
    for name, (_, shape) in zip(names, of_colour, strict=True):
        number = next_id("f", taken)
        taken.append(number)
        traced.append(Field(number, name, outline_of(shape)))
    out = replace(doc, fields=(*traced, *reversed(kept)))
    means = tuple((float(v[0]), float(v[1]), float(v[2])) for v, _ in of_colour)
    return Traced(out, tuple(f.id for f in traced), means)


def _to_edge(shape: MultiPolygon, doc: Commission) -> shapely.Geometry:
    """Carry borders that run a hair inside the work's edge out to the edge."""

    def snap(xy: Array) -> Array:
        out = xy.copy()
        for k, far in ((0, doc.width_mm), (1, doc.height_mm)):
            out[np.abs(out[:, k]) < NEAR_EDGE_MM, k] = 0.0
            out[np.abs(out[:, k] - far) < NEAR_EDGE_MM, k] = far
        return out

    return shapely.set_precision(shapely.make_valid(shapely.transform(shape, snap)), SNAP_MM)
