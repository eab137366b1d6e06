"""Every kind that can be asked for is made wherever it may lie."""

import numpy as np
import pytest
import shapely

from core.errors import EmblemaError
from core.geometry import SNAP_MM
from core.ornament.discs import rays, rosette
from core.ornament.fit import Module
from core.ornament.kinds import KINDS, PLACES, Wish, fitted

PLACED = {
    "frame": [(0.0, 0.0), (700.0, 640.0)],
    "strip": [(0.0, 0.0), (350.0, 0.0), (700.0, 90.0)],
    "disc": [(0.0, 0.0), (0.0, 260.0)],
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("place", PLACES)
def test_it_is_made_and_tiles_its_place(kind, place):
    wish = Wish(kind, place, KINDS[kind].usual, 4.0, 0.8)
    made = fitted(wish, PLACED[wish.lies])
    shapes = np.array([p.outline for p in made.parts], dtype=object)
    assert shapely.coverage_is_valid(shapes)
    assert made.notes and all(p.outline.area > 0 for p in made.parts)
    if wish.lies == "frame":
        outer = shapely.box(0, 0, 700, 640)
        gone = shapely.difference(outer, made.outline)
        wide, high = np.subtract((700, 640), 2 * wish.width_mm)
        assert gone.area == pytest.approx(wide * high, abs=SNAP_MM * sum(shapely.length(shapes)))


@pytest.mark.parametrize("made", [rays, rosette])
@pytest.mark.parametrize("count", [6, 9])
def test_what_fills_a_disc_turns_onto_itself(made, count):
    """The cyclic group of so many turns, and the mirror through its middle (a dihedral group)."""
    ornament = made((0.0, 0.0), 230.0, Module(10.0, 1.5), count)
    assert sum(p.outline.area for p in ornament.parts) == pytest.approx(np.pi * 230**2, rel=2e-3)
    for part in ornament.parts:
        turned = shapely.affinity.rotate(part.outline, 360 / count, origin=(0, 0))
        assert turned.symmetric_difference(part.outline).area < 1e-3 * part.outline.area
        mirrored = shapely.affinity.scale(part.outline, -1, 1, origin=(0, 0))
        if made is rosette:
            assert mirrored.symmetric_difference(part.outline).area < 1e-3 * part.outline.area


def test_too_small_a_disc_is_refused_in_words():
    for made in (rays, rosette):
        with pytest.raises(EmblemaError, match="mm or more across"):
            made((0.0, 0.0), 40.0, Module(10.0, 1.5), 12)
    with pytest.raises(EmblemaError, match="Draw where"):
        fitted(Wish(), [(0.0, 0.0)])
