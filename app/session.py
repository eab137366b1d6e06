"""The open commission: its document, undo, selection, and the layout that follows every change.

All edits go through `apply`. The layout is derived in the background and may lag the document;
`layout_is_current` says whether it does.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, QTimer, Signal
from shapely import Polygon

from app.jobs import Errands, Progress, Worker
from core import archive, openfiles
from core.agreed import agreed_that_change, no_longer_agreed, question, record_print
from core.checks import check_document
from core.commission import Commission, Printed, add_swap, new_commission_id
from core.errors import EmblemaError
from core.kept import Kept
from core.kept_rounds import Round
from core.keptaside import LeftWork, Place
from core.locks import Lock
from core.material import Material
from core.pieces import Layout
from core.plan import Planner, only_recoloured, with_colours
from core.repeats import carry
from core.stock import StockStore, starter_stock
from core.terms import Quoted

MOST_UNDO_BYTES = 256_000_000  # of packed pieces that undo holds on to
SETTLE_MS = 120  # a change waits so long for the next one before it is laid
CALM_MS = 30  # counts and figures are on the screen so long after they were worked out
KEEP_MS = 45_000  # unsaved work is kept aside this often
MOST_UNDO = 500
# of a document: nothing laid hangs on them
BESIDE = (
    *("sheets", "sheeting", "openings", "site", "place", "terms", "days", "done"),
    *("proof", "in_place"),
)


Stood = tuple[Commission, Kept, tuple[Round, ...]]


@dataclass(frozen=True, slots=True)
class Step:
    """What an edit changed: the document before it, and the pieces that stood."""

    label: str
    doc: Commission
    kept: Kept


@dataclass(frozen=True, slots=True)
class Done:
    """A layout that was asked for, and who wants to look at it before it may stand."""

    doc: Commission
    layout: Layout
    then: Callable[[Layout], object] | None


class Session(QObject):
    """One commission being worked on.

    `changed` and `laid` are for counts, figures and words. `calm` follows a moment after either,
    never between a swap and its figures: what is slower to draw waits for it.
    """

    opened = Signal()
    changed = Signal()
    laid = Signal()
    calm = Signal()
    selection_changed = Signal()
    progress = Signal(float, str)
    busy = Signal(bool)
    message = Signal(str)
    path_changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._doc = Commission("", 600.0, 400.0)
        self._images: dict[str, bytes] = {}
        self._kept: Kept = {}
        self._undo: list[Step] = []
        self._redo: list[Step] = []
        self._rounds: tuple[Round, ...] = ()
        self._saved: Stood | None = self._stood
        self._path: Path | None = None
        self._selection: tuple[str, ...] = ()
        self._piece: tuple[str, int] | None = None
        self._layout: Layout | None = None
        self._laid_doc: Commission | None = None
        # asked before what is agreed is changed; without a window nobody is there to ask
        self.ask: Callable[[str], bool] = lambda words: True
        self._job = 0
        self._awaited = False  # whether that job has yet to tell how it ended
        self._recolours = False
        self._planner = Planner()
        self._worker = Worker(self)
        self._worker.done.connect(self._on_done)
        self._worker.failed.connect(self._on_failed)
        self._worker.stopped.connect(self._on_stopped)
        self._worker.progress.connect(self._on_progress)
        self.errands = Errands(self)
        self.errands.failed.connect(self.message)
        self._settle = QTimer(self, singleShot=True, interval=SETTLE_MS)
        self._settle.timeout.connect(self.lay)
        self._calm = QTimer(self, singleShot=True, interval=CALM_MS)
        self._calm.timeout.connect(self._grow_calm)
        for stir in (self.changed, self.laid, self.selection_changed, self.busy):
            stir.connect(lambda *_: self._calm.start())
        self._keep = QTimer(self, interval=KEEP_MS)
        self._keep.timeout.connect(self.keep_aside)
        self._keep.start()
        self._place = Place()
        self._place_used = False
        self._put_aside: Stood | None = None  # what was last kept aside
        self._may_be_kept = False  # whether there may be anything to forget
        self.changed.connect(lambda: None if self._edited else self.forget_kept())
        self._aside = Errands(self)
        self.keeps_aside = True  # False once the user knows that unsaved work is not kept
        self._seen: openfiles.Seen | None = None
        self._mark: Lock | None = None
        self._looking = False

    # what stands

    @property
    def doc(self) -> Commission:
        """The document."""
        return self._doc

    @property
    def images(self) -> dict[str, bytes]:
        """The pictures that travel with the document."""
        return self._images

    @property
    def layout(self) -> Layout | None:
        """The newest finished layout."""
        return self._layout

    @property
    def laid_doc(self) -> Commission | None:
        """The document that `layout` was derived from."""
        return self._laid_doc

    @property
    def recolours(self) -> bool:
        """Whether the document differs from the laid one in what its pieces are laid in alone."""
        return self._recolours

    @property
    def layout_is_current(self) -> bool:
        """Whether the layout is that of the document and of the pieces that stand."""
        laid = self._layout
        return laid is not None and self._laid_doc is self._doc and laid.kept is self._kept

    @property
    def path(self) -> Path | None:
        """The file, once there is one."""
        return self._path

    @property
    def looking(self) -> bool:
        """Whether the file is only looked at: it is not saved to."""
        return self._looking

    @property
    def dirty(self) -> bool:
        """Whether there is anything to save: an edit, or pieces that the file does not keep yet."""
        return not _same(self._saved, self._stood)

    @property
    def _stood(self) -> Stood:
        return self._doc, self._kept, self._rounds

    @property
    def _edited(self) -> bool:
        """Whether there is anything to save that could not be laid again."""
        saved, now = self._saved, self._kept
        if saved is None or saved[0] is not self._doc or saved[2] is not self._rounds:
            return True
        return any(
            k in now and now[k].key == one.key and now[k].packed is not one.packed
            for k, one in saved[1].items()
        )

    @property
    def moved_away(self) -> bool:
        """Whether the file was there when it was opened or saved, and no longer is."""
        return self._path is not None and self._seen is not None and not self._path.exists()

    @property
    def undo_labels(self) -> list[str]:
        """What undo would take back, the newest edit first."""
        return [step.label for step in reversed(self._undo)]

    @property
    def redo_labels(self) -> list[str]:
        """What redo would do again, the next first."""
        return [step.label for step in reversed(self._redo)]

    @property
    def undo_label(self) -> str | None:
        """What undo would take back."""
        return self._undo[-1].label if self._undo else None

    @property
    def redo_label(self) -> str | None:
        """What redo would do again."""
        return self._redo[-1].label if self._redo else None

    # edits

    def apply(self, label: str, doc: Commission, images: Mapping[str, bytes] | None = None) -> None:
        """Make a new document the one that stands; one undo step. The same one does nothing.

        Raises
        ------
        EmblemaError
            The document could be saved but not opened again; or it would change what is agreed,
            and the user would rather not.
        """
        if doc is self._doc or doc == self._doc:
            return
        there = {f.id for f in doc.fields}
        gone = {a.field_id for a in doc.agreed} - there
        check_document(replace(no_longer_agreed(doc, gone) if gone else doc, repeats=()))
        doc, told = carry(self._doc, doc)
        if doc.repeats:
            check_document(no_longer_agreed(doc, gone) if gone else doc)
        doc = self._with_consent(label, doc)
        if images:
            self._images = {**self._images, **images}
        self._stand(label, doc, self._kept)
        for words in told:
            self.message.emit(words)

    def swap(
        self, old: str, new: str, *, field_id: str | None = None, motif: str | None = None
    ) -> None:
        """Lay a material wherever another would be laid: in a field, a motif or everywhere.

        Raises
        ------
        EmblemaError
            A material, the field or the motif is no longer there.
        """
        doc = self._doc
        for code in (old, new):
            if all(m.code != code for m in doc.materials):
                raise EmblemaError(f"{code} is no longer among the commission's materials.")
        if field_id is not None and all(f.id != field_id for f in doc.fields):
            raise EmblemaError("That field is no longer there.")
        if motif is not None and motif not in doc.motifs():
            raise EmblemaError(f"There is no motif '{motif}' any more.")
        where = "here" if field_id else "in the motif" if motif else "everywhere"
        self.apply(
            f"Swap {old} for {new} {where}",
            add_swap(doc, old, new, field_id=field_id, motif=motif),
        )

    def try_apply(
        self, label: str, doc: Commission, images: Mapping[str, bytes] | None = None
    ) -> bool:
        """Apply an edit; where it is refused say why, and return False."""
        try:
            self.apply(label, doc, images)
        except EmblemaError as e:
            self.message.emit(str(e))
            return False
        return True

    def _with_consent(self, label: str, doc: Commission) -> Commission:
        """Return a document that may stand: asked for, where it would change what is agreed."""
        changed = agreed_that_change(self._doc, doc)
        if not changed:
            return doc
        if not self.ask(question(self._doc, changed, label)):
            self.changed.emit()  # what a control shows already is taken back
            raise EmblemaError("Left as it is agreed.")
        return no_longer_agreed(doc, changed)

    @property
    def rounds(self) -> tuple[Round, ...]:
        """What was agreed with the client, round by round; undo does not take one back."""
        return self._rounds

    def note_round(self, rounds: tuple[Round, ...]) -> None:
        """Let rounds be those that are kept."""
        self._rounds = rounds
        self.changed.emit()

    def note_print(self, printed: Printed) -> None:
        """Note what was printed, for good: undo does not take it back."""
        self._in_all(lambda doc: record_print(doc, printed))
        self.changed.emit()

    def note_quote(self, quoted: Quoted) -> None:
        """Note a quote that was given, for good: undo does not take it back."""
        self._in_all(lambda doc: replace(doc, quoted=(*doc.quoted, quoted)))
        self.changed.emit()

    def undo(self, steps: int = 1) -> None:
        """Take the last edits back."""
        self._turn_back(self._undo, self._redo, "Taken back", steps)

    def redo(self, steps: int = 1) -> None:
        """Do the last edits taken back again."""
        self._turn_back(self._redo, self._undo, "Done again", steps)

    def _turn_back(self, here: list[Step], there: list[Step], done: str, steps: int) -> None:
        """Return to a step, with the pieces that stood at it: they are not laid again."""
        if not 1 <= steps <= len(here):
            return
        goal = here[-steps]
        words = f"{done}: {goal.label}" + (f", and {steps - 1} more" if steps > 1 else "")
        try:
            doc = self._with_consent(words, goal.doc)
        except EmblemaError as e:
            self.message.emit(str(e))
            return
        now = (self._doc, self._kept)
        for _ in range(steps):
            step = here.pop()
            there.append(Step(step.label, *now))
            now = (step.doc, step.kept)
        self._set(doc, goal.kept)
        self.message.emit(words)

    def _bound_undo(self) -> None:
        """Forget the oldest steps beyond a number and beyond what memory they may take."""
        del self._undo[:-MOST_UNDO]
        seen = {id(one): len(one.packed) for one in self._kept.values()}
        for k, step in reversed(list(enumerate(self._undo))):
            seen |= {id(one): len(one.packed) for one in step.kept.values()}
            if sum(seen.values()) > MOST_UNDO_BYTES:
                del self._undo[: k + 1]
                return

    def _set(self, doc: Commission, kept: Kept) -> None:
        still = not self.laying and self._laid_as(doc, kept)
        if still:
            self._laid_doc = doc
        # colours are matched at once; what is laid waits for the hand to settle
        self._recolours = (
            not still
            and self._laid_doc is not None
            and only_recoloured(_plain(self._laid_doc), _plain(doc))
        )
        self._doc, self._kept = doc, kept
        ids = {f.id for f in doc.fields}
        chosen = tuple(i for i in self._selection if i in ids)
        lost = chosen != self._selection
        self._selection = chosen
        if self._piece is not None and self._piece[0] not in ids:
            self._piece = None
        self.changed.emit()
        if lost:
            self.selection_changed.emit()
        if still:
            return
        if self._recolours:
            self.lay()
        else:
            self._settle.start()

    def _laid_as(self, doc: Commission, kept: Kept) -> bool:
        """Return whether the layout is that of a document too.

        Sheets only part what is laid, and what opens in the wall takes ground by fields alone.
        """
        laid, layout = self._laid_doc, self._layout
        if laid is None or layout is None or layout.kept is not kept:
            return False
        beside = {name: getattr(doc, name) for name in BESIDE}
        return replace(laid, **beside) == doc

    # selection

    @property
    def selection(self) -> tuple[str, ...]:
        """Chosen fields' ids."""
        return self._selection

    @property
    def selected_piece(self) -> tuple[str, int] | None:
        """The chosen piece: its field and index in the layout."""
        return self._piece

    def select(self, field_ids: Iterable[str]) -> None:
        """Choose fields."""
        ids = tuple(dict.fromkeys(field_ids))
        if ids != self._selection or self._piece is not None:
            self._selection, self._piece = ids, None
            self.selection_changed.emit()

    def select_piece(self, field_id: str, index: int) -> None:
        """Choose one piece, and its field."""
        self._selection, self._piece = (field_id,), (field_id, index)
        self.selection_changed.emit()

    # files

    def new(self, width_mm: float, height_mm: float, title: str, *, saved: bool = False) -> None:
        """Begin a new commission with the studio's own stock, particulars and rates.

        `saved` is for one that nobody asked for: until it is worked on there is nothing to save.
        """
        doc = Commission(title, width_mm, height_mm, id=new_commission_id())
        try:
            with StockStore() as store:
                doc = replace(doc.by_studio(store.studio()), materials=_of_use(store.offered()))
        except EmblemaError as e:
            doc = replace(doc, materials=starter_stock())
            self.message.emit(f"{e} The commission begins with the example stock.")
        self.begin(archive.Work(doc, {}), None, saved=saved)

    def open(self, path: str | Path, *, look: bool = False) -> None:
        """Open a file, only to look at it if so asked; a bad one changes nothing.

        Raises
        ------
        EmblemaError
            The file cannot be read.
        """
        path = Path(path)
        seen = openfiles.seen(path)  # before it is read: a change meanwhile is asked about later
        self.begin(archive.open_work(path), path, seen=seen, look=look)

    def open_copy(self, path: str | Path) -> None:
        """Open a file, the demo, as a commission of its own that is not yet saved anywhere."""
        work = archive.open_work(path)
        self.begin(replace(work, doc=replace(work.doc, id=new_commission_id())), None)

    def recover(self, left: LeftWork) -> None:
        """Open work that a mishap left behind, as a change to its file.

        Raises
        ------
        EmblemaError
            It cannot be read, or another window has opened it.
        """
        work = archive.open_work(left.work)
        place = Place.of(left)
        if place is None:
            raise EmblemaError(
                f"The unsaved work on '{work.doc.title}' is open in another window now."
            )
        self.begin(work, left.file, saved=False, seen=left.seen, place=place)

    def save(self, path: str | Path | None = None, *, replace_changed: bool = False) -> None:
        """Save to a file, the one it came from where left out.

        Beside the file it came from, the new one is a copy: a commission of its own to the stock.

        Raises
        ------
        core.openfiles.ChangedMeanwhile
            The file it came from was changed by another, and is not to be replaced all the same.
        EmblemaError
            There is no file yet, or it cannot be written.
        """
        where = Path(path) if path is not None else self._path
        if where is None:
            raise EmblemaError("Choose where to save the commission first.")
        if openfiles.same_place(where, self._path):
            if self._looking:
                raise EmblemaError(f"'{where.name}' is only looked at: save under another name.")
            if not replace_changed and openfiles.changed_since(where, self._seen):
                raise openfiles.ChangedMeanwhile(
                    f"'{where.name}' was changed by another since it was opened here."
                )
        source = self._path if _stays(self._path, where) else None
        doc = self._doc if source is None else replace(self._doc, id=new_commission_id())
        archive.save(where, doc, self._images, self._standing()(), self._rounds)
        if source is not None:
            self._in_all(lambda d: replace(d, id=doc.id))
        self._saved = self._stood
        self._take_file(where, openfiles.seen(where), look=False)
        self.forget_kept()
        self.path_changed.emit()
        apart = (
            f", a commission of its own: what is set aside in the stock stays with {source.name}"
            if source is not None
            else ""
        )
        self.message.emit(f"Saved {where.name}{apart}")

    def _in_all(self, change: Callable[[Commission], Commission]) -> None:
        """Change the document, and all that undo returns to as well: it is no edit."""
        for some in (self._undo, self._redo):
            some[:] = [replace(step, doc=change(step.doc)) for step in some]
        current = self.layout_is_current
        self._doc = change(self._doc)
        if current:
            self._laid_doc = self._doc
        if self._awaited:  # what is being laid is of the document before
            self.lay()

    def keep_aside(self) -> None:
        """Keep unsaved work where it can be found after a mishap, if it has changed."""
        if not self._edited:
            self.forget_kept()
            return
        if _same(self._put_aside, self._stood):
            return
        self._put_aside = self._stood
        self._may_be_kept = self._place_used = True
        place, images, standing = self._place, dict(self._images), self._standing()
        path, seen = (None, None) if self._looking else (self._path, self._seen)
        doc, rounds = self._doc, self._rounds

        def keep() -> str | None:
            try:
                save = partial(archive.save, doc=doc, images=images, kept=standing(), rounds=rounds)
                place.keep(save, doc.title, path, seen)
            except EmblemaError as e:
                return str(e)
            return None

        self._aside.run(keep, self._told)

    def _told(self, fault: str | None) -> None:
        """Say once that unsaved work cannot be kept."""
        if fault is not None:
            self._put_aside = None
            if self.keeps_aside:
                self.message.emit(f"Unsaved work cannot be kept aside, so save it. {fault}")
        self.keeps_aside = fault is None

    def forget_kept(self) -> None:
        """Nothing is to be found again: all is saved, or the user chose not to save."""
        self._put_aside = None
        if self._may_be_kept:
            self._may_be_kept = False
            self._aside.run(self._place.forget, lambda _: None)

    def _take_file(self, path: Path | None, seen: openfiles.Seen | None, look: bool) -> None:
        """Let go of the file before and be a window on this one."""
        if self._mark is not None:
            self._mark.release(remove=True)
        self._path, self._seen, self._looking = path, seen, look
        self._mark = openfiles.mark_open(path) if path is not None and not look else None

    def _standing(self) -> Callable[[], Kept]:
        """Return what gives what stands, as a file keeps it: with its colours where known."""
        doc, layout, kept = self._doc, self._layout, self._kept
        if layout is None or not self.layout_is_current:
            return lambda: kept
        return lambda: with_colours(doc, layout)

    def begin(
        self,
        work: archive.Work,
        path: Path | None = None,
        saved: bool = True,
        *,
        seen: openfiles.Seen | None = None,
        look: bool = False,
        place: Place | None = None,
    ) -> None:
        """Begin with another work.

        Parameters
        ----------
        saved : bool
            Whether it is as it stands in its file, which was `seen` so.
        look : bool
            Whether the file is only looked at.
        place : Place, optional
            Where it is kept aside, if it is.
        """
        doc = work.doc
        self.forget_kept()
        self._leave_place()
        self._place = place or Place()
        stood = doc, work.kept, work.rounds
        self._put_aside = stood if place is not None else None
        self._may_be_kept = self._place_used = place is not None
        self._take_file(path, seen, look)
        self._undo.clear()
        self._redo.clear()
        self._images = dict(work.images)
        self._kept, self._rounds = work.kept, work.rounds
        self._saved = stood if saved else None
        self._layout = self._laid_doc = None
        self._recolours = False
        self._selection, self._piece = (), None
        self._doc = doc
        self.opened.emit()
        self.path_changed.emit()
        self.selection_changed.emit()
        self.changed.emit()
        self.lay()

    # laying

    def try_anew(self, field_ids: Collection[str], then: Callable[[Layout], object]) -> None:
        """Lay fields with this version of the program aside; what stands is left as it is.

        `then` is handed the layout if the document is still the same; see `take_anew`.
        """
        if self.layout_is_current:
            self._ask(then, field_ids)
        else:
            self.message.emit("Wait until all is laid, then try again.")

    def take_anew(self, label: str, layout: Layout) -> None:
        """Let another layout of the document stand; one undo step.

        Raises
        ------
        EmblemaError
            It would change what is agreed, and the user would rather not.
        """
        changed = {k for k, one in layout.kept.items() if self._kept.get(k) is not one}
        agreed = tuple(a.field_id for a in self._doc.agreed if a.field_id in changed)
        doc = self._doc
        if agreed:
            if not self.ask(question(doc, agreed, label)):
                raise EmblemaError("Left as it is agreed.")
            doc = no_longer_agreed(doc, agreed)
        self._stand(label, doc, layout.kept)

    def stand(self, label: str, doc: Commission, kept: Kept) -> None:
        """Let a document stand with the pieces that it had; one undo step.

        Raises
        ------
        EmblemaError
            It would change what is agreed, and the user would rather not.
        """
        doc = self._with_consent(label, doc)
        check_document(doc)
        self._stand(label, doc, kept)

    def _stand(self, label: str, doc: Commission, kept: Kept) -> None:
        self._undo.append(Step(label, self._doc, self._kept))
        self._redo.clear()
        self._bound_undo()
        self._set(doc, kept)

    def lay(self) -> None:
        """Begin to derive the layout of the document as it stands."""
        self._ask(None)

    def _ask(self, then: Callable[[Layout], object] | None, anew: Collection[str] = ()) -> None:
        """Ask for a layout, to stand or, with `then`, to be looked at."""
        self._settle.stop()
        doc, images, kept = self._doc, dict(self._images), self._kept

        def work(progress: Progress, stop: Callable[[], bool]) -> Done:
            layout = self._planner.layout(doc, images, progress, stop, kept, anew)
            return Done(doc, layout, then)

        self._job = self._worker.ask(work)
        self._awaited = True
        self.busy.emit(True)

    def _grow_calm(self) -> None:
        if not (self._recolours and self.laying):  # else it begins anew when that ends
            self.calm.emit()

    @property
    def laying(self) -> bool:
        """Whether a layout is being derived, or soon will be."""
        return self._settle.isActive() or self._awaited

    def stop_laying(self) -> None:
        """Stop; the layout that stood before stays."""
        self._settle.stop()
        self._worker.stop()

    def _on_done(self, number: int, result: Done) -> None:
        if not self._over(number):
            return
        doc, layout = result.doc, result.layout
        if doc is not self._doc:  # the document has moved on
            return
        if result.then is not None:
            result.then(layout)
            return
        if self._piece is not None and _piece(layout, self._piece) != _piece(
            self._layout, self._piece
        ):
            self._piece = None  # another piece has its number now
        self._layout, self._laid_doc = layout, doc
        if self._saved == (doc, {}, self._rounds) and not self._kept:
            # a file from before pieces were kept: opened, nothing was changed in it
            self._saved = doc, layout.kept, self._rounds
        self._kept = layout.kept
        self.laid.emit()
        if layout.broken:
            self.message.emit(
                f"{' and '.join(layout.broken)}: what the file kept of its pieces is damaged, so "
                "it was laid again."
            )

    def _over(self, number: int) -> bool:
        """Take note that a job has ended; return whether it was the newest."""
        if number == self._job:
            self._awaited = False
            self.busy.emit(False)
        return number == self._job

    def _on_failed(self, number: int, words: str) -> None:
        if self._over(number):
            self.message.emit(words)

    def _on_stopped(self, number: int) -> None:
        if self._over(number):
            self.message.emit("Stopped; the layout before stands.")

    def _on_progress(self, number: int, share: float, what: str) -> None:
        if number == self._job:
            self.progress.emit(share, what)

    def write(
        self,
        path: str,
        do: Callable[[], Any],
        then: Callable[[Any], object] = lambda _: None,
    ) -> None:
        """Write a file aside, and say when it is there; `then` takes what `do` returned."""
        self.message.emit(f"Writing {Path(path).name} ...")

        def written(result: Any) -> None:
            then(result)
            self.message.emit(f"Written to {path}")

        self.errands.run(do, written)

    def _leave_place(self) -> None:
        if self._place_used:  # after what is being done to it
            self._aside.run(self._place.leave, lambda _: None)

    def close(self) -> None:
        """End the background work; unsaved work that was kept and not let go stays kept."""
        self.errands.close()
        if not self._edited:
            self.forget_kept()
        self._leave_place()
        self._aside.close()
        self._take_file(None, None, look=False)
        self._keep.stop()
        self._calm.stop()
        self._settle.stop()
        self._worker.close()
        self._planner.close()


def _same(before: Stood | None, now: Stood) -> bool:
    """Return whether what stood is what stands, the very same."""
    return before is not None and all(map(operator.is_, before, now))


def _of_use(materials: Iterable[Material]) -> tuple[Material, ...]:
    """Return materials without lots that are used up."""
    return tuple(m for m in materials if m.lot is None or m.pieces)


def _stays(source: Path | None, where: Path) -> bool:
    """Return whether a commission's file stays there beside the one that it is saved to."""
    if source is None or not source.exists():
        return False
    return not (where.exists() and where.samefile(source))


def _piece(layout: Layout | None, piece: tuple[str, int]) -> Polygon | None:
    """Return the outline of a field's piece of this number, if there is one."""
    for f in layout.fields if layout is not None else ():
        if f.field_id == piece[0] and piece[1] < len(f.pieces):
            outline: Polygon = f.pieces.polygons[piece[1]]
            return outline
    return None


def _plain(doc: Commission) -> Commission:
    """Return a document without what single pieces were laid in by hand: they lie as they lay."""
    rest = tuple(e for e in doc.edits if e.kind != "stock")
    return replace(doc, edits=rest) if len(rest) < len(doc.edits) else doc
