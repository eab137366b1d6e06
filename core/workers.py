"""A few worker processes of our own, each with a pipe, that can be ended in the middle of a task.

A worker is a fresh interpreter that does one task after another. It is asked to stop through its
pipe, and ended if it does not; the pipe's end tells it that nobody waits for it any more, so none
outlives its window. One that is killed from outside is noticed, another is started and does its
task again.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import time
import traceback
import weakref
from collections import Counter, deque
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection, wait
from typing import Any, Final

from core.errors import EmblemaError, Stopped

Stop = Callable[[], bool]
Do = Callable[[Any, Stop], Any]

LISTEN_S: Final = 0.05
PATIENCE_S: Final = 0.15  # that a worker has to stop by itself
TRIES: Final = 4  # at one task, when workers are killed from outside
STILLBORN: Final = 3  # workers in a row that end before they begin: there can be none here

# a fresh interpreter each: a fork would copy the window's threads half alive
_fresh = multiprocessing.get_context("spawn")
_HALT: Final = "halt"
_THREADS: Final = "OPENBLAS_NUM_THREADS"  # numpy's and scipy's


class NoWorkers(Exception):
    """Worker processes cannot be started here."""


class Workers:
    """Worker processes. Close them, or let them go, to end them. For one thread at a time.

    Parameters
    ----------
    most : int
        How many there are at most.
    do : callable
        What a worker does: of a task and a question whether to stop, to be asked now and then,
        which makes it raise `Stopped`. Task and result must be picklable.
    """

    def __init__(self, most: int, do: Do) -> None:
        self._most, self._do = most, do
        self._all: list[_Worker] = []
        self._closings: list[None] = []
        self._let_go = weakref.finalize(self, _end, self._all, self._closings)

    def run(self, tasks: Sequence[Any], stop: Stop) -> Generator[tuple[int, Any], None, None]:
        """Do tasks, in their order; yield (number, result or the EmblemaError) as each is done.

        Raises
        ------
        core.errors.Stopped
            `stop` answered True, or they were closed meanwhile.
        NoWorkers
            Workers cannot be started.
        """
        todo = deque(range(len(tasks)))
        tries = Counter[int]()
        stillborn, closings = 0, len(self._closings)
        try:
            self._give(todo, tasks)
            while todo or self._busy():
                done = []
                for w in self._that_speak(self._all, LISTEN_S):
                    said = w.listen()
                    task, w.task = w.task, None
                    if said is not None:
                        stillborn = 0
                        if task is not None:
                            done.append((task, _result(said)))
                        continue
                    self._lose(w)
                    if task is None:
                        stillborn += not w.ready
                        if stillborn >= STILLBORN:
                            raise NoWorkers
                    elif tries[task] + 1 < TRIES:
                        tries[task] += 1
                        todo.appendleft(task)
                    else:
                        done.append((task, _killed()))
                if stop() or closings != len(self._closings):
                    raise Stopped
                self._give(todo, tasks)  # before whoever asks does something with what is done
                yield from done
        finally:
            self._halt()

    def begin(self, tasks: int) -> None:
        """Start as many workers as so many tasks will want, before the tasks are known."""
        with suppress(NoWorkers):
            self._start(tasks)

    def close(self) -> None:
        """End the workers; others are started when needed."""
        _end(self._all, self._closings)

    def _busy(self) -> list[_Worker]:
        return [w for w in self._all if w.task is not None]

    def _that_speak(self, some: list[_Worker], wait_s: float) -> list[_Worker]:
        by_pipe = {w.pipe: w for w in some}
        try:
            return [by_pipe[p] for p in wait(list(by_pipe), wait_s)]  # type: ignore[index]
        except (OSError, ValueError):  # closed by another thread at this moment
            return []

    def _give(self, todo: deque[int], tasks: Sequence[Any]) -> None:
        """Give tasks to the workers that wait for one, and see that there are enough of them."""
        for w in list(self._all):
            if todo and w.ready and w.task is None:
                if w.tell(tasks[todo[0]]):
                    w.task = todo.popleft()
                else:
                    self._lose(w)
        self._start(len(todo))

    def _start(self, tasks: int) -> None:
        """Start workers for so many tasks beside those that others have."""
        free = sum(w.task is None for w in self._all)  # they are still starting
        for _ in range(min(tasks - free, self._most - len(self._all))):
            try:
                self._all.append(_Worker(self._do))
            except OSError as e:
                if not self._all:
                    raise NoWorkers from e
                return

    def _halt(self) -> None:
        """Have all stop: by themselves in a moment, or else by force."""
        for w in self._busy():
            w.tell(_HALT)
        until = time.monotonic() + PATIENCE_S
        while (busy := self._busy()) and (left := until - time.monotonic()) > 0:
            for w in self._that_speak(busy, left):
                w.task = None
                if w.listen() is None:
                    self._lose(w)
        late = self._busy()
        for w in late:  # all of them before the first is waited for
            w.kill()
        for w in late:
            self._lose(w)

    def _lose(self, w: _Worker) -> None:
        with suppress(ValueError):  # another thread has closed them all, and this one with them
            self._all.remove(w)
            w.end()


class _Worker:
    """One worker process and our end of its pipe."""

    def __init__(self, do: Do) -> None:
        self.pipe, theirs = _fresh.Pipe()
        self.ready = False
        self.task: int | None = None
        self._process = _fresh.Process(target=_serve, args=(theirs, do), daemon=True)
        try:
            with _one_thread_each():
                self._process.start()
        except BaseException:
            self.pipe.close()
            raise
        finally:
            theirs.close()  # now it has the only one: its end is the pipe's end

    def tell(self, what: Any) -> bool:
        """Send it something; False where it is no longer there."""
        try:
            self.pipe.send(what)
        except OSError:
            return False
        return True

    def listen(self) -> tuple[str, Any] | None:
        """Return what it says, None where it has ended."""
        try:
            said: tuple[str, Any] = self.pipe.recv()
        except (EOFError, OSError):
            return None
        self.ready = True
        return said

    def kill(self) -> None:
        """End it, in the middle of whatever it does."""
        with suppress(ValueError):  # it has been ended
            self._process.kill()

    def end(self) -> None:
        """End it and leave nothing of it."""
        self.pipe.close()
        self.kill()
        self._process.join(1.0)
        with suppress(ValueError):  # the system is yet to end it
            self._process.close()


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Start processes whose linear algebra keeps to one thread.

    Side by side their threads would only wait for one another, and use up the processor by it.
    """
    before = os.environ.get(_THREADS)
    os.environ.setdefault(_THREADS, "1")
    try:
        yield
    finally:
        if before is None:
            os.environ.pop(_THREADS, None)


def _end(workers: list[_Worker], closings: list[None]) -> None:
    closings.append(None)  # a run in another thread starts no others
    for w in list(workers):
        w.kill()
    while workers:
        with suppress(IndexError):  # a run in another thread loses them too
            workers.pop().end()


def _result(said: tuple[str, Any]) -> Any:
    how, what = said
    if how == "fault":
        raise RuntimeError(f"A worker failed:\n{what}")
    return EmblemaError(what) if how == "refused" else what


def _killed() -> EmblemaError:
    return EmblemaError(
        f"What lays it was ended from outside {TRIES} times, perhaps for want of memory."
    )


# --- in the worker --------------------------------------------------------------------------


def _serve(pipe: Connection[Any, Any], do: Do) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever started it decides when it ends
    with suppress(EOFError, OSError), pipe:  # nobody is there any more
        pipe.send(("ready", None))
        while True:
            task = pipe.recv()
            if task != _HALT:  # a stop that came when the task was done
                pipe.send(_answer(do, task, pipe.poll))


def _answer(do: Do, task: Any, stop: Stop) -> tuple[str, Any]:
    try:
        return "done", do(task, stop)
    except Stopped:
        return "stopped", None
    except EmblemaError as e:
        return "refused", str(e)
    except MemoryError:
        return "refused", "There is too little memory to lay it."
    except Exception:  # a fault of ours: it is raised where the task was asked for
        return "fault", traceback.format_exc()
