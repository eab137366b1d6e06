"""Each band has the frieze group that it names: its parts moved lie on themselves.

The groups and their names: International Tables for Crystallography, volume E, and Conway,
Burgiel, Goodman-Strauss 2008, "The Symmetries of Things" (from memory).
"""

import numpy as np
import pytest
import shapely
from ornaments import BANDS, differ, roles
from shapely.affinity import affine_transform

from core.ornament.bands import SCALE_WIDE, TONES, chequer, scales

# has it upright mirrors, the level mirror, the glide, half turns?
GROUPS = {
    (False, False, False, False): "p1",
    (False, False, False, True): "p211",
    (True, False, False, False): "p1m1",
    (False, True, False, False): "p11m",
    (False, False, True, False): "p11g",
    (True, True, False, True): "p2mm",
    (True, False, True, True): "p2mg",
}


def lies_on_itself(band, parts, a, d, x):
    """Whether (u, v) -> (a u + x, d v), v from the middle, carries all five repeats' parts onto
    themselves."""
    middle = band.width / 2
    window = shapely.box(2 * band.repeat, 0, 3 * band.repeat, band.width)
    for shape in parts.values():
        carried = affine_transform(shape, (a, 0, 0, d, x, middle - d * middle))
        if differ(shapely.intersection(carried, window), shapely.intersection(shape, window)) > (
            1e-3 * window.area
        ):
            return False
    return True


@pytest.mark.parametrize("name", BANDS)
def test_the_frieze_group_is_the_one_that_is_named(name):
    band = BANDS[name]
    r = band.repeat
    # an axis or a centre at c turns u into 2 c - u: on eighths of the repeat, or half pitches
    twice = 5 * r + np.unique(np.r_[np.arange(4) * r / 4, np.arange(0, r, 1.0)])
    parts = roles(band, 5)
    found = (
        any(lies_on_itself(band, parts, -1, 1, c) for c in twice),
        lies_on_itself(band, parts, 1, -1, 0),
        lies_on_itself(band, parts, 1, -1, r / 2),
        any(lies_on_itself(band, parts, -1, -1, c) for c in twice),
    )
    assert GROUPS[found] == band.frieze


@pytest.mark.parametrize("name", BANDS)
def test_a_repeat_on_it_is_the_same_again(name):
    band = BANDS[name]
    assert lies_on_itself(band, roles(band, 5), 1, 1, band.repeat)


def test_a_chequer_turns_by_a_quarter_about_a_cell_and_mirrors_along_its_cells():
    """The wallpaper group p4m: its generators carry the inside onto itself."""
    dark = roles(chequer(2, 9), 5)["chequer"]
    inside = shapely.box(4, 4, 14, 14)
    at = (9.0, 9.0)  # the middle of a cell
    for m in ((0, -1, 1, 0), (-1, 0, 0, 1), (0, 1, 1, 0)):
        matrix = np.array(m, float).reshape(2, 2)
        move = np.array(at) - matrix @ at
        carried = affine_transform(dark, (*m, *move))
        assert differ(carried & inside, dark & inside) < 1e-9


def test_scales_move_by_half_a_scale_and_a_row_onto_those_beneath():
    """The wallpaper group cm: the centred lattice and the upright mirror."""
    k, wide = 3, 3 * SCALE_WIDE
    parts = roles(scales(k, 6), 6)
    inside = shapely.box(3 * wide, 2 * k, 4 * wide, 4 * k)
    tones = [parts[role] for role in TONES]
    for over, beneath in zip(tones, [*tones[1:], tones[0]], strict=True):
        carried = affine_transform(over, (1, 0, 0, 1, wide / 2, k))
        assert differ(carried & inside, beneath & inside) < 1e-6
        mirrored = affine_transform(over, (-1, 0, 0, 1, 6 * wide, 0))
        assert differ(mirrored & inside, over & inside) < 1e-6
