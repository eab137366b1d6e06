"""Flow: the andamento, by flow lines and borders, and lines that give a size."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QListWidget, QListWidgetItem

from app.jobcard.base import Leaf
from app.tools.drawing import SizeLineTool
from app.widgets import Choice, Number, Switch, button, row, text
from core.commission import FlowLine, change_flow_line, remove_flow_line


class FlowLeaf(Leaf):
    """How the courses run."""

    name = "Flow"
    purpose = (
        "Draw flow lines over the sketch; courses run along them and spread between them. Size "
        "lines say where pieces are smaller or larger."
    )

    def build(self) -> None:
        self.for_whom = text("", "hint")
        self.new_size = Number(
            "Pieces along a new one",
            "mm",
            1,
            500,
            lambda v: self.tool.ask(v),
            tip="They grow or shrink to the field's own by a tenth from piece to piece",
        )
        self.group(
            "Draw",
            self.for_whom,
            button("Draw a flow line", lambda: self.bench.take("Flow line"), "main"),
            button("Draw a size line", lambda: self.bench.take("Size line")),
            self.new_size,
        )
        self.list = QListWidget()
        self.list.setMinimumHeight(150)
        self.list.currentItemChanged.connect(lambda *_: self._show_line())
        self.none = text("", "hint")
        self.curve = Switch(
            "A smooth curve through its points",
            self._smooth,
            "Off: straight from point to point",
        )
        self.gives = Choice(
            "It gives",
            (("way", "the way"), ("size", "a size"), ("both", "both")),
            self._give,
        )
        self.size = Number("Pieces along it", "mm", 1, 500, self._resize)
        self.group(
            "Lines",
            self.none,
            self.list,
            row(
                button("For all fields", lambda: self._owner(None)),
                button("For the field", lambda: self._owner(self._one())),
            ),
            self.curve,
            self.gives,
            self.size,
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

    def _give(self, what: str) -> None:
        """Let the line lead courses, give a size, or both."""
        line = self._shown()
        if line is not None:
            size = line.tessera_mm or self.tool.size_mm()
            self.try_to(
                "What a line gives",
                lambda: change_flow_line(
                    self.doc,
                    line.id,
                    leads=what != "size",
                    tessera_mm=None if what == "way" else size,
                ),
            )

    def _resize(self, tessera_mm: float) -> None:
        line = self._line()
        if line is not None:
            self.try_to(
                "Size along a line",
                lambda: change_flow_line(self.doc, line, tessera_mm=tessera_mm),
            )

    def _shown(self) -> FlowLine | None:
        return next((x for x in self.doc.flow_lines if x.id == self._line()), None)

    def _show_line(self) -> None:
        line = self._shown()
        for control in (self.curve, self.gives):
            control.setEnabled(line is not None)
        self.curve.show_value(line is not None and line.smooth)
        sized = line is not None and line.tessera_mm is not None
        self.size.setVisible(sized)
        if line is not None:
            self.gives.show_value("size" if not line.leads else "both" if sized else "way")
            self.size.show_value(line.tessera_mm or 1.0)

    @property
    def tool(self) -> SizeLineTool:
        """The tool that draws size lines."""
        tool = self.bench.tools[SizeLineTool.name]
        assert isinstance(tool, SizeLineTool)
        return tool

    def _show_size(self) -> None:
        self.tool.told = self._show_size
        self.new_size.show_value(self.tool.size_mm())

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
            size = "" if line.tessera_mm is None else f"  ·  {line.tessera_mm:g} mm pieces"
            item = QListWidgetItem(f"{name}  ·  {len(line.points)} points{size}")
            item.setData(Qt.ItemDataRole.UserRole, line.id)
            self.list.addItem(item)
            if line.id == now:
                self.list.setCurrentItem(item)
        self.list.blockSignals(False)
        self._show_line()
        self._show_size()
        self.none.setVisible(not self.list.count())
        self.none.setText(f"No line guides {whose} yet; the courses follow the border.")
        some = self.chosen()
        self.follow_card.setEnabled(bool(some))
        self.follow.show_value(bool(some) and all(f.laying.follow_border for f in some))
