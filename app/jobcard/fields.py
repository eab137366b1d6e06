"""Fields: their names and motifs, joined and parted, and the client's rounds of more and fewer."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QColor, QIcon, QPixmap
from PySide6.QtWidgets import QAbstractItemView, QLineEdit, QListWidget, QListWidgetItem

from app.jobcard.base import Leaf
from app.jobcard.ornament import OrnamentChoices
from app.jobcard.quick import Quick
from app.jobcard.repeat import RepeatChoices
from app.tools.parting import PartTool
from app.tools.repeat import RepeatTool
from app.widgets import Number, button, row, text
from core.agreed import agree, no_longer_agreed
from core.colour.convert import swatch_rgb
from core.commission import Commission, Field
from core.errors import EmblemaError
from core.fields import Edited, add_ground, gaps_and_overlaps, knit_all, merge, smooth_borders
from core.material import Lab
from core.more import MOST, fewer_of, more_of, things
from core.pieces import LaidField
from core.repeats import part_places
from core.rounds import scale_fields

STEP = 1.1
STEP_WORDS = "Bigger and smaller go by a tenth in width and height, about the middle."
BARE = "#ddd8cc"  # where a field has no colour yet


class FieldsLeaf(Leaf):
    """The map of fields."""

    name = "Fields"
    purpose = "The areas laid in one way. Draw them with Outline, or trace them from the sketch."

    def build(self) -> None:
        self.ornament = OrnamentChoices(self.session, self.bench)
        self._ornament = self.group("Ornament", self.ornament)
        self._ornament.hide()
        self.repeat = RepeatChoices(self.bench)
        self._repeat = self.group("Repeat", self.repeat)
        self._repeat.hide()
        self.bench.tool_changed.connect(self._tool_taken)
        self.list = QListWidget()
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.list.setIconSize(QSize(26, 18))
        self.list.setMinimumHeight(250)
        self.list.itemSelectionChanged.connect(self._list_chosen)
        self.group("Fields, the uppermost first", self.list)
        self.title = QLineEdit()
        self.title.editingFinished.connect(self._rename)
        self.motif = QLineEdit()
        self.motif.setPlaceholderText("such as heron, reeds, border")
        self.motif.editingFinished.connect(self._motif)
        self.one = self.group("Chosen", row("Name", self.title), row("Motif", self.motif))
        self.group(
            "Shape",
            row(
                button("Draw", lambda: self.bench.take("Outline"), tip="Draw a field (O)"),
                button("Ornament", lambda: self.bench.take("Ornament"), tip="A border, strip (R)"),
                button("Ground", self._ground, tip="One field of all that is not covered"),
            ),
            row(
                button("Join", self._merge, tip="Make one field of those chosen"),
                button("Part", self._part, tip="Part the chosen field along a line drawn across"),
            ),
            row(
                button("Smooth", self._smooth, tip="Smooth the borders of those chosen"),
                button("To the top", self._raise, tip="List the chosen fields uppermost"),
            ),
        )
        self.asked = text("", "hint")
        self.many = Number("How many", "", 1, MOST, lambda _: None, 0, 1)
        self.more = button("More", self._more, tip="Others of what is chosen, each beside its like")
        self.fewer = button("Fewer", self._fewer, tip="What lies beneath runs on in their place")
        self.bigger = button("Bigger", lambda: self._scale(STEP))
        self.smaller = button("Smaller", lambda: self._scale(1 / STEP))
        self.whole = button("Choose the whole motif", self._whole_motif)
        self.quick = Quick(self.session, self.bench)
        self.group(
            "A round of changes",
            self.asked,
            self.many,
            row(self.more, self.fewer),
            row(self.bigger, self.smaller),
            self.whole,
            text(STEP_WORDS, "hint"),
            self.quick,
        )
        self.linked = text("", "hint")
        self.repeats = button(
            "Repeat ...", self._repeat_chosen, tip="Along a line, round a frame or about a centre"
        )
        self.part_place = button(
            "Part this place", self._part_place, tip="It follows the others no longer"
        )
        self.all_places = button("Choose all places", self._all_places)
        self.group(
            "Repeats of a motif", self.linked, row(self.repeats, self.part_place), self.all_places
        )
        self.agreed = text("", "hint")
        self.agree = button("Agreed", self._agree, tip="What would change them asks first")
        self.free = button("No longer agreed", self._free)
        self.group("Agreed with the client", self.agreed, row(self.agree, self.free))
        self.check = text("", "hint")
        self.mend = button("Mend gaps and overlaps", self._knit)
        self.group("Sound?", self.check, self.mend)
        self._filling = False
        self._checked: object = None
        self._icons: dict[str, tuple[Lab | None, QIcon]] = {}  # by field, with their colour

    def _tool_taken(self, name: str) -> None:
        self._ornament.setVisible(name == "Ornament")
        if name == "Ornament":
            self.ornament.take_up()
        self._repeat.setVisible(name == RepeatTool.name)
        if name == RepeatTool.name:
            self.repeat.take_up()

    def _edited(self, label: str, make: Callable[[], Edited]) -> None:
        notes: list[str] = []
        ids: list[str] = []

        def do() -> object:
            edited = make()
            notes.extend(edited.notes)
            ids.append(edited.field_id)
            return edited.doc

        if self.try_to(label, do):  # type: ignore[arg-type]
            if ids and ids[0]:
                self.session.select((ids[0],))
            for n in notes:
                self.session.message.emit(n)

    def _ids(self) -> list[str]:
        return [f.id for f in self.chosen()]

    def _ground(self) -> None:
        self._edited("Add the ground", lambda: add_ground(self.doc))

    def _merge(self) -> None:
        self._edited("Join fields", lambda: merge(self.doc, self._ids()))

    def _part(self) -> None:
        self.bench.tools.setdefault(PartTool.name, PartTool(self.bench))
        self.bench.take(PartTool.name)

    def _raise(self) -> None:
        ids = set(self._ids())
        rest = tuple(f for f in self.doc.fields if f.id not in ids)
        self.change("Order the fields", fields=(*rest, *self.chosen()))

    def _smooth(self) -> None:
        self.try_to("Smooth borders", lambda: smooth_borders(self.doc, self._ids()))

    def _more(self) -> None:
        ids, many = self._ids(), int(self.many.value)
        self._follow("More", lambda: more_of(self.doc, ids, many))

    def _fewer(self) -> None:
        ids, many = self._ids(), int(self.many.value)
        self._follow("Fewer", lambda: Edited(fewer_of(self.doc, ids, many), ""))

    def _scale(self, by: float) -> None:
        ids = self._ids()
        self._follow("Bigger" if by > 1 else "Smaller", lambda: scale_fields(self.doc, ids, by))

    def _follow(self, label: str, make: Callable[[], Edited]) -> None:
        """Make a client's change; what would vanish by it is asked about first, all at once."""
        notes: list[str] = []

        def do() -> Commission:
            edited = make()
            if edited.lost and not self.session.ask(_losing(label, edited.lost)):
                raise EmblemaError("Left as it is.")
            notes.extend(edited.notes)
            return edited.doc

        self.quick.follow(lambda: self.try_to(label, do))
        for n in notes[:1]:
            more = f" And {len(notes) - 1} more like it." if len(notes) > 1 else ""
            self.session.message.emit(n + more)

    def _whole_motif(self) -> None:
        motifs = {f.motif for f in self.chosen() if f.motif}
        self.session.select(f.id for f in self.doc.fields if f.motif in motifs)

    def _repeat_chosen(self) -> None:
        self.bench.take(self.repeat.tool.name)

    def _part_place(self) -> None:
        self.try_to("Part a place", lambda: part_places(self.doc, self._ids()))

    def _all_places(self) -> None:
        chosen = set(self._ids())
        self.session.select(
            i
            for r in self.doc.repeats
            if any(chosen & set(place.fields) for place in r.places)
            for place in r.places
            for i in place.fields
        )

    def _show_asked(self, some: list[Field]) -> None:
        for b in (self.many, self.more, self.fewer, self.bigger, self.smaller):
            b.setEnabled(bool(some))
        self.whole.setEnabled(any(f.motif for f in some))
        if not some:
            self.asked.setText(
                "Nothing is chosen yet: choose a field in the list or on the bench, then say what "
                "the client asks for."
            )
            return
        count = len(things(self.doc, [f.id for f in some]))
        names = ", ".join(f.name for f in some[:2]) + (" ..." if len(some) > 2 else "")
        counted = "as one" if count == 1 else f"{count} of them"
        self.asked.setText(f"Chosen: {names}. More and Fewer count {counted}.")

    def _show_linked(self) -> None:
        linked = self.doc.linked()
        ids = self._ids()
        some = [i for i in ids if i in linked]
        self.repeats.setEnabled(bool(ids) and not some)
        self.part_place.setEnabled(bool(some))
        self.all_places.setEnabled(bool(some))
        if some:
            words = "Linked: what is changed in one place is changed in all, until it is parted."
        elif ids:
            words = "Laid once, and alike along a line, round a frame or about a centre."
        else:
            words = "Choose a motif or fields to repeat."
        self.linked.setText(words)

    def _agree(self) -> None:
        self.try_to("Agree fields", lambda: agree(self.doc, self._ids(), date.today().isoformat()))

    def _free(self) -> None:
        self.try_to("No longer agreed", lambda: no_longer_agreed(self.doc, self._ids()))

    def _show_agreed(self) -> None:
        since = {a.field_id: a.on for a in self.doc.agreed}
        ids = self._ids()
        some = [i for i in ids if i in since]
        self.agree.setEnabled(len(some) < len(ids))
        self.free.setEnabled(bool(some))
        if not ids:
            words = f"{len(since)} of {len(self.doc.fields)} fields are agreed."
        elif len(ids) == 1:
            words = f"Agreed on {since[ids[0]]}." if some else "Not agreed yet."
        else:
            words = f"{len(some)} of the {len(ids)} chosen are agreed."
        self.agreed.setText(f"{words} What would change an agreed field asks first.")

    def _knit(self) -> None:
        self._edited("Mend gaps and overlaps", lambda: knit_all(self.doc))

    def _rename(self) -> None:
        chosen = self.chosen()
        if len(chosen) == 1 and self.title.text().strip() not in ("", chosen[0].name):
            self.change_chosen("Name a field", name=self.title.text().strip())

    def _motif(self) -> None:
        motif = self.motif.text().strip()
        if any(f.motif != motif for f in self.chosen()):
            self.change_chosen("Set the motif", motif=motif)

    def _list_chosen(self) -> None:
        if not self._filling:
            ids = [i.data(Qt.ItemDataRole.UserRole) for i in self.list.selectedItems()]
            self.session.select(ids)

    def refresh(self) -> None:
        self._filling = True
        doc, layout = self.doc, self.session.layout
        laid = {f.field_id: f for f in layout.fields} if layout is not None else {}
        chosen = set(self.session.selection)
        agreed = {a.field_id for a in doc.agreed}
        places = {
            i: f"  ·  place {n} of {len(r.places)}"
            for r in doc.repeats
            for n, place in enumerate(r.places, 1)
            for i in place.fields
        }
        ids = [f.id for f in reversed(doc.fields)]
        if ids != [item.data(Qt.ItemDataRole.UserRole) for item in self._items()]:
            place = self.list.verticalScrollBar().value()
            self.list.clear()
            for i in ids:
                item = QListWidgetItem()
                item.setIcon(self._icons[i][1] if i in self._icons else _icon(None))
                item.setData(Qt.ItemDataRole.UserRole, i)
                self.list.addItem(item)
            self.list.verticalScrollBar().setValue(place)
        for f, item in zip(reversed(doc.fields), self._items(), strict=True):
            pieces = len(laid[f.id].pieces) if f.id in laid else 0
            motif = f"  ·  {f.motif}" if f.motif else ""
            sure = "  ·  agreed" if f.id in agreed else ""
            item.setText(f"{f.name}{motif}  ·  {pieces:,}{places.get(f.id, '')}{sure}")
            item.setSelected(f.id in chosen)
            if f.id in chosen and len(chosen) == 1:
                self.list.scrollToItem(item)
        self._filling = False
        some = self.chosen()
        self.one.setEnabled(bool(some))
        self.title.setEnabled(len(some) == 1)
        self.title.setText(
            some[0].name if len(some) == 1 else f"{len(some)} fields" if some else ""
        )
        motifs = {f.motif for f in some}
        self.motif.setText(motifs.pop() if len(motifs) == 1 else "")
        self._show_asked(some)
        self.quick.refresh()
        self._show_linked()
        self._show_agreed()

    def draw(self) -> None:
        layout = self.session.layout
        laid = {f.field_id: f for f in layout.fields} if layout is not None else {}
        for item in self._items():
            i = item.data(Qt.ItemDataRole.UserRole)
            colour = _mean(laid.get(i))
            if i not in self._icons or self._icons[i][0] != colour:
                self._icons[i] = colour, _icon(colour)
                item.setIcon(self._icons[i][1])
        self._check()

    def _items(self) -> list[QListWidgetItem]:
        return [self.list.item(k) for k in range(self.list.count())]

    def _check(self) -> None:
        """Say whether the fields are sound, if their outlines are not those told of already."""
        doc = self.doc
        now = (doc.width_mm, doc.height_mm, tuple(f.outline for f in doc.fields))
        if now == self._checked:
            return
        self._checked = now
        if not doc.fields:
            self.check.setText("No fields yet.")
            self.mend.setEnabled(False)
            return
        faults = gaps_and_overlaps(doc)
        gaps = sum(a for kind, a, _ in faults if kind == "gap")
        overlaps = [a for kind, a, _ in faults if kind == "overlap"]
        words = "Fields cover the whole work." if gaps < 1 else f"{gaps / 100:,.1f} cm² is bare."
        if overlaps:
            words += f" {len(overlaps)} overlaps, {sum(overlaps):.1f} mm²."
        self.check.setText(words)
        self.mend.setEnabled(bool(overlaps))


def _losing(label: str, lost: tuple[str, ...]) -> str:
    names = ", ".join(lost[:8]) + (f" and {len(lost) - 8} more" if len(lost) > 8 else "")
    return f"'{label}' would cover, wholly or for the most part: {names}."


def _mean(laid: LaidField | None) -> Lab | None:
    """Return the mean colour wanted of a field's pieces."""
    wanted = laid.wanted_lab[np.isfinite(laid.wanted_lab).all(1)] if laid is not None else ()
    if not len(wanted):
        return None
    lightness, a, b = (float(v) for v in np.mean(wanted, axis=0))
    return lightness, a, b


def _icon(lab: Lab | None) -> QIcon:
    picture = QPixmap(26, 18)
    picture.fill(QColor(*swatch_rgb(lab)[0]) if lab is not None else QColor(BARE))
    return QIcon(picture)
