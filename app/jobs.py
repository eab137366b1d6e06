"""Work off the interface thread: one job at a time, the newest wins.

A job is a plain function of (progress, stop). Its result reaches the interface thread by a
signal, and is dropped when a newer job was asked for meanwhile. Errands, such as writing a
file or printing, are done one after the other and none is dropped.
"""

from __future__ import annotations

import threading
import traceback
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from PySide6.QtCore import QObject, Signal

from core.errors import EmblemaError, Stopped

Progress = Callable[[float, str], None]
Work = Callable[[Progress, Callable[[], bool]], Any]


class Job:
    """One piece of work that was asked for."""

    def __init__(self, number: int, work: Work) -> None:
        self.number = number
        self.work = work
        self.halt = threading.Event()


class Worker(QObject):
    """A thread that does the newest job asked of it."""

    done = Signal(int, object)
    failed = Signal(int, str)
    stopped = Signal(int)
    progress = Signal(int, float, str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._count = 0
        self._now: Job | None = None
        self._next: Job | None = None
        self._wake = threading.Condition()
        self._over = False
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def ask(self, work: Work) -> int:
        """Do this instead of whatever was asked before; return the job's number."""
        with self._wake:
            self._count += 1
            self._next = Job(self._count, work)
            if self._now is not None:
                self._now.halt.set()
            self._wake.notify()
            return self._count

    def stop(self) -> None:
        """Stop the job that runs and forget the one that waits."""
        with self._wake:
            waiting, self._next = self._next, None
            if self._now is not None:
                self._now.halt.set()
        if waiting is not None:
            self.stopped.emit(waiting.number)

    @property
    def idle(self) -> bool:
        """Whether nothing runs or waits."""
        with self._wake:
            return self._now is None and self._next is None

    def close(self) -> None:
        """Stop, and end the thread."""
        with self._wake:
            self._over = True
            self._next = None
            if self._now is not None:
                self._now.halt.set()
            self._wake.notify()
        self._thread.join(timeout=5.0)

    def _run(self) -> None:
        while True:
            with self._wake:
                while self._next is None and not self._over:
                    self._wake.wait()
                if self._over:
                    return
                job = self._now = self._next
                self._next = None
            assert job is not None
            try:
                result = job.work(
                    lambda share, what, n=job.number: self.progress.emit(n, share, what),
                    job.halt.is_set,
                )
                self.done.emit(job.number, result)
            except Stopped:
                self.stopped.emit(job.number)
            except EmblemaError as e:
                self.failed.emit(job.number, str(e))
            except Exception as e:  # a fault of ours: say so and stay alive
                traceback.print_exc()
                self.failed.emit(job.number, f"Something went wrong while laying: {e!r}")
            finally:
                with self._wake:
                    self._now = None


class Errands(QObject):
    """A thread that does everything asked of it, in order."""

    failed = Signal(str)  # why, or that it was stopped
    _told = Signal(object, tuple)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._hand = ThreadPoolExecutor(1, "errands")
        self._open = 0
        self._told.connect(lambda listener, words: listener(*words))

    @property
    def idle(self) -> bool:
        """Whether all that was asked is done and told."""
        return self._open == 0

    def run(
        self,
        do: Callable[[], Any],
        then: Callable[[Any], object],
        over: Callable[[], object] = lambda: None,
    ) -> None:
        """Do it aside, then hand its result over on the interface thread.

        `over` follows there in any case, done or failed.
        """

        def errand() -> None:
            try:
                self._told.emit(then, (do(),))
            except EmblemaError as e:
                self.failed.emit(str(e))
            except Stopped as e:
                self.failed.emit(str(e) or "Stopped.")
            except Exception as e:  # a fault of ours: say so and stay alive
                traceback.print_exc()
                self.failed.emit(f"Something went wrong: {e!r}")
            self._told.emit(ended, ())

        def ended() -> None:
            self._open -= 1
            over()

        self._open += 1
        self._hand.submit(errand)

    def watch(
        self,
        work: Work,
        progress: Callable[[float, str], object],
        then: Callable[[Any], object],
        over: Callable[[], object],
    ) -> Callable[[], None]:
        """Do work aside as `run` does, told meanwhile how far it is; return what stops it."""
        halt = threading.Event()

        def tell(share: float, what: str) -> None:
            self._told.emit(progress, (share, what))

        self.run(lambda: work(tell, halt.is_set), then, over)
        return halt.set

    def close(self) -> None:
        """Finish what was begun, so that no file is left half asked for."""
        self._hand.shutdown(wait=True)
