"""The job card: the right side of the window, one leaf a stage of the job."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QButtonGroup,
    QFrame,
    QGridLayout,
    QScrollArea,
    QStackedWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app import theme
from app.canvas import Bench
from app.jobcard.base import Leaf
from app.jobcard.brief import BriefLeaf
from app.jobcard.colour import ColourLeaf
from app.jobcard.fields import FieldsLeaf
from app.jobcard.figures import FiguresLeaf
from app.jobcard.flow import FlowLeaf
from app.jobcard.laying import LayingLeaf
from app.jobcard.lookagain import LookAgainLeaf
from app.jobcard.sheets import SheetsLeaf
from app.jobcard.sketch import SketchLeaf
from app.session import Session

LEAVES: tuple[type[Leaf], ...] = (
    BriefLeaf,
    SketchLeaf,
    FieldsLeaf,
    FlowLeaf,
    LayingLeaf,
    ColourLeaf,
    LookAgainLeaf,
    SheetsLeaf,
    FiguresLeaf,
)
WIDE = 364


class JobCard(QFrame):
    """All leaves, one shown."""

    def __init__(self, session: Session, bench: Bench) -> None:
        super().__init__()
        theme.fix(self, WIDE)
        self.leaves: dict[str, Leaf] = {}
        self._stack = QStackedWidget()
        tabs = QWidget()
        grid = QGridLayout(tabs)
        grid.setContentsMargins(8, 8, 8, 2)
        grid.setSpacing(4)
        self._group = QButtonGroup(self)
        self.buttons: dict[str, QToolButton] = {}
        for k, kind in enumerate(LEAVES):
            leaf = kind(session, bench)
            scroll = QScrollArea()
            scroll.setWidgetResizable(True)
            scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
            scroll.setWidget(leaf)
            self._stack.addWidget(scroll)
            b = QToolButton()
            b.setText(kind.name)
            b.setCheckable(True)
            b.setProperty("role", "leaf")
            theme.fix(b, 108, 36)
            b.setToolTip(f"{kind.purpose}  (Ctrl+{k + 1})")
            b.clicked.connect(lambda _, name=kind.name: self.turn_to(name))
            self._group.addButton(b)
            grid.addWidget(b, k // 3, k % 3)
            self.leaves[kind.name], self.buttons[kind.name] = leaf, b
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(0)
        box.addWidget(tabs)
        box.addWidget(self._stack, 1)
        session.changed.connect(self.refresh)
        session.laid.connect(self.refresh)
        session.selection_changed.connect(self.refresh)
        session.calm.connect(self.draw)
        bench.tool_changed.connect(self._tool_taken)
        self.turn_to(BriefLeaf.name)

    @property
    def leaf(self) -> Leaf:
        """The leaf that is shown."""
        return list(self.leaves.values())[self._stack.currentIndex()]

    def turn_to(self, name: str) -> None:
        """Show a leaf."""
        self._stack.setCurrentIndex(list(self.leaves).index(name))
        self.buttons[name].setChecked(True)
        self.refresh()
        self.draw()

    def _tool_taken(self, name: str) -> None:
        # where their choices are
        at = dict.fromkeys(("Ornament", "Repeat"), FieldsLeaf.name) | {"Size line": FlowLeaf.name}
        if name in at:
            self.turn_to(at[name])
            scroll = self._stack.currentWidget()
            assert isinstance(scroll, QScrollArea)
            scroll.verticalScrollBar().setValue(0)

    def end(self) -> None:
        """End the background work of all leaves, as the window closes."""
        for leaf in self.leaves.values():
            leaf.end()

    def refresh(self) -> None:
        """Bring counts and words of the leaf that is shown up to date."""
        self.leaf.refresh()

    def draw(self) -> None:
        """Bring the rest of the leaf that is shown up to date."""
        self.leaf.draw()
