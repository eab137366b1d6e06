"""The proof for the client: the light, the wall, what is said; looked at, and written."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QImage
from PySide6.QtWidgets import (
    QButtonGroup,
    QDialog,
    QFrame,
    QHBoxLayout,
    QPlainTextEdit,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app.fileasking import where_to, which_file
from app.jobcard.photo import Photo, copies_of
from app.jobs import Worker
from app.painting import write_pdf
from app.preview import Preview
from app.roundbook import RoundBook
from app.session import Session
from app.widgets import Choice, Number, Slide, Switch, button, row, text
from core.commission import Commission
from core.drawing import Page
from core.errors import EmblemaError
from core.look.render import Scene
from core.pieces import Layout
from core.proof import made
from core.proof.asked import WALLS, InPlace, Point
from core.proof.pages import proof_pages, seen_in_place, whole_of
from core.proof.photograph import import_photograph

PICTURES = "Pictures (*.png *.jpg *.jpeg *.tif *.tiff *.webp *.bmp)"
SIDE_PX = 340
SEEN_PX = 1400.0  # the longer side of the work as it is looked at here
SETTLE_MS = 250
WORK, PLACE = 0, 1
PRICES = (
    ("total", "the price in all"),
    ("parts", "what the price is made of"),
    ("none", "no price"),
)
NO_WALL = "On a plain wall, until there is a photograph of the real one."
WALL_WORDS = {name: f"{name}, throws back {100 * share:.0f} %" for name, share in WALLS.items()}


class ProofWindow(QDialog):
    """Chooses what the client is shown. Every choice is part of the commission."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self.shown: Preview | None = None
        self._job, self._over = 0, 0  # the newest picture that was asked for, and that was made
        self._view = WORK
        self._kept: tuple[tuple[Any, ...], Scene] | None = None
        self.setWindowTitle("Proof for the client")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.resize(1180, 680)
        self.photo = Photo()
        self.photo.corner_moved.connect(lambda *_: self._corners_moved())
        self.photo.clicked.connect(self._clicked)
        self.views = QButtonGroup(self)
        tabs = []
        for number, words in ((WORK, "The work"), (PLACE, "In its place")):
            b = button(words, lambda n=number: self.look_at(n))  # type: ignore[misc]
            b.setCheckable(True)
            b.setChecked(number == WORK)
            self.views.addButton(b, number)
            tabs.append(b)
        self.told = text("", "hint")
        left = QVBoxLayout()
        left.addWidget(row(*tabs))
        left.addWidget(self.photo, 1)
        left.addWidget(self.told)
        inner = QWidget()
        self._build(QVBoxLayout(inner))
        panel = QScrollArea()
        panel.setWidget(inner)
        panel.setWidgetResizable(True)
        panel.setFrameShape(QFrame.Shape.NoFrame)
        panel.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        panel.setFixedWidth(SIDE_PX)
        right = QVBoxLayout()
        right.addWidget(panel, 1)
        right.addWidget(button("Look at the pages ...", self.look_at_pages))
        right.addWidget(button("Write the proof ...", self.choose, "main"))
        right.addWidget(
            row(button("Picture alone ...", self.choose_picture), button("Close", self.close))
        )
        box = QHBoxLayout(self)
        box.addLayout(left, 1)
        box.addLayout(right)
        self._worker = Worker(self)
        self._worker.done.connect(self._drawn)
        self._worker.failed.connect(self._failed)
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(SETTLE_MS)
        self._settle.timeout.connect(self._draw)
        session.changed.connect(self.refresh)
        session.laid.connect(self._draw)
        self.refresh()

    def _build(self, box: QVBoxLayout) -> None:
        """Make the panel of choices."""
        self.light = Slide(
            "Light from", -180, 180, lambda v: self._proof(light_deg=float(v)), _from_where
        )
        self.light_high = Slide(
            "Its height",
            5,
            90,
            lambda v: self._proof(light_high_deg=float(v)),
            lambda v: "grazing the wall" if v < 20 else "straight before it" if v > 75 else f"{v}°",
        )
        self.open_button = button("A photograph of the wall ...", self.choose_photograph)
        self.dragging = text("Drag the four corners to where the finished work will hang.", "hint")
        self.take_off = button("Take it away", lambda: self._place(None))
        self.wall = Choice(
            "The wall is", tuple(WALL_WORDS.items()), lambda v: self._in_place(wall=v)
        )
        self.room_light = Slide(
            "The room's light", 0, 100, lambda v: self._in_place(room_light=v / 100), _percent
        )
        self.shadow = Slide(
            "It comes from", -180, 180, lambda v: self._in_place(light_deg=float(v)), _from_where
        )
        self.floor = Number(
            "Above the floor",
            "mm",
            *(0.0, 20_000.0, lambda v: self._in_place(floor_mm=v), 0, 50.0),
            "From the floor to the work's lower edge",
        )
        self.figure = Switch("A figure beside it, 1.70 m", lambda on: self._in_place(figure=on))
        self.fineness = Number(
            "Fineness of the work",
            "px a mm",
            *(0.5, 24.0, lambda _: None, 1, 1.0),
            "Pixels to a mm; 4 are about 100 dots an inch. In its place it is as its photograph",
        )
        self.fineness.show_value(4.0)
        self.price = Choice("Show", PRICES, lambda v: self._proof(price=v))
        self.words, self.care = _Words(self._words_typed), _Words(self._words_typed)
        self.words.setPlaceholderText("A few words to the client, if you like")
        self.care.setPlaceholderText("Left empty, care is told by what the work is made of")
        parts: tuple[QWidget, ...] = (
            text("The light of the picture", "head"),
            self.light,
            self.light_high,
            text("In its place", "head"),
            self.open_button,
            self.take_off,
            self.dragging,
            self.wall,
            self.room_light,
            self.shadow,
            self.floor,
            self.figure,
            text("What is said", "head"),
            self.price,
            self.words,
            text("Keeping it", "head"),
            self.care,
            text("Picture alone", "head"),
            self.fineness,
            text("Click in the picture of the work what is to be shown at its true size.", "hint"),
        )
        self._of_place = (
            self.dragging,
            *(self.take_off, self.wall, self.room_light, self.shadow, self.floor, self.figure),
        )
        for w in parts:
            box.addWidget(w)
        box.addStretch(1)

    # --- the document -------------------------------------------------------------------------

    def refresh(self) -> None:
        """Show the commission's choices as they stand."""
        doc = self.session.doc
        place = doc.in_place
        self.light.show_value(round(doc.proof.light_deg))
        self.light_high.show_value(round(doc.proof.light_high_deg))
        self.price.show_value(doc.proof.price)
        self.words.show_words(doc.proof.words)
        self.care.show_words(doc.proof.care)
        for w in self._of_place:
            w.setVisible(place is not None)
        if place is not None:
            self.wall.show_value(place.wall)
            self.room_light.show_value(round(100 * place.room_light))
            self.shadow.show_value(round(place.light_deg))
            self.floor.show_value(place.floor_mm)
            self.figure.show_value(place.figure)
        self._settle.start()

    def _proof(self, **choices: Any) -> None:
        doc = self.session.doc
        self._apply("The proof", replace(doc, proof=replace(doc.proof, **choices)))

    def _in_place(self, **choices: Any) -> None:
        place = self.session.doc.in_place
        if place is not None:
            self._place(replace(place, **choices))

    def _place(self, place: InPlace | None, images: dict[str, bytes] | None = None) -> None:
        doc = replace(self.session.doc, in_place=place)
        self._apply("The wall of the proof", doc, images)

    def _apply(self, label: str, doc: Commission, images: dict[str, bytes] | None = None) -> None:
        try:
            self.session.apply(label, doc, images)
        except EmblemaError as e:
            self.told.setText(str(e))
            self.refresh()

    def _words_typed(self) -> None:
        self._proof(words=self.words.toPlainText(), care=self.care.toPlainText())

    def _clicked(self, x: float, y: float) -> None:
        wide, high = self.photo.size_px
        if self._view == WORK and wide:
            doc = self.session.doc
            self._proof(close_mm=(x / wide * doc.width_mm, y / high * doc.height_mm))

    def _corners_moved(self) -> None:
        corners = tuple((float(x), float(y)) for x, y in self.photo.corners)
        if len(corners) == 4:
            self._in_place(corners_px=corners)

    # --- the wall -----------------------------------------------------------------------------

    def choose_photograph(self) -> None:
        """Ask for a photograph of the wall."""
        path = which_file(self, "A photograph of the wall", PICTURES, "pictures")
        if path:
            self.open_photograph(path)

    def open_photograph(self, path: str) -> None:
        """Take a photograph of the wall in; the work hangs in its middle to begin with."""
        doc = self.session.doc

        def read() -> tuple[InPlace, dict[str, bytes]]:
            return import_photograph(Path(path), (doc.width_mm, doc.height_mm), doc.in_place)

        def take(found: tuple[InPlace, dict[str, bytes]]) -> None:
            self._place(*found)
            self.look_at(PLACE)

        self.session.errands.run(read, take)

    # --- the picture --------------------------------------------------------------------------

    def look_at(self, view: int) -> None:
        """Show the work, or the work in its place."""
        self._view = view
        self.views.button(view).setChecked(True)
        self._draw()

    def _draw(self) -> None:
        work = self._work()
        if work is None:
            self.told.setText("Nothing is laid yet.")
            return
        images, view = self.session.images, self._view
        self.told.setText("Drawing ...")
        self._job = self._worker.ask(lambda progress, stop: self._seen(*work, images, view))

    def _seen(
        self, doc: Commission, layout: Layout, images: Mapping[str, bytes], view: int
    ) -> tuple[tuple[QImage, ...], Sequence[Point]]:
        """Return what is looked at, and the corners on it. Called aside."""
        drawn = made.drawn(doc, self._scene(doc, layout))
        if view == WORK:
            by = SEEN_PX / max(doc.width_mm, doc.height_mm)
            return copies_of(whole_of(doc, drawn, by)), ()
        corners = doc.in_place.corners_px if doc.in_place else ()
        return copies_of(seen_in_place(doc, images, drawn, 1.0)), corners

    def _scene(self, doc: Commission, layout: Layout) -> Scene:
        """Return what is painted; the one before, where only the light or the wall is another."""
        of = (layout, doc.materials, doc.grout_lab)
        if self._kept is None or any(a is not b for a, b in zip(of, self._kept[0], strict=True)):
            self._kept = of, Scene(doc, layout)
        return self._kept[1]

    def _drawn(self, job: int, found: tuple[tuple[QImage, ...], Sequence[Point]]) -> None:
        if job != self._job:
            return
        self._over = job
        copies, corners = found
        if self.photo.size_px == (copies[0].width(), copies[0].height()):
            self.photo.copies = copies  # seen as closely as before
        else:
            self.photo.show_copies(copies)
        self.photo.corners = list(corners)
        self.photo.update()
        self.told.setText("" if self._view == WORK or corners else NO_WALL)

    def _failed(self, job: int, words: str) -> None:
        if job == self._job:
            self._over = job
            self.told.setText(words)

    def settled(self) -> bool:
        """Whether what is seen is what is chosen."""
        return self._over == self._job and not self._settle.isActive()

    # --- paper --------------------------------------------------------------------------------

    def _work(self) -> tuple[Commission, Layout] | None:
        doc, layout = self.session.laid_doc, self.session.layout
        return None if doc is None or layout is None or not len(layout) else (doc, layout)

    def _pages(self) -> Callable[[], tuple[Page, ...]] | None:
        work = self._work()
        if work is None:
            self.told.setText("Nothing is laid yet.")
            return None
        doc, layout = work
        images = self.session.images
        told = made.told_of(date.today(), RoundBook(self.session).kept_as())

        def pages() -> tuple[Page, ...]:
            return proof_pages(doc, layout, images, made.drawn(doc, Scene(doc, layout)), told)

        return pages

    def look_at_pages(self) -> None:
        """Show the pages as they will be written."""
        pages = self._pages()
        if pages is not None:
            self.shown = Preview(self, self.session, "Proof", pages)
            self.shown.show()

    def _where(self, title: str, name: str) -> str:
        return where_to(self, title, name, f"*{Path(name).suffix}", "papers", self.session.path)

    def choose(self) -> None:
        """Ask where, and write the proof."""
        path = self._where("Proof", "proof.pdf")
        if path:
            self.write(path)

    def write(self, path: str) -> None:
        """Write the proof as it stands."""
        pages = self._pages()
        if pages is not None:
            title = self.session.doc.title
            self.session.write(path, lambda: write_pdf(path, pages(), title))

    def choose_picture(self) -> None:
        """Ask where, and write what is seen as a picture."""
        path = self._where("Picture", "proof.png")
        work = self._work()
        if path and work is not None:
            view, images = self._view, self.session.images
            fine = self.fineness.value

            def write() -> None:
                doc, layout = work
                drawn = made.drawn(doc, Scene(doc, layout))
                pixels = (
                    whole_of(doc, drawn, fine)
                    if view == WORK
                    else seen_in_place(doc, images, drawn)
                )
                made.write_picture(path, pixels)

            self.session.write(path, write)

    def done(self, result: int) -> None:
        """What is on its way when the window closes is not wanted."""
        self._job = -1
        self._worker.close()
        super().done(result)


class _Words(QPlainTextEdit):
    """Words of some lines; they are told when the box is left."""

    def __init__(self, left: Callable[[], object]) -> None:
        super().__init__()
        self._left = left
        self.setTabChangesFocus(True)
        self.setFixedHeight(84)

    def show_words(self, words: str) -> None:
        """Show words, unless they are being typed."""
        if not self.hasFocus() and words != self.toPlainText():
            self.setPlainText(words)

    def focusOutEvent(self, event: Any) -> None:
        """Tell what was typed."""
        super().focusOutEvent(event)
        self._left()


def _percent(v: int) -> str:
    return f"{v} %"


def _from_where(v: int) -> str:
    """Return where light from so many degrees, clockwise from above, comes from."""
    names = ("above", "upper right", "the right", "lower right", "below", "lower left", "the left",
             "upper left")  # fmt: skip
    return names[round((v % 360) / 45) % 8]
