"""Work off the interface thread: progress, stopping, and results that come too late."""

from __future__ import annotations

import threading
import time
from dataclasses import replace

import pytest
from jobcard_rig import pump
from window_rig import panel

from app.jobs import Errands, Worker
from app.session import Session
from core.archive import Work
from core.commission import Sketch, change_field
from core.errors import EmblemaError, Stopped


class Log:
    """What a worker told, and on which thread."""

    def __init__(self, worker: Worker) -> None:
        self.done, self.failed, self.stopped, self.progress = [], [], [], []
        for name in ("done", "failed", "stopped", "progress"):
            getattr(worker, name).connect(lambda *a, n=name: self.take(n, a))

    def take(self, name: str, told: tuple) -> None:
        getattr(self, name).append(told)


@pytest.fixture
def worker():
    w = Worker()
    yield w
    w.close()
    assert not w._thread.is_alive()


def patient(begun: threading.Event):
    """Return work that lasts until it is stopped."""

    def work(progress, stop):
        begun.set()
        while not stop():
            time.sleep(0.002)
        raise Stopped

    return work


def test_a_result_comes_after_its_progress_and_work_is_done_aside(worker):
    log, where = Log(worker), []

    def work(progress, stop):
        where.append(threading.get_ident())
        for k in range(5):
            progress(k / 4, f"step {k}")
        return "laid"

    number = worker.ask(work)
    assert pump(lambda: log.done)
    assert log.done == [(number, "laid")]
    assert log.progress == [(number, k / 4, f"step {k}") for k in range(5)]
    assert where != [threading.get_ident()]
    assert pump(lambda: worker.idle)


def test_the_newest_job_wins(worker):
    log, begun = Log(worker), threading.Event()
    first = worker.ask(patient(begun))
    assert begun.wait(5)
    never = []
    worker.ask(lambda progress, stop: never.append(1))
    last = worker.ask(lambda progress, stop: "last")
    assert pump(lambda: log.done)
    assert log.done == [(last, "last")] and log.stopped == [(first,)]
    assert never == []


def test_stop_ends_the_job_and_tells_of_the_one_that_waited(worker):
    log, begun = Log(worker), threading.Event()
    first = worker.ask(patient(begun))
    assert begun.wait(5)
    never = []
    second = worker.ask(lambda progress, stop: never.append(1))
    worker.stop()
    assert pump(lambda: len(log.stopped) == 2)
    assert {n for (n,) in log.stopped} == {first, second}
    assert pump(lambda: worker.idle) and never == [] and log.done == []
    third = worker.ask(lambda progress, stop: stop())  # and it works on, unstopped
    assert pump(lambda: log.done) and log.done == [(third, False)]


def test_a_fault_is_told_and_the_worker_lives_on(worker, capsys):
    log = Log(worker)

    def refused(progress, stop):
        raise EmblemaError("Field 'Sky' has no room.")

    def wrong(progress, stop):
        raise ZeroDivisionError("by zero")

    a = worker.ask(refused)
    assert pump(lambda: log.failed)
    b = worker.ask(wrong)
    assert pump(lambda: len(log.failed) == 2)
    assert log.failed[0] == (a, "Field 'Sky' has no room.")
    assert log.failed[1][0] == b and "by zero" in log.failed[1][1]
    assert "ZeroDivisionError" in capsys.readouterr().err
    worker.ask(lambda progress, stop: 1)
    assert pump(lambda: log.done)


def test_closing_stops_the_job_that_runs():
    w, begun = Worker(), threading.Event()
    w.ask(patient(begun))
    assert begun.wait(5)
    w.close()
    assert not w._thread.is_alive()


# --- errands ----------------------------------------------------------------------------------


def test_errands_are_all_done_in_order_and_handed_over_on_the_interface_thread(capsys):
    errands, told, came, where = Errands(), [], [], set()
    errands.failed.connect(told.append)

    def then(result):
        where.add(threading.get_ident())
        came.append(result)

    def refused():
        raise EmblemaError("'cartoon.pdf' could not be written.")

    for k in range(20):
        errands.run(lambda k=k: (k, threading.get_ident()), then)
    errands.run(refused, then)
    errands.run(lambda: 1 / 0, then)
    errands.run(lambda: ("last", 0), then)
    assert pump(lambda: len(came) == 21)
    assert [k for k, _ in came] == [*range(20), "last"]
    assert where == {threading.get_ident()}
    assert threading.get_ident() not in {t for _, t in came}
    assert told[0] == "'cartoon.pdf' could not be written." and "division" in told[1]
    errands.close()
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_closing_finishes_the_errands_begun(tmp_path):
    errands = Errands()

    def write(k):
        time.sleep(0.01)
        (tmp_path / f"{k}").write_text("whole")

    for k in range(5):
        errands.run(lambda k=k: write(k), lambda _: None)
    errands.close()
    assert len(list(tmp_path.iterdir())) == 5


# --- laying -----------------------------------------------------------------------------------


class Watched:
    """A session and what it told."""

    def __init__(self) -> None:
        self.session = s = Session()
        self.shares, self.laid, self.busy, self.said = [], [], [], []
        s.progress.connect(lambda share, what: self.shares.append((share, what)))
        s.laid.connect(lambda: self.laid.append(s.laid_doc))
        s.busy.connect(self.busy.append)
        s.message.connect(self.said.append)

    def begin(self, doc) -> None:
        self.session.begin(Work(doc, {}))
        assert pump(lambda: self.session.layout_is_current), self.said
        assert pump(lambda: self.session._worker.idle)
        for heard in (self.shares, self.laid, self.busy, self.said):
            heard.clear()


@pytest.fixture(scope="module")
def one():
    w = Watched()
    yield w
    w.session.close()


@pytest.fixture
def watched(one):
    one.begin(panel())
    return one


def changed(doc, **choices):
    return change_field(doc, "f1", **choices)


def test_laying_tells_how_far_it_is(watched):
    s = watched.session
    s.apply("Smaller", changed(s.doc, tessera_mm=8.0))
    assert not s.layout_is_current
    assert pump(lambda: s.layout_is_current)
    shares = [share for share, _ in watched.shares]
    assert shares[0] == 0.0 and shares[-1] == 1.0 and shares == sorted(shares)
    assert watched.shares[0][1] == "Laying Ground"
    assert watched.busy == [True, False]
    assert watched.laid == [s.doc]
    assert watched.said == []  # the window shows the count; nothing else is to be said


def test_calm_comes_after_figures_and_never_between_a_swap_and_them(watched):
    s = watched.session
    told = []
    for name in ("changed", "laid", "calm"):
        getattr(s, name).connect(lambda n=name: told.append(n))
    laid = {s.doc.materials[k].code for k in s.layout.fields[0].stock.tolist()}
    s.swap(laid.pop(), next(m.code for m in s.doc.materials if m.code not in laid))
    s._grow_calm()  # as if matching took longer than the calm waits
    assert told == ["changed"]
    assert pump(lambda: "calm" in told)
    assert told == ["changed", "laid", "calm"]
    told.clear()
    s.select(("f1",))
    assert pump(lambda: told == ["calm"])


def test_changes_close_together_are_laid_once(watched):
    s = watched.session
    for size in (8.0, 8.5, 9.0, 9.5):
        s.apply("Size", changed(s.doc, tessera_mm=size))
    assert pump(lambda: s.layout_is_current)
    assert watched.laid == [s.doc] and watched.busy == [True, False]


def large(doc):
    """Return the field laid so fine that it takes seconds."""
    return changed(doc, tessera_mm=2.0, joint_mm=0.3, follow_border=True)


def test_stop_leaves_the_layout_that_stood(watched):
    s = watched.session
    stood = s.layout
    s.apply("Fine", large(s.doc))
    s.lay()
    assert pump(lambda: watched.shares)
    begun = time.monotonic()
    s.stop_laying()
    assert pump(lambda: watched.busy[-1:] == [False])
    assert time.monotonic() - begun < 3
    assert watched.said[-1] == "Stopped; the layout before stands."
    assert s.layout is stood and watched.laid == [] and not s.layout_is_current
    s.undo()
    assert s.layout_is_current
    s.apply("Again", changed(s.doc, tessera_mm=9.0))
    assert pump(lambda: s.layout_is_current)


def test_stop_while_a_newer_laying_waits_ends_both(watched):
    s = watched.session
    stood = s.layout
    s.apply("Fine", large(s.doc))
    s.lay()
    assert pump(lambda: watched.shares)
    s.apply("Finer", changed(s.doc, tessera_mm=1.9))
    s.lay()
    s.stop_laying()
    assert pump(lambda: watched.busy[-1:] == [False])
    assert pump(lambda: s._worker.idle)
    assert s.layout is stood and watched.laid == []


def test_a_result_for_an_older_document_is_dropped(watched):
    """The older layout is done, its result on the way, as the document moves on."""
    s = watched.session
    stood = s.layout
    older = changed(s.doc, tessera_mm=8.0)
    s.apply("Older", older)
    s.lay()
    end = time.monotonic() + 20
    while not s._worker.idle and time.monotonic() < end:
        time.sleep(0.005)  # no event is handled, so that the result waits
    assert s._worker.idle and s.layout is stood
    newer = changed(s.doc, tessera_mm=9.0)
    s.apply("Newer", newer)
    assert pump(lambda: watched.busy[-1:] == [False])
    assert s.layout is stood and watched.laid == []
    assert pump(lambda: s.layout_is_current)
    assert watched.laid == [newer]


def test_a_laying_asked_for_again_is_not_laid_twice_over(watched):
    s = watched.session
    s.apply("Fine", large(s.doc))
    s.lay()
    assert pump(lambda: watched.shares)
    newer = changed(s.doc, tessera_mm=9.0, joint_mm=1.5)
    s.apply("Newer", newer)
    assert pump(lambda: s.layout_is_current)
    assert watched.laid == [newer]
    assert not any(w.startswith("Stopped") for w in watched.said)


def test_an_older_commission_is_not_shown_in_the_new_one(watched):
    s = watched.session
    s.apply("Fine", large(s.doc))
    s.lay()
    assert pump(lambda: watched.shares)
    other = replace(panel(60, 40), title="Other")
    s.begin(Work(other, {}))
    assert s.layout is None
    assert pump(lambda: s.layout_is_current)
    assert watched.laid == [other]


def test_an_edit_by_hand_lays_no_piece_again(watched):
    from core.handwork import lift

    s = watched.session
    pieces = list(s.layout.fields[0].pieces.polygons)
    s.apply("Lift", lift(s.doc, s.layout, "f1", 10))
    assert pump(lambda: s.layout_is_current)
    now = list(s.layout.fields[0].pieces.polygons)
    assert len(now) == len(pieces) - 1
    assert all(a is b for a, b in zip(now, pieces[:10] + pieces[11:], strict=True))


def test_what_cannot_be_laid_is_said_and_the_layout_stands(watched):
    s = watched.session
    stood = s.layout
    with_sketch = replace(s.doc, sketch=Sketch("sketch.png", 10, 10, 10.0))
    s.apply("Sketch", with_sketch, {"sketch.png": b"not a picture at all"})
    assert pump(lambda: watched.busy[-1:] == [False])
    assert s.layout is stood and not s.layout_is_current and watched.laid == []
    (words,) = watched.said
    assert "sketch" in words and words.endswith(".")
    s.undo()
    assert s.layout_is_current


def test_a_file_written_aside_is_told_of(watched, tmp_path):
    s = watched.session
    file = tmp_path / "count.csv"
    s.write(str(file), lambda: file.write_text("Smalti, 12"))
    assert watched.said == ["Writing count.csv ..."]
    assert pump(lambda: len(watched.said) == 2)
    assert watched.said[-1] == f"Written to {file}" and file.read_text() == "Smalti, 12"
