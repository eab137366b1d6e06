"""Look again: what a craftsman would take out, found before glass is cut, and mended at once."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QHideEvent, QPainter, QPen, QShowEvent
from PySide6.QtWidgets import QListWidget, QListWidgetItem

from app import theme
from app.canvas import Bench
from app.jobcard.base import Leaf
from app.jobs import Worker
from app.widgets import Choice, Number, Switch, button, row, text
from core.commission import Commission, Limits
from core.lookagain import Finding, look_again, mend, mend_all, scores
from core.lookagain.finding import RULES
from core.pieces import Layout

Sought = tuple[Layout, Limits]  # what was looked through, by which limits

LISTED = 300  # findings that are listed at most, the worst
CLOSE_PX_PER_MM = 5.0

# attribute, words, unit, least, most, step, decimals
LIMITS = (
    ("sliver_tesserae", "Sliver, narrower than", "tesserae", 0.05, 1, 0.05, 2),
    ("sharp_deg", "Corner, sharper than", "°", 5, 90, 1, 0),
    ("too_big_times", "Too big, beyond", "times", 1.05, 5, 0.05, 2),
    ("too_small_times", "Too small, below", "times", 0.05, 0.95, 0.05, 2),
    ("convex_share", "Hollow, fills less than", "of hull", 0.5, 1, 0.005, 3),
    ("narrow_joint", "Touching, less than", "joints", 0, 1, 0.05, 2),
    ("wide_joint", "Wide joint, beyond", "joints", 1, 5, 0.1, 1),
    ("pool_joints", "Grout pool, beyond", "joints", 1, 8, 0.1, 1),
    ("joints_in_line", "Joints in line, beyond", "courses", 1, 20, 1, 0),
    ("off_flow_deg", "Off the flow, beyond", "°", 1, 45, 1, 0),
    ("course_end_times", "Course end, below", "times", 0.05, 1, 0.05, 2),
    ("colour_delta_e", "Colour, farther than", "ΔE00", 0.5, 60, 0.5, 1),
)


class LookAgainLeaf(Leaf):
    """The findings, each with its reason, its place and a mend."""

    name = "Look again"
    purpose = "Pieces that a craftsman would take out. On the drawing it costs nothing."

    def build(self) -> None:
        self.findings: tuple[Finding, ...] = ()
        self.listed: list[Finding] = []
        self._asked: Sought | None = None
        self._found: Sought | None = None
        self.score = text("", "figure")
        self.told = text("", "hint")
        self.marks = Switch("Mark them on the bench", lambda on: self.bench.update())
        self.marks.show_value(True)
        self.group("", self.score, self.told, self.marks)
        self.where = Choice(
            "In",
            (("all", "the whole work"), ("chosen", "the chosen fields")),
            lambda _: self._list(),
        )
        self.rule = Choice("Show", (("", "all"),), lambda _: self._list())
        self.list = QListWidget()
        self.list.setWordWrap(True)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.setMinimumHeight(300)
        self.list.currentRowChanged.connect(lambda _: self.show_it())
        self.list.itemClicked.connect(lambda _: self.show_it())
        self.mend_one = button("Mend it", self.mend_it, "main", "Try what a hand would do here")
        self.mend_many = button("Mend all shown", self.mend_shown)
        self.reason = text("", "warn")
        self.reason.hide()
        self.group(
            "Findings, the worst first",
            self.where,
            self.rule,
            self.list,
            self.reason,
            row(self.mend_one, self.mend_many),
        )
        self.by_field = text("", "hint")
        self.group("Sound pieces, field by field", self.by_field)
        self.numbers = {
            attribute: Number(
                words,
                unit,
                low,
                high,
                lambda v, a=attribute: self._limit(a, v),
                decimals,
                step,
            )
            for attribute, words, unit, low, high, step, decimals in LIMITS
        }
        self.lone = Switch(
            "Show the only piece of a colour", lambda on: self._limit("lone_piece", on)
        )
        self.group(
            "Limits",
            *self.numbers.values(),
            self.lone,
            button("As is common practice", self._usual_limits),
        )
        self.bench.overlays.append(self._paint_marks)
        self._worker = Worker(self)
        self._worker.done.connect(self._done)
        self._worker.failed.connect(self._failed)
        self._worker.stopped.connect(lambda _: self._ready())
        self._mending: Commission | None = None

    def end(self) -> None:
        self._worker.close()

    # finding

    def refresh(self) -> None:
        doc, layout = self.session.laid_doc, self.session.layout
        for attribute, number in self.numbers.items():
            number.show_value(getattr(self.doc.limits, attribute))
        self.lone.show_value(self.doc.limits.lone_piece)
        chosen = bool(self.session.selection)
        self.where.setEnabled(chosen)
        if layout is None or doc is None:
            self.score.setText("Nothing laid yet")
            return
        s = self.session
        if s.recolours and not s.layout_is_current and self._mending is None:
            self._worker.stop()  # it would only keep the figures waiting
            self._asked = None
        if not self._looked_for(self._found):
            self.score.setText("Looking ...")
        elif self.where.value == "chosen":
            self._list()

    def draw(self) -> None:
        doc, layout = self.session.laid_doc, self.session.layout
        if layout is None or doc is None or self._looked_for(self._asked):
            return
        limits = self.doc.limits
        self._asked = (layout, limits)
        looked = replace(doc, limits=limits)
        self._mending = None
        self._worker.ask(
            lambda progress, stop: (layout, look_again(looked, layout, stop=stop), looked)
        )

    def _looked_for(self, sought: Sought | None) -> bool:
        """Return whether this is what the layout and the limits as they stand ask for."""
        return (
            sought is not None and sought[0] is self.session.layout and sought[1] == self.doc.limits
        )

    def _done(self, number: int, result: tuple[object, ...]) -> None:
        if self._mending is not None:
            self._mended(result)
            return
        layout, findings, looked = result
        if self._asked is None or layout is not self._asked[0]:
            return
        assert isinstance(layout, Layout) and isinstance(looked, Commission)
        self.findings = findings  # type: ignore[assignment]
        self._found = (layout, looked.limits)
        by_rule = Counter(f.rule for f in self.findings)
        now = self.rule.value
        self.rule.box.blockSignals(True)
        self.rule.box.clear()
        self.rule.box.addItem(f"all ({len(self.findings):,})", "")
        for rule, n in by_rule.most_common():
            self.rule.box.addItem(f"{RULES[rule]} ({n:,})", rule)
        self.rule.box.blockSignals(False)
        self.rule.show_value(now)
        names = {f.id: f.name for f in looked.fields}
        by_field = scores(looked, layout, self.findings)
        pieces = {f.field_id: len(f.pieces) for f in layout.fields}
        total = sum(pieces.values())
        sound = sum(by_field[i] * n for i, n in pieces.items()) / total if total else 100.0
        self.score.setText(f"{sound:.1f} % sound")
        n = len(self.findings)
        self.told.setText(f"{n:,} finding{'s' if n != 1 else ''} in {total:,} tesserae.")
        worst = sorted(by_field.items(), key=lambda s: s[1])
        self.by_field.setText("\n".join(f"{names[i]}: {s:.1f} %" for i, s in worst if pieces[i]))
        self._list()

    def _list(self) -> None:
        ids = set(self.session.selection) if self.where.value == "chosen" else set()
        some = [
            f
            for f in self.findings
            if (not self.rule.value or f.rule == self.rule.value) and (not ids or f.field_id in ids)
        ]
        some.sort(key=_how_bad, reverse=True)
        names = {f.id: f.name for f in self.doc.fields}
        if some[:LISTED] == self.listed and self.list.count() == len(self.listed):
            return
        self.listed = some[:LISTED]
        self.list.blockSignals(True)
        self.list.clear()
        for f in self.listed:
            head = f"{RULES[f.rule]}  ·  {names.get(f.field_id, '')}"
            item = QListWidgetItem(f"{head}\n{f.sentence}")
            item.setToolTip(
                f"{f.measured:.2f} {f.unit}, limit {f.limit:g}\n"
                f"{f.at_mm[0]:.0f} mm from the left, {f.at_mm[1]:.0f} mm down"
            )
            self.list.addItem(item)
        self.list.blockSignals(False)
        self.mend_one.setEnabled(bool(self.listed))
        self.mend_many.setEnabled(bool(self.listed))
        if len(some) > LISTED:
            self.told.setText(f"{len(some):,} findings; the worst {LISTED} are listed.")
        self.reason.setVisible(False)
        self.bench.update()

    def chosen_finding(self) -> Finding | None:
        """Return the finding chosen in the list."""
        k = self.list.currentRow()
        return self.listed[k] if 0 <= k < len(self.listed) else None

    def show_it(self) -> None:
        """Bring the chosen finding to the middle of the bench."""
        f = self.chosen_finding()
        if f is None:
            return
        self.reason.setVisible(False)
        self.bench.show_place(*f.at_mm, max(self.bench.px_per_mm, CLOSE_PX_PER_MM))
        if f.index >= 0 and self.where.value != "chosen":
            self.session.select_piece(f.field_id, f.index)

    # mending

    def _standing(self) -> Layout | None:
        """Return the layout if it is that of the document and of the findings."""
        found_in = self._found[0] if self._found is not None else None
        if not self.session.layout_is_current or found_in is not self.session.layout:
            self.session.message.emit("It is still being laid; mend when it is done.")
            return None
        return self.session.layout

    def mend_it(self) -> None:
        """Try the mends that suit the chosen finding."""
        f, layout = self.chosen_finding(), self._standing()
        if f is None:
            self.session.message.emit("Choose a finding in the list first.")
            return
        if layout is None:
            return
        tried = mend(self.doc, layout, f)
        if tried.done:
            self.session.try_apply(f"Mend: {RULES[f.rule].lower()}", tried.doc)
        else:
            self.reason.setText(f"Not mended: {tried.reason}.")
            self.reason.setVisible(True)

    def mend_shown(self) -> None:
        """Mend all that are listed, in the background; one step."""
        layout = self._standing()
        if layout is None or not self.listed:
            return
        doc, todo = self.doc, list(self.listed)
        self._mending = doc
        self.mend_many.setEnabled(False)
        self.mend_many.setText("Mending ...")
        self._worker.ask(
            lambda progress, stop: (*mend_all(doc, layout, todo, stop, progress), len(todo))
        )

    def _mended(self, result: tuple[object, ...]) -> None:
        doc, count, tried = result
        asked, self._mending = self._mending, None
        self._ready()
        assert isinstance(doc, Commission)
        if self.doc is not asked:
            self.session.message.emit("The commission changed meanwhile; mend again.")
            return
        if count and not self.session.try_apply(f"Mend {count} findings", doc):
            return
        self.reason.setText(f"{count} of {tried} mended. Mend again for those close together.")
        self.reason.setVisible(True)

    def _failed(self, number: int, words: str) -> None:
        self._mending = None
        self._ready()
        self.session.message.emit(words)

    def _ready(self) -> None:
        self.mend_many.setEnabled(bool(self.listed))
        self.mend_many.setText("Mend all shown")

    def settled(self) -> bool:
        """Whether nothing is being looked for or mended, and the findings are the layout's."""
        return self._worker.idle and self._looked_for(self._found)

    # limits

    def _limit(self, attribute: str, value: float | bool) -> None:
        if attribute == "joints_in_line":
            value = int(value)
        self.change("Change a limit", limits=replace(self.doc.limits, **{attribute: value}))

    def _usual_limits(self) -> None:
        self.change("Limits as is common practice", limits=type(self.doc.limits)())

    # the bench

    def showEvent(self, event: QShowEvent) -> None:
        """The marks come with the leaf."""
        super().showEvent(event)
        self.bench.update()

    def hideEvent(self, event: QHideEvent) -> None:
        """And go with it."""
        super().hideEvent(event)
        self.bench.update()

    def _paint_marks(self, p: QPainter, bench: Bench) -> None:
        if not self.isVisible() or not self.marks.isChecked():
            return
        p.setBrush(Qt.BrushStyle.NoBrush)
        now = self.chosen_finding()
        for colour, width in ((QColor(255, 255, 255, 200), 3.4), (QColor(theme.RUST), 1.6)):
            p.setPen(QPen(colour, width))
            for f in self.listed:
                r = 15.0 if f is now else 8.0
                at: QPointF = bench.to_px(*f.at_mm)
                if bench.rect().adjusted(-20, -20, 20, 20).contains(at.toPoint()):
                    p.drawEllipse(at, r, r)


def _how_bad(f: Finding) -> float:
    """How far beyond its limit, as a ratio, whichever way the limit lies."""
    if f.limit <= 0 or f.measured <= 0:
        return 9.0
    by = f.measured / f.limit
    return by if by >= 1 else 1 / by
