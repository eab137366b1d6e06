"""In words: how near the colours laid come to those wanted, and what the last change did to it."""

from __future__ import annotations

import numpy as np
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.jobcard.scope import Scope
from app.widgets import text
from core.colour.fieldmatch import blended_difference
from core.pieces import Layout


class Nearness(QWidget):
    """Mean and worst difference of the fields at hand, what is not laid, what blends."""

    def __init__(self, scope: Scope) -> None:
        super().__init__()
        self.scope, self.session = scope, scope.session
        self._now: Layout | None = None
        self._before: Layout | None = None
        self.mean = text("")
        self.bare = text("", "warn")
        self.blends = text("", "hint")
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(6)
        for w in (self.mean, self.bare, self.blends):
            box.addWidget(w)
        self.session.opened.connect(self._forget)

    def _forget(self) -> None:
        self._now = self._before = None

    def refresh(self) -> None:
        """Say it of the layout as it stands."""
        layout = self.session.layout
        if layout is not self._now:
            self._before, self._now = self._now, layout
        laid = self.scope.laid()
        values = np.concatenate([x.delta_e for x in laid] or [np.empty(0)])
        known = np.isfinite(values)
        bare = sum(int((x.stock < 0).sum()) for x in laid)
        self.bare.setVisible(bare > 0 and self.session.doc.within_stock)
        self.bare.setText(f"{bare:,} pieces have no material: too few in hand of what they may be.")
        if not known.any():
            self.mean.setText("No colours to compare yet.")
            return
        mean, before = float(values[known].mean()), self._mean_before(known)
        was = f", before {before:.1f}" if before is not None and abs(before - mean) >= 0.05 else ""
        limit = self.session.doc.limits.colour_delta_e
        far = 100 * float((values[known] > limit).mean())
        self.mean.setText(
            f"Mean difference {mean:.1f}{was}; worst {values[known].max():.1f}. "
            f"{far:.0f} % beyond {limit:g}. (CIEDE2000)"
        )

    def _mean_before(self, known: np.ndarray) -> float | None:
        """Return the mean of the same pieces before the last change, if they lay there then."""
        if self._before is None:
            return None
        had = {f.field_id: f.delta_e for f in self._before.fields}
        parts = [had.get(x.field_id) for x in self.scope.laid()]
        if any(p is None for p in parts):
            return None
        values = np.concatenate(parts)  # type: ignore[arg-type]
        if len(values) != len(known):
            return None
        both = values[known & np.isfinite(values)]
        return float(both.mean()) if len(both) else None

    def draw(self) -> None:
        """Say how near mixtures come once the eye blends them."""
        doc = self.session.laid_doc
        single, mixed, pieces = 0.0, 0.0, 0
        for x in self.scope.laid() if doc is not None else []:
            if doc is not None and (found := blended_difference(doc, x)) is not None:
                single += found[0] * len(x.pieces)
                mixed += found[1] * len(x.pieces)
                pieces += len(x.pieces)
        self.blends.setVisible(pieces > 0)
        if pieces:
            self.blends.setText(
                f"Mixed, once the eye blends pieces and grout: {mixed / pieces:.1f} off in the "
                f"mean; {single / pieces:.1f} with one material each."
            )
