"""Laying: which opus, how large the pieces, how wide the joint, how steady the hand."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import QGridLayout, QLineEdit, QMessageBox, QToolButton, QWidget

from app import theme
from app.jobcard.base import Leaf
from app.jobcard.pictures import laying_icon
from app.widgets import Choice, Drop, Number, Switch, button, text
from core.changes import changes, told
from core.commission import LAYINGS, Commission, Field, change_field
from core.errors import EmblemaError
from core.geometry import SNAP_MM, polygon_of
from core.laying import SOLVER_VERSION
from core.pieces import Layout
from core.sizes import grade_of, least_within, takes_sizes

TELL = {
    "tessellatum": "Parallel courses along the flow.",
    "regulatum": "A grid; joints in line both ways.",
    "vermiculatum": "Small courses hug the figure; the rest flows round them.",
    "musivum": "The hugging courses fill the whole field.",
    "classicum": "A few hugging courses, then plain parallel courses.",
    "palladianum": "Irregular pieces, like broken stone.",
    "circumactum": "Fans on a module.",
    "sectile": "One shaped piece, or a few, cut along the field's flow lines.",
}

FREE = ("palladianum", "circumactum", "sectile")  # no course of theirs follows the border
LARGE = 6.0  # tesserae across, from which one piece of a whole field is asked about

HUGGING = ("vermiculatum", "musivum", "classicum")
BANDED = ("tessellatum", "musivum")  # they turn the corners of a straight band


def _across_mm(field: Field) -> float:
    """Return the longer side of the box about a field."""
    x0, y0, x1, y1 = polygon_of(field.outline).bounds
    return float(max(x1 - x0, y1 - y0))


def _upright(field: Field) -> bool:
    """Return whether all sides of a field are level or upright."""
    return all(
        min(abs(x1 - x0), abs(y1 - y0)) < SNAP_MM
        for part in field.outline
        for ring in part
        for (x0, y0), (x1, y1) in zip(ring, (*ring[1:], ring[0]), strict=True)
    )


class LayingLeaf(Leaf):
    """How the chosen fields are laid."""

    name = "Laying"
    purpose = "How the chosen fields are laid. Every change is laid again at once."

    def build(self) -> None:
        grid = QWidget()
        cells = QGridLayout(grid)
        cells.setContentsMargins(0, 0, 0, 0)
        cells.setSpacing(4)
        self.buttons: dict[str, QToolButton] = {}
        for k, laying in enumerate(LAYINGS):
            b = QToolButton()
            b.setCheckable(True)
            b.setIconSize(QSize(64, 46))
            b.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextUnderIcon)
            b.setText(laying)
            b.setToolTip(TELL[laying])
            b.setProperty("role", "leaf")
            theme.fix(b, 92, 78)
            b.setStyleSheet("QToolButton:checked { font-weight: 400; }")  # the long names fit
            b.clicked.connect(lambda _, name=laying: self._laying(name))
            cells.addWidget(b, k // 3, k % 3)
            self.buttons[laying] = b
        self.tell = text("", "hint")
        self.follow = Switch(
            "Courses follow the border",
            lambda on: self.change_chosen("Follow the border", follow_border=on),
            "Near its border the field's courses run along it",
        )
        self.led = text("", "hint")
        self.of = text("", "head")
        self.which = self.group("", self.of, grid, self.tell, self.follow, self.led)
        self.pieces = Choice(
            "Pieces",
            (("cut", "cut tesserae"), ("rounds", "pebbles and rounds"), ("tapers", "long shells")),
            lambda v: self.change_chosen("Choose the pieces", pieces=v),
        )

        def number(
            name: str,
            attribute: str,
            unit: str,
            low: float,
            high: float,
            step: float = 0.5,
            decimals: int = 1,
            by: float = 1.0,
            tip: str = "",
        ) -> Number:
            n = Number(
                name,
                unit,
                low,
                high,
                lambda v: self.change_chosen(f"{name}", **{attribute: v * by}),
                decimals,
                step,
                tip,
            )
            self.numbers[attribute] = (n, by)
            return n

        self.numbers: dict[str, tuple[Number, float]] = {}
        self.sizes = self.group(
            "Pieces",
            self.pieces,
            number("Tessera", "tessera_mm", "mm", 1, 500),
            number("Joint", "joint_mm", "mm", 0.1, 50, 0.1, 2),
            number("Lengths vary", "variation", "%", 0, 30, 1, 0, 0.01, "As by hand"),
            number("Widths vary", "width_variation", "%", 0, 30, 1, 0, 0.01, "As by hand"),
        )
        self.toward = Drop()
        self.toward.activated.connect(lambda _: self._toward())
        self.finest = Number(
            "Beside it", "mm", 1, 500, lambda v: self.change_chosen("Finest tessera", finer_mm=v)
        )
        self.within = Number(
            "Its own size from piece",
            "",
            2,
            100,
            lambda v: self.change_chosen("Pieces it is graded over", finer_within=int(v)),
            0,
            1,
            "Counted from the motif's border",
        )
        self.graded = text("", "hint")
        self.finer = self.group(
            "Smaller toward a motif", self.toward, self.finest, self.within, self.graded
        )
        self.hug = QLineEdit()
        self.hug.setAccessibleName("Motifs whose border is hugged")
        self.hug.setPlaceholderText("motifs; none: its own border")
        self.hug.editingFinished.connect(self._hug)
        self.courses = Number(
            "Hugging courses",
            "",
            1,
            5,
            lambda v: self.change_chosen("Hugging courses", hug_courses=int(v)),
            0,
            1,
        )
        self.hug_size = Number(
            "Their tessera",
            "mm",
            1,
            500,
            lambda v: self.change_chosen("Hugging tessera", hug_tessera_mm=v),
        )
        self.hugging = self.group(
            "Hugging courses",
            text("They hug the border with these motifs:", "hint"),
            self.hug,
            self.courses,
            self.hug_size,
        )
        self.corners = Choice(
            "Corners of a band",
            (("mitre", "cut on the slant"), ("butt", "one runs through")),
            lambda v: self.change_chosen("Turn corners", corners=v),
        )
        self.corners.setToolTip("Where the field is a straight band that turns at right angles")
        self.special = self.group(
            "This laying's own",
            number("Sizes spread", "spread", "%", 0, 60, 1, 0, 0.01),
            number("Turned along the flow", "strictness", "%", 0, 100, 5, 0, 0.01),
            number("Length to width", "slenderness", "", 1, 8, 0.1, 2),
            number("Fans apart", "module_mm", "mm", 20, 2000, 5, 0),
            self.corners,
        )
        self.throw = button(
            "Lay again with another hand",
            self._throw,
            tip="The chosen fields: the same choices with other small irregularities",
        )
        self.older = text("", "hint")
        self.anew = button(
            "Lay again with this version ...", self._anew, tip="Says first what would change"
        )
        self.group("", self.throw, self.older, self.anew)

    def _laying(self, name: str) -> None:
        if name == "sectile" and (whole := self._uncut()) and not self._one_piece(whole):
            self.refresh()
            return
        self.change_chosen(f"Lay in {name}", opus=name)
        self.refresh()

    def _lines(self, field: Field) -> int:
        """Return how many flow lines lead a field."""
        return sum(x.leads and x.field_id in (None, field.id) for x in self.doc.flow_lines)

    def _uncut(self) -> list[Field]:
        """Return the chosen fields that sectile would lay as one large piece."""
        drawn = {x.field_id for x in self.doc.flow_lines}
        return [
            f
            for f in self.chosen()
            if f.id not in drawn and _across_mm(f) > LARGE * f.laying.tessera_mm
        ]

    def _one_piece(self, fields: list[Field]) -> bool:
        """Ask whether fields are to be one piece each."""
        largest = max(fields, key=_across_mm)
        size = f"{_across_mm(largest):.0f} mm"
        words = (
            f"'{largest.name}' would be one piece of {size}: no flow line of its own cuts it."
            if len(fields) == 1
            else f"{len(fields)} fields would be one piece each, the largest '{largest.name}' of "
            f"{size}: no flow lines of their own cut them."
        )
        ask = QMessageBox(QMessageBox.Icon.Question, "Sectile", words, parent=self)
        ask.setInformativeText("Draw flow lines for the field alone where it is to be cut.")
        yes = ask.addButton("Lay it so", QMessageBox.ButtonRole.AcceptRole)
        ask.setDefaultButton(ask.addButton("Leave it", QMessageBox.ButtonRole.RejectRole))
        ask.exec()
        return ask.clickedButton() is yes

    def _show_led(self, first: Field, some: bool) -> None:
        """Show what leads the courses of the first chosen field, and whether the border does."""
        laying, lines = first.laying, self._lines(first)
        hugs = laying.opus in HUGGING and laying.hug
        free = laying.opus in FREE or bool(hugs)
        self.follow.show_value(some and laying.follow_border and not free)
        self.follow.setEnabled(some and not free)
        led = f"{lines} flow line{'s' * (lines != 1)}" if lines else ""
        if not some:
            words = ""
        elif laying.opus in FREE:
            words = "Its border and where courses follow it have no say in this laying."
        elif hugs:
            words = f"Led by the border with {', '.join(laying.hug)}."
        elif laying.opus == "regulatum" and laying.follow_border and not _upright(first):
            words = (
                "Its border is not upright and is followed, so the grid bends with it: switch that "
                "off for a straight grid."
            )
        else:
            both = [w for w in (led, "its border" if laying.follow_border else "") if w]
            words = f"Led by {' and '.join(both) or 'nothing: courses lie level'}."
        self.led.setText(words)
        self.led.setVisible(bool(words))

    def _hug(self) -> None:
        motifs = tuple(m.strip() for m in self.hug.text().split(",") if m.strip())
        doc = self.session.doc
        unknown = [m for m in motifs if m not in doc.motifs()]
        if unknown:
            known = ", ".join(doc.motifs()) or "none yet; name one on the Fields leaf"
            self.session.message.emit(f"No field has the motif '{unknown[0]}'. Motifs: {known}.")
            self.refresh()
        elif any(f.laying.hug != motifs for f in self.chosen()):
            self.change_chosen("Hug motifs", hug=motifs)

    def _toward(self) -> None:
        motif = self.toward.currentData()
        if any(f.laying.finer_toward != motif for f in self.chosen()):
            self.change_chosen("Smaller toward a motif", finer_toward=motif)

    def _show_finer(self, first: Field) -> None:
        """Show toward what the first chosen field is graded, and how, in words."""
        laying, takes = first.laying, takes_sizes(first.laying)
        self.toward.clear()
        self.toward.addItem("no motif: one size", "")
        motifs = dict.fromkeys(m for m in self.doc.motifs() if m != first.motif)
        for motif in dict.fromkeys((*motifs, *filter(None, (laying.finer_toward,)))):
            self.toward.addItem(motif, motif)
        self.toward.setCurrentIndex(self.toward.findData(laying.finer_toward))
        self.toward.setEnabled(takes)
        graded = takes and bool(laying.finer_toward)
        for control in (self.finest, self.within):
            control.setVisible(graded)
        self.finest.show_value(laying.finest_mm)
        self.within.show_value(laying.finer_within)
        least = least_within(laying)
        if not takes:
            words = (
                "Only cut pieces laid in courses are graded; here size lines do not count either."
            )
        elif not graded:
            words = "Or draw a size line on the Flow leaf."
        elif laying.finer_within < least:
            words = f"Courses cannot narrow so fast: graded over {least} pieces."
        else:
            words = (
                f"{laying.finest_mm:g} mm at the border of '{laying.finer_toward}', "
                f"{laying.tessera_mm:g} mm from piece {laying.finer_within} on; each "
                f"{100 * grade_of(laying):.0f} % larger than the one before."
            )
        self.graded.setText(words)

    def _throw(self) -> None:
        def make() -> Commission:
            doc = self.doc
            for f in self.chosen():
                doc = change_field(doc, f.id, throw=f.laying.throw + 1)
            return doc

        self.try_to("Another throw of the hand", make)

    def _older(self) -> list[str]:
        """Return the fields, of those chosen or of all, that an earlier version laid."""
        layout = self.session.layout
        kept = layout.kept if layout is not None else {}
        ids = {f.id for f in self.chosen()} or set(kept)
        return [k for k, one in kept.items() if k in ids and one.solver < SOLVER_VERSION]

    def _anew(self) -> None:
        self.session.try_anew(self._older(), self._offer)

    def _offer(self, layout: Layout) -> None:
        """Say what would change, and let it stand if it is wanted."""
        before, doc = self.session.layout, self.doc
        if before is None:
            return
        found = told(doc, changes(doc, before, layout))
        ask = QMessageBox(QMessageBox.Icon.Question, "Lay again", found, parent=self)
        ask.setInformativeText("It can be taken back with undo.")
        yes = ask.addButton("Lay again", QMessageBox.ButtonRole.AcceptRole)
        ask.setDefaultButton(ask.addButton("Leave as it lies", QMessageBox.ButtonRole.RejectRole))
        ask.exec()
        if ask.clickedButton() is yes:
            try:
                self.session.take_anew("Lay again with this version", layout)
            except EmblemaError as e:
                self.session.message.emit(str(e))

    def showEvent(self, event: object) -> None:
        """Draw the little pictures when they are first seen."""
        super().showEvent(event)  # type: ignore[arg-type]
        if self.buttons[LAYINGS[0]].icon().isNull():
            for laying, b in self.buttons.items():
                b.setIcon(laying_icon(laying))

    def refresh(self) -> None:
        some = self.chosen()
        older = len(self._older())
        self.older.setText(
            f"As an earlier version laid them: {older} field{'s' if older > 1 else ''}. What "
            "stands is not laid again until you ask."
        )
        self.older.setVisible(bool(older))
        self.anew.setVisible(bool(older))
        for card in (self.which, self.sizes, self.finer, self.hugging, self.special, self.throw):
            card.setEnabled(bool(some))
        self.of.setText(
            "Choose a field on the bench"
            if not some
            else some[0].name
            if len(some) == 1
            else f"{len(some)} fields"
        )
        first = some[0] if some else Field("", "", ())
        for laying, b in self.buttons.items():
            b.setChecked(bool(some) and first.laying.opus == laying)
        self.tell.setText(TELL[first.laying.opus] if some else "")
        self.pieces.show_value(first.laying.pieces)
        for attribute, (n, by) in self.numbers.items():
            n.show_value(getattr(first.laying, attribute) / by)
        self._show_finer(first)
        self.hug.setText(", ".join(first.laying.hug))
        self.courses.show_value(first.laying.hug_courses)
        self.hug_size.show_value(first.laying.hug_tessera_mm or first.laying.tessera_mm * 2 / 3)
        self._show_led(first, bool(some))
        natural = first.laying.pieces != "cut"
        hugs = first.laying.opus in HUGGING and not natural
        self.hugging.setVisible(hugs)
        self.courses.setVisible(first.laying.opus != "musivum")
        self.hug_size.setVisible(first.laying.opus != "musivum")
        shown = {
            "spread": natural or first.laying.opus == "palladianum",
            "strictness": natural,
            "slenderness": natural,
            "module_mm": first.laying.opus == "circumactum" and not natural,
        }
        for attribute, on in shown.items():
            self.numbers[attribute][0].setVisible(on)
        turns = first.laying.opus in BANDED and not natural
        self.corners.show_value(first.laying.corners)
        self.corners.setVisible(turns)
        self.special.setVisible(turns or any(shown.values()))
