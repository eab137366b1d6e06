"""Stars: every ray as the others."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from measures import kept, measure, overlap_mm2
from scipy.spatial import cKDTree
from settings import setting_of
from shapely import LineString, MultiPolygon, Polygon, box
from shapely.affinity import rotate, translate

from core.laying import Setting, lay_field
from core.laying.opus.rays import star_of

TESSERA, JOINT = 9.0, 1.0
PITCH = TESSERA + JOINT
CLOSE = 0.004  # mm: corners are whole micrometres


def star(rays: int, reach: float, notch: float) -> Polygon:
    """Return a star of rays, its tips and notches so many pitches from its middle."""
    turn = np.pi * np.arange(2 * rays) / rays
    far = PITCH * np.where(np.arange(2 * rays) % 2, notch, reach)
    return Polygon(np.stack([far * np.cos(turn), far * np.sin(turn)], axis=1))


def field(outline: Polygon, **more) -> Setting:
    return setting_of(MultiPolygon([outline]), "tessellatum", TESSERA, JOINT, **more)


def turned_onto_itself(pieces, rays: int) -> np.ndarray:
    """Return how far each piece's middle lies from one, all turned by a ray about (0, 0), mm."""
    a = 2 * np.pi / rays
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    return cKDTree(pieces.centre_mm).query(pieces.centre_mm @ turn)[0]


def test_stars_are_laid_ray_for_ray_and_keep_every_limit() -> None:
    """At most two of ten may miss a limit, or be laid as one since that keeps more of them."""
    alike = sound = 0
    for k in range(10):
        rays, reach = 4 + k % 5, 9.0 + k / 2
        outline = rotate(star(rays, reach, 0.55 * reach), 17.0 * k, origin=(0, 0))
        s = field(outline)
        pieces = lay_field(s)
        alike += bool(turned_onto_itself(pieces, rays).max() < CLOSE and len(pieces) % rays == 0)
        found = measure(s.outline, TESSERA, JOINT, pieces)
        sound += all(kept(name, value) for name, value in found.items())
    assert alike >= 8 and sound >= 8


@settings(max_examples=12)
@given(st.integers(3, 9), st.floats(5, 9), st.floats(0.4, 0.7))
def test_a_star_lies_within_its_field_without_overlap(rays, reach, share) -> None:
    outline = star(rays, reach, share * reach)
    pieces = lay_field(field(outline))
    assert overlap_mm2(pieces.polygons) == pytest.approx(0.0, abs=1e-6)
    assert shapely.area(shapely.difference(pieces.polygons, outline)).sum() == pytest.approx(0.0)
    assert pieces.area_mm2.sum() / outline.area > 0.85 * (TESSERA / PITCH) ** 2


def test_its_rays_are_found_wherever_it_lies() -> None:
    outline = star(7, 12.0, 6.0)
    found = star_of(field(translate(rotate(outline, 40), 3e4, -2e3)))
    assert found is not None and found.rays == 7
    assert found.sector.area * 7 == pytest.approx(outline.area)


def bent(outline: Polygon) -> Polygon:
    """Return an outline with one corner half a pitch away from where it was."""
    ring = shapely.get_coordinates(outline.exterior)[:-1].copy()
    ring[0] *= 1 + 0.5 * PITCH / np.hypot(*ring[0])
    return Polygon(ring)


NO_STARS = {
    "a square": field(box(0, 0, 100, 100)),
    "an octagon": field(star(8, 9.0, 9.0 * np.cos(np.pi / 8))),
    "one ray longer": field(bent(star(5, 12.0, 6.0))),
    "a border not followed": field(star(5, 12.0, 6.0), follow_border=False),
    "a line through it": field(star(5, 12.0, 6.0), flow=(LineString([(-99, 3), (99, 3)]),)),
    "a hole": field(star(5, 12.0, 6.0) - box(-10, -10, 10, 10)),
    "a border hugged": field(star(5, 12.0, 6.0), hug=(LineString([(0, 0), (9, 9)]),)),
}


@pytest.mark.parametrize("name", NO_STARS)
def test_what_is_no_star(name: str) -> None:
    assert star_of(NO_STARS[name]) is None
