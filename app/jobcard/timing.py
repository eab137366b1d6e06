"""Time on the Figures leaf: what is left to lay, and when the work is ready."""

from __future__ import annotations

import operator
from datetime import date

from PySide6.QtGui import QShowEvent

from app.jobcard.fold import Fold
from app.jobcard.timeroom import TimeRoom, laid_with_days
from app.session import Session
from app.widgets import button, text
from core.errors import EmblemaError
from core.timeplan.calendar import plan_for
from core.timeplan.said import day_said, promise_said


class TimeFold(Fold):
    """When it is ready at its head; beneath it one sentence, and the way to its room."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.words = text("", "hint")
        self.room: TimeRoom | None = None
        ask = button("Time and calendar ...", self.open, tip="Work done, pace, days, patches")
        super().__init__("Time", self.words, ask)
        self._shown: tuple[object, ...] | None = None
        session.calm.connect(self.refresh)

    def refresh(self) -> None:
        """Say how it stands, where anybody can see it."""
        doc, layout = self.session.doc, self.session.layout
        now = (layout, doc.days, doc.done, doc.sheets, doc.rates)
        if not self.isVisible() or (self._shown and all(map(operator.is_, now, self._shown))):
            return
        self._shown = now
        if layout is None or self.session.laid_doc is None or not len(layout):
            self.words.setText("Nothing is laid yet.")
            self.say("")
            return
        try:
            plan = plan_for(laid_with_days(self.session), layout, date.today())
            self.words.setText(f"{promise_said(plan)}.")
            self.say(f"ready {day_said(plan.ready)}", not plan.in_time)
        except EmblemaError as e:
            self.words.setText(str(e))
            self.say("never", True)

    def showEvent(self, event: QShowEvent) -> None:
        """What was not said while nobody looked is said now."""
        super().showEvent(event)
        self.refresh()

    def open(self) -> None:
        """Open the room."""
        if self.room is None:
            self.room = TimeRoom(self, self.session)
        self.room.refresh()
        self.room.show()
        self.room.raise_()
