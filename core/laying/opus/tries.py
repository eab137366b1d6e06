"""The search for a better try: a field is laid again as long as its limits ask and work is left.

It knows how good a try is by its finished pieces alone, and nothing of how one is laid.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from dataclasses import replace
from itertools import product

import numpy as np
import shapely
from numpy.typing import NDArray

from core.laying.courses.bends import PLAIN, SOUGHT_DEG, Bends, wanted_lengths
from core.laying.field.grid import Array
from core.laying.measure import Quality, quality_of
from core.laying.pieces.nip import line_angle, straight_in_course
from core.laying.spec import Setting

FEW = 250  # pieces below which a field is tried several times, and the best is kept
FEW_TRIES = 3
MOST_TRIES = 6  # as long as its sizes or its joints miss their limit
WIDTHS = (1.0, 1.08, 1.12)  # pitches; courses of fields that turn too much
NIPS = 2  # times pieces are nipped that lie off their course
TRY_WORK = 60  # pieces' worth of work that a try takes beside pieces and points of the outline
PIECE_WORK, FIELD_WORK = 20.0, 2000.0  # so much, a piece and a field, may go into a better try

Laid = tuple[NDArray[np.object_], NDArray[np.int64], NDArray[np.int64]]
Lay = Callable[[Setting, list[Array], Bends | None], Laid]


def best_try(
    setting: Setting,
    courses: list[Array],
    courses_of: Callable[[float], list[Array]],
    lay: Lay,
    stop: Callable[[], bool],
) -> Laid:
    """Return the best of as many tries as the field needs.

    Parameters
    ----------
    courses : list of ndarray
        Middle lines of the courses, each (n, 2) mm; `courses_of` gives those so many pitches wide.
    lay : callable
        Lays a field by its seed along such lines, pieces as long as its bends want.
    """
    best = lay(setting, courses, None)
    least = quality_of_try(setting, best)
    few = setting.scale.number_in(setting.outline) < FEW and len(best[0]) > 1
    each = TRY_WORK + int(shapely.get_num_coordinates(setting.outline))
    spent, most = 0, PIECE_WORK * len(best[0]) + FIELD_WORK * setting.share
    for k in range(1, MOST_TRIES):
        again = not least.good if few else least.off_flow > 1
        if not again or (k >= FEW_TRIES and not least.poor) or spent > most:
            break
        laid = lay(replace(setting, seed=setting.seed + k), courses, None)
        spent += len(laid[0]) + each
        found = quality_of_try(setting, laid)
        if found.better_than(least):
            best, least = laid, found
    if least.turning <= 1:
        return best
    own = least.own
    for laid in turning_less(setting, best, courses, courses_of, lay, stop):
        found = quality_of_try(setting, laid)
        if found.better_than(least):
            best, least = laid, found
        spent += len(laid[0]) + each
        if len(least.missed) == least.own <= own or spent > most:
            break
    return best


def turning_less(
    setting: Setting,
    laid: Laid,
    courses: list[Array],
    courses_of: Callable[[float], list[Array]],
    lay: Lay,
    stop: Callable[[], bool],
) -> Iterator[Laid]:
    """Yield ways in which courses that turn too much turn less, the least change first.

    What lies off its course is nipped; then the field is laid again, shorter in its bends,
    and at last in wider courses, which shorter pieces fill with as much tessera.
    """
    drawn: dict[float, tuple[list[Array], Laid, Bends | None]] = {}
    for sought, width in product(SOUGHT_DEG, WIDTHS):
        if width not in drawn:
            if width != 1:
                courses = courses_of(width)
                laid = lay(setting, courses, None)
                yield laid
            laid = yield from _straighter(setting, laid, stop)
            drawn[width] = courses, laid, None
        courses, laid, bends = drawn[width]
        for plain in PLAIN:
            pitch = setting.scale.pitch_of(laid[0])
            shorter = wanted_lengths(*laid[:2], pitch, plain, np.radians(sought), bends)
            if shorter is None:
                continue
            bends = shorter
            laid = lay(setting, courses, bends)
            yield laid
            laid = yield from _straighter(setting, laid, stop)
        drawn[width] = courses, laid, bends


def _straighter(
    setting: Setting, laid: Laid, stop: Callable[[], bool]
) -> Generator[Laid, None, Laid]:
    """Yield, and return, what is laid with pieces nipped that lie off their course."""
    polygons, course, piece = laid
    for _ in range(NIPS):
        pitch = setting.scale.pitch_of(polygons)
        straight = straight_in_course(polygons, course, pitch, setting.laying.joint_mm, stop)
        if straight is polygons:
            break
        polygons = straight
        yield polygons, course, piece
    return polygons, course, piece


def quality_of_try(setting: Setting, laid: Laid) -> Quality:
    """Return how well a try keeps the limits of its field."""
    polygons, course, _ = laid
    wanted = None
    if setting.flow:
        wanted = line_angle(setting, polygons)
        # what the border cuts lies as it must
        far = shapely.distance(shapely.centroid(polygons), setting.outline.boundary)
        wanted[far <= setting.scale.pitch_of(polygons)] = np.nan
    return quality_of(polygons, course, setting.outline.area, setting.scale, wanted)
