"""What the solver is given."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from shapely import LineString, MultiPolygon

from core.commission import Laying
from core.laying.field.scale import Scale, Size, scale_over


@dataclass(frozen=True, slots=True)
class Setting:
    """One field as the solver sees it: geometry in mm, no names and no colour.

    `flow` holds the curves that guide this field (for sectile: along which it is cut); `hug` the
    borders that small courses hug (empty: the whole outline; `laying.hug` is not read); `sizes`
    the lines along which pieces are of another size than `laying.tessera_mm`; `seed` fixes every
    random choice; where pieces are to be alike, `repeat_seed` does, which congruent fields share.
    `up` is the way up the wall as a unit vector, (0, -1) in a drawing and another in the field's
    own frame (see `core.laying.field.frame`). `share` is how much of a field this is, where its
    parts are laid apart.
    """

    outline: MultiPolygon
    laying: Laying
    flow: tuple[LineString, ...] = ()
    hug: tuple[LineString, ...] = ()
    seed: int = 1
    up: tuple[float, float] = (0.0, -1.0)
    repeat_seed: int | None = None
    share: float = 1.0
    sizes: tuple[Size, ...] = ()

    @property
    def pitch_mm(self) -> float:
        """Tessera and joint together."""
        return self.laying.pitch_mm

    @property
    def scale(self) -> Scale:
        """How large pieces are at each place."""
        return scale_over(self.outline, self.laying.tessera_mm, self.laying.joint_mm, self.sizes)

    def wider(self, times: float) -> Setting:
        """Return the setting with every pitch so many times as wide."""
        joint = self.laying.joint_mm
        return replace(
            self,
            laying=replace(self.laying, tessera_mm=times * self.pitch_mm - joint),
            sizes=tuple(
                Size(s.lines, times * (s.tessera_mm + joint) - joint, times * s.grade)
                for s in self.sizes
            ),
        )

    def with_choices(self, **choices: Any) -> Setting:
        """Return the setting with some attributes of it or of its laying changed."""
        own = {k: choices.pop(k) for k in _OWN & choices.keys()}
        return replace(self, laying=replace(self.laying, **choices), **own)


_OWN = frozenset(Setting.__dataclass_fields__) - {"laying"}
