"""Lays several fields side by side, one worker process a processor core.

The workers are kept between layings, since starting one costs more than laying a small field.
What is laid is the same, to the last bit, as laid one after the other. A large field is laid in a
worker even when it is the only one: the window stays free, and it can be stopped in the middle of
a long step, by ending the worker.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing.synchronize import Event
from typing import Any

import numpy as np
import shapely

from core.errors import CannotLay, EmblemaError, Stopped
from core.laying.lay import lay_field
from core.laying.spec import Setting
from core.pieces import Pieces

Stop = Callable[[], bool]
WORTH_IT = 1000  # pieces' worth of work below which one process is as quick, and stops as soon
POINTS = 20  # of an outline or a line, that are a piece's worth of work
LISTEN_S = 0.05
PATIENCE_S = 0.2  # that a worker has to stop by itself

_halt: Event | None = None


class SideBySide:
    """Worker processes that lay fields. Close it, or let it go, to end them."""

    def __init__(self, workers: int | None = None) -> None:
        self._workers = workers or os.cpu_count() or 1
        self._pool: ProcessPoolExecutor | None = None
        self._halt: Event | None = None

    def lay(self, settings: Sequence[Setting], stop: Stop) -> Iterator[tuple[int, Pieces]]:
        """Yield (number, pieces) of each setting, as each is done.

        Raises
        ------
        core.errors.Stopped
            `stop` answered True.
        core.errors.CannotLay
            A field cannot be laid.
        """
        if sum(map(work, settings)) < WORTH_IT:
            for k, setting in enumerate(settings):
                with _which(k):
                    pieces = lay_field(setting, stop)
                yield k, pieces
            return
        done: set[int] = set()
        try:
            for k, pieces in self._in_workers(settings, stop):
                done.add(k)
                yield k, pieces
        except BrokenProcessPool:  # a worker was killed: go on by ourselves
            self.close()
            for k, setting in enumerate(settings):
                if k not in done:
                    with _which(k):
                        pieces = lay_field(setting, stop)
                    yield k, pieces

    def _in_workers(self, settings: Sequence[Setting], stop: Stop) -> Iterator[tuple[int, Pieces]]:
        pool, halt = self._started()
        halt.clear()
        largest_first = sorted(range(len(settings)), key=lambda k: -work(settings[k]))
        waiting: dict[Future[tuple[Any, ...]], int] = {
            pool.submit(_lay, settings[k]): k for k in largest_first
        }
        try:
            while waiting:
                ready, _ = wait(waiting, timeout=LISTEN_S, return_when=FIRST_COMPLETED)
                if stop():
                    raise Stopped
                for future in ready:
                    k = waiting.pop(future)
                    with _which(k):
                        packed = future.result()
                    yield k, _unpacked(packed)
        finally:
            if waiting:
                halt.set()
                for future in waiting:
                    future.cancel()
                running = [future for future in waiting if not future.cancelled()]
                if wait(running, timeout=PATIENCE_S).not_done:
                    self._end_now()

    def _started(self) -> tuple[ProcessPoolExecutor, Event]:
        if self._pool is None or self._halt is None:
            # a fresh interpreter each: a fork would copy the window's threads half alive
            fresh = multiprocessing.get_context("spawn")
            self._halt = fresh.Event()
            self._pool = ProcessPoolExecutor(
                self._workers,
                mp_context=fresh,
                initializer=_begin,
                initargs=(self._halt,),
            )
        return self._pool, self._halt

    def _end_now(self) -> None:
        """End the workers in the middle of what they do; others are started when needed."""
        pool, self._pool, self._halt = self._pool, None, None
        if pool is not None:
            for worker in list((getattr(pool, "_processes", None) or {}).values()):
                worker.kill()
            pool.shutdown(wait=False, cancel_futures=True)

    def close(self) -> None:
        """End the workers."""
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)
        self._pool = self._halt = None


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
    lines = np.array([*setting.flow, *setting.hug], dtype=object)
    points = shapely.get_num_coordinates([setting.outline, *lines]).sum() / POINTS
    along = setting.outline.length / pitch + shapely.length(lines).sum() / pitch / 2
    return float(setting.outline.area / pitch**2 + along + points)


def _begin(halt: Event) -> None:
    global _halt
    _halt = halt


def _lay(setting: Setting) -> tuple[Any, ...]:
    pieces = lay_field(setting, lambda: _halt is not None and _halt.is_set())
    kind, coordinates, offsets = shapely.to_ragged_array(pieces.polygons)
    return kind, coordinates, offsets, pieces.course, pieces.piece, pieces.angle_rad


def _unpacked(packed: tuple[Any, ...]) -> Pieces:
    kind, coordinates, offsets, course, piece, angle_rad = packed
    return Pieces(shapely.from_ragged_array(kind, coordinates, offsets), course, piece, angle_rad)
