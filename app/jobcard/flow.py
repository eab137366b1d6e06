"""Flow: the andamento, by flow lines and borders."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QListWidget, QListWidgetItem

from app.jobcard.base import Leaf
from app.widgets import Switch, button, row, text
from core.commission import change_flow_line, remove_flow_line


class FlowLeaf(Leaf):
    """How the courses run."""

    name = "Flow"
    purpose = "Draw flow lines over the sketch; courses run along them and spread between them."

    def build(self) -> None:
        self.for_whom = text("", "hint")
        self.group(
            "Draw",
            self.for_whom,
            button("Draw a flow line", lambda: self.bench.take("Flow line"), "main"),
        )
        self.list = QListWidget()
        self.list.setMinimumHeight(220)
        self.list.currentItemChanged.connect(lambda *_: self._show_line())
        self.none = text("", "hint")
        self.curve = Switch(
            "A smooth curve through its points",
            self._smooth,
            "Off: straight from point to point",
        )
        self.group(
            "Lines",
            self.none,
            self.list,
            row(
                button("For all fields", lambda: self._owner(None)),
                button("For the field", lambda: self._owner(self._one())),
            ),
            self.curve,
            button("Remove the line", self._remove),
        )
        self.follow = Switch(
            "Courses follow the border",
            lambda on: self.change_chosen("Follow the border", follow_border=on),
            "Near its border the field's courses run along it",
        )
        self.follow_card = self.group("Chosen fields", self.follow)

    def _one(self) -> str | None:
        chosen = self.session.selection
        return chosen[0] if len(chosen) == 1 else None

    def _line(self) -> str | None:
        item = self.list.currentItem()
        return item.data(Qt.ItemDataRole.UserRole) if item is not None else None

    def _owner(self, field_id: str | None) -> None:
        line = self._line()
        if line is not None:
            self.try_to(
                "Give a flow line to a field",
                lambda: change_flow_line(self.doc, line, field_id=field_id),
            )

    def _smooth(self, on: bool) -> None:
        line = self._line()
        if line is not None:
            self.try_to("Smooth a flow line", lambda: change_flow_line(self.doc, line, smooth=on))

    def _show_line(self) -> None:
        line = next((x for x in self.doc.flow_lines if x.id == self._line()), None)
        self.curve.setEnabled(line is not None)
        self.curve.show_value(line is not None and line.smooth)

    def _remove(self) -> None:
        line = self._line()
        if line is not None:
            self.try_to("Remove a flow line", lambda: remove_flow_line(self.doc, line))

    def refresh(self) -> None:
        doc, one = self.doc, self._one()
        names = {f.id: f.name for f in doc.fields}
        whose = names.get(one, "all fields") if one else "all fields"
        self.for_whom.setText(f"A line drawn now guides {whose}. Choose a field to draw for it.")
        now = self._line()
        self.list.blockSignals(True)
        self.list.clear()
        for line in doc.flow_lines:
            if one is not None and line.field_id not in (None, one):
                continue
            name = names.get(line.field_id, "all fields") if line.field_id else "all fields"
            item = QListWidgetItem(f"{name}  ·  {len(line.points)} points")
            item.setData(Qt.ItemDataRole.UserRole, line.id)
            self.list.addItem(item)
            if line.id == now:
                self.list.setCurrentItem(item)
        self.list.blockSignals(False)
        self._show_line()
        self.none.setVisible(not self.list.count())
        self.none.setText(f"No line guides {whose} yet; the courses follow the border.")
        some = self.chosen()
        self.follow_card.setEnabled(bool(some))
        self.follow.show_value(bool(some) and all(f.laying.follow_border for f in some))
