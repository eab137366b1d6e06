"""Lays several fields side by side, one worker process a processor core.

The workers are kept between layings, since starting one costs more than laying a small field.
What is laid is the same, to the last bit, as laid one after the other. A large field is laid in a
worker even when it is the only one: the window stays free, and it can be stopped in the middle of
a long step, by ending the worker.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from typing import Any

import numpy as np
import shapely

from core.errors import CannotLay, EmblemaError
from core.laying.alike import copied, first_alike
from core.laying.lay import by_its_seed, lay_field
from core.laying.spec import Setting
from core.pieces import Pieces
from core.workers import NoWorkers, Workers

Stop = Callable[[], bool]
LEAST_WORK = 1000  # pieces' worth of work below which one process is as quick, and stops as soon
POINTS = 20  # of an outline or a line, that are a piece's worth of work


class SideBySide:
    """Worker processes that lay fields. Close it, or let it go, to end them."""

    def __init__(self, workers: int | None = None) -> None:
        self._workers = Workers(workers or os.cpu_count() or 1, _lay)

    def lay(self, settings: Sequence[Setting], stop: Stop) -> Iterator[tuple[int, Pieces]]:
        """Yield (number, pieces) of each setting, as each is done.

        Raises
        ------
        core.errors.Stopped
            `stop` answered True.
        core.errors.CannotLay
            A field cannot be laid.
        """
        settings = [by_its_seed(s) for s in settings]
        if sum(map(work, settings)) >= LEAST_WORK:
            self._workers.begin(len(settings))  # they get ready while congruent fields are found
        alike = first_alike(settings)
        firsts = [k for k, (_, move) in enumerate(alike) if move is None]
        for k, pieces in self._firsts(settings, firsts, stop):
            yield k, pieces
            for other, (first, move) in enumerate(alike):
                if first == k and move is not None:
                    yield other, copied(pieces, move, settings[other])

    def _firsts(
        self, settings: Sequence[Setting], which: Sequence[int], stop: Stop
    ) -> Iterator[tuple[int, Pieces]]:
        largest_first = sorted(which, key=lambda k: -work(settings[k]))
        done: set[int] = set()
        tasks = [settings[k] for k in largest_first]
        if sum(map(work, tasks)) >= LEAST_WORK:
            # where there can be no workers, go on by ourselves
            with suppress(NoWorkers), closing(self._workers.run(tasks, stop)) as answers:
                for n, answer in answers:
                    k = largest_first[n]
                    if isinstance(answer, EmblemaError):
                        raise CannotLay(k, str(answer)) from answer
                    done.add(k)
                    yield k, _unpacked(answer)
        for k in which:
            if k not in done:
                with _which(k):
                    pieces = lay_field(settings[k], stop)
                yield k, pieces

    def close(self) -> None:
        """End the workers."""
        self._workers.close()


@contextmanager
def _which(k: int) -> Iterator[None]:
    """Say which field it is that cannot be laid."""
    try:
        yield
    except EmblemaError as error:
        raise CannotLay(k, str(error)) from error


def work(setting: Setting) -> float:
    """Return about how much work a field is, in pieces; one at a border counts for two."""
    pitch = setting.pitch_mm
    finest = setting.scale.finest_mm  # as fine as its grids are
    lines = np.array([*setting.flow, *setting.hug], dtype=object)
    points = shapely.get_num_coordinates([setting.outline, *lines]).sum() / POINTS
    along = setting.outline.length / pitch + shapely.length(lines).sum() / pitch / 2
    return float(setting.outline.area / finest**2 + along + points)


def _lay(setting: Setting, stop: Stop) -> tuple[Any, ...]:
    pieces = lay_field(setting, stop)
    # of no pieces at all it would not know the kind
    shapes = shapely.to_ragged_array(pieces.polygons) if len(pieces) else None
    return shapes, pieces.course, pieces.piece, pieces.angle_rad


def _unpacked(packed: tuple[Any, ...]) -> Pieces:
    shapes, course, piece, angle_rad = packed
    polygons = np.empty(0, object) if shapes is None else shapely.from_ragged_array(*shapes)
    return Pieces(polygons, course, piece, angle_rad)
