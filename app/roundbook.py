"""The rounds of the open commission: kept, gone back to, branched from, laid out to be compared."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

from app.session import Session
from core import archive
from core.errors import EmblemaError
from core.kept_rounds import Round, back_to, branched, is_kept, numbered, with_round
from core.kept_rounds.compare import State, state_now, state_of

ASIDE = "kept aside before going back"


class RoundBook:
    """What is done with rounds, for whichever leaf asks it."""

    def __init__(self, session: Session) -> None:
        self.session = session

    def keep(self, name: str = "", words: str = "", on: str = "") -> Round:
        """Keep the work as it stands as a round; `on` is today where left out.

        Raises
        ------
        EmblemaError
            It is still being laid, or cannot be kept.
        """
        s = self.session
        if s.layout is None or not s.layout_is_current:
            raise EmblemaError("Wait until all is laid, then keep the round.")
        on = on or date.today().isoformat()
        s.note_round(with_round(s.rounds, s.doc, s.layout, name, on, words))
        new = s.rounds[-1]
        s.message.emit(f"{new.title} is kept.")
        return new

    def kept_as(self) -> Round | None:
        """Return the round that the present work is kept as, if it is."""
        s = self.session
        if s.layout is None or not s.layout_is_current:
            return None
        return is_kept(s.rounds, s.doc, s.layout.kept)

    def go_back(self, number: int) -> None:
        """Let a round be the present work; what stood is kept as a round of its own.

        Raises
        ------
        EmblemaError
            What stands is still being laid; or it would change what is agreed, and the user would
            rather not.
        KeyError
            There is no such round.
        """
        s = self.session
        r = numbered(s.rounds, number)
        if not s.layout_is_current:
            raise EmblemaError("Wait until all is laid, then go back.")
        before = s.rounds
        if self.kept_as() is None:
            self.keep(ASIDE)
        try:
            s.stand(f"Back to round {number}", back_to(r, s.doc), r.kept)
        except EmblemaError:
            s.note_round(before)  # nothing was left, so nothing is kept aside
            raise

    def branch(self, number: int, path: str | Path) -> None:
        """Write a round as a commission of its own, with the rounds that led to it; done aside."""
        s = self.session
        doc, led = branched(s.rounds, number)
        r, images = numbered(led, number), dict(s.images)
        s.write(str(path), lambda: archive.save(path, doc, images, r.kept, led))

    def states(self, numbers: tuple[int | None, ...]) -> Callable[[], tuple[State, ...]]:
        """Return what lays out rounds, None for the present work; it is slow, and run aside.

        Raises
        ------
        EmblemaError
            The present work is asked for while it is being laid.
        """
        s, images = self.session, dict(self.session.images)
        doc, layout = s.laid_doc, s.layout
        if None in numbers and (doc is None or layout is None or not s.layout_is_current):
            raise EmblemaError("Wait until all is laid, then compare.")
        rounds = s.rounds

        def lay_out() -> tuple[State, ...]:
            return tuple(
                state_now(doc, layout) if n is None else state_of(numbered(rounds, n), images)
                for n in numbers
            )

        return lay_out
