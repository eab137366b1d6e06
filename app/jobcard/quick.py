"""What a quick change at the table came to: figures before and after, and the work as it was."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.canvas import Bench
from app.canvas.pieces import PieceTable
from app.session import Session
from app.widgets import button, text
from core.commission import Commission
from core.estimate import about
from core.figures import figures
from core.kept_rounds import Sum, summary
from core.pieces import Layout
from core.plan import only_recoloured

SHOWN = ("Pieces", "Weight", "Quote")  # of the figures, on one line

Seen = tuple[Commission, Layout]


class Quick(QWidget):
    """Follows one change from its press to its pieces: about at once, true when they are laid."""

    def __init__(self, session: Session, bench: Bench) -> None:
        super().__init__()
        self.session, self.bench = session, bench
        self._before: Seen | None = None
        self._after: Commission | None = None
        self._shown: object = None
        self._known: tuple[Layout, tuple[Sum, ...]] | None = None
        self.line = text("", "hint")
        self.hold = button("Hold to see it as it was", lambda: None)
        self.hold.pressed.connect(lambda: self._show(True))
        self.hold.released.connect(lambda: self._show(False))
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(6)
        box.addWidget(self.line)
        box.addWidget(self.hold)
        self.hide()

    def follow(self, change: Callable[[], bool]) -> None:
        """Make a change, and tell what it comes to if it was made."""
        s = self.session
        doc, layout = s.laid_doc, s.layout
        before = (doc, layout) if doc is not None and layout is not None else None
        document = s.doc
        if not change() or s.doc is document or before is None:
            return
        self._before, self._after, self._shown = before, s.doc, None
        self._tell()

    def refresh(self) -> None:
        """Tell what the change comes to by now; nothing once another edit was made."""
        if self._after is not None and self.session.doc is not self._after:
            self._before = self._after = None
        self._tell()

    def _tell(self) -> None:
        s, before = self.session, self._before
        self.setVisible(before is not None)
        if before is None:
            return
        laid = s.layout_is_current and s.layout is not None
        if self._shown is s.layout and self._shown is not None:
            return
        if laid:
            assert s.layout is not None
            self._shown = s.layout
            self._say("", self._sums(*before), summary(figures(s.doc, s.layout), s.doc.currency))
        elif not only_recoloured(before[0], s.doc) and self._shown is None:
            self._shown = s.layout
            guess = summary(figures(s.doc, about(*before, s.doc)), s.doc.currency)
            self._say("About, while it is laid: ", self._sums(*before), guess)

    def _sums(self, doc: Commission, layout: Layout) -> tuple[Sum, ...]:
        if self._known is None or self._known[0] is not layout:
            self._known = layout, summary(figures(doc, layout), doc.currency)
        return self._known[1]

    def _say(self, lead: str, was: tuple[Sum, ...], now: tuple[Sum, ...]) -> None:
        by_name = {x.name: x for x in was}
        parts = [
            f"{x.name} {by_name[x.name].amount:,} → {x.shown}"
            if by_name[x.name].amount != x.amount
            else f"{x.name} as it was"
            for x in now
            if x.name in SHOWN and x.name in by_name
        ]
        self.line.setText(lead + " · ".join(parts))

    def _show(self, before: bool) -> None:
        seen = self._before if before else None
        self.bench.show_aside(None if seen is None else (seen[0], PieceTable(*seen)))
