"""Whom a colour edit is for: the chosen fields, or all fields of their motifs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from PySide6.QtCore import Signal
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.session import Session
from app.widgets import Choice, text
from core.commission import Commission, Field, change_field
from core.pieces import LaidField

TryTo = Callable[[str, Callable[[], Commission]], bool]


class Scope(QWidget):
    """The fields at hand, what lies in them, and one edit to all of them."""

    changed = Signal()

    def __init__(self, session: Session, try_to: TryTo) -> None:
        super().__init__()
        self.session, self.try_to = session, try_to
        self.whom = text("", "head")
        self.choice = Choice(
            "For",
            (("fields", "the chosen fields"), ("motif", "their whole motif")),
            lambda _: self.changed.emit(),
        )
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        box.addWidget(self.whom)
        box.addWidget(self.choice)

    @property
    def of_motif(self) -> bool:
        """Whether an edit is for whole motifs."""
        return self.choice.value == "motif"

    def motifs(self) -> set[str]:
        """Return the motifs of the chosen fields."""
        ids = set(self.session.selection)
        return {f.motif for f in self.session.doc.fields if f.id in ids and f.motif}

    def fields(self) -> list[Field]:
        """Return the fields that an edit is for, in the document's order."""
        ids = set(self.session.selection)
        motifs = self.motifs() if self.of_motif else set()
        return [f for f in self.session.doc.fields if f.id in ids or f.motif in motifs]

    def edit(self, label: str, of: Callable[[Field], dict[str, Any]]) -> bool:
        """Change each field that the edit is for; one step. Return whether it was made."""

        def make() -> Commission:
            doc = self.session.doc
            for f in self.fields():
                doc = change_field(doc, f.id, **of(f))
            return doc

        return self.try_to(label, make)

    def change(self, label: str, **changes: Any) -> None:
        """Change all fields that the edit is for alike; one step."""
        self.edit(label, lambda f: changes)

    def laid(self) -> list[LaidField]:
        """Return what is laid in the fields at hand, in all where none is chosen."""
        layout = self.session.layout
        ids = {f.id for f in self.fields()} or {f.id for f in self.session.doc.fields}
        return [f for f in layout.fields if f.field_id in ids] if layout is not None else []

    def used(self) -> dict[str, int]:
        """Return the pieces laid of each code in the fields at hand."""
        doc = self.session.laid_doc
        if doc is None or not doc.materials:
            return {}
        total = np.zeros(len(doc.materials), np.int64)
        for laid in self.laid():
            total += np.bincount(laid.stock[laid.stock >= 0], minlength=len(total))
        return {doc.materials[k].code: int(total[k]) for k in np.flatnonzero(total)}

    def refresh(self) -> None:
        """Name the fields at hand."""
        some = self.fields()
        names = ", ".join(f.name for f in some[:3]) + (" ..." if len(some) > 3 else "")
        self.whom.setText(
            "Choose a field on the bench"
            if not some
            else names
            if len(some) < 4
            else f"{len(some)} fields: {names}"
        )
        self.choice.setEnabled(bool(self.motifs()))
