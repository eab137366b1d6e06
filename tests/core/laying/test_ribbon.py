"""Ribbons: every course keeps its share of the way between two sides, from end to end."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from awkward import disc, ribbon_outline, wave
from hypothesis import given, settings
from hypothesis import strategies as st
from settings import setting_of
from shapely import LineString, MultiPolygon, Polygon

from core.laying import Setting, lay_field
from core.laying.field.ribbon import ribbon_phase

TESSERA, JOINT = 7.0, 1.0
PITCH = TESSERA + JOINT


def field(outline: Polygon, follow: bool = True, *flow: LineString) -> Setting:
    return setting_of(MultiPolygon([outline]), "tessellatum", TESSERA, JOINT, follow, flow)


def waved(wide: float, high: float) -> tuple[LineString, Polygon]:
    """Return a waved line 40 pitches long and the ribbon about it, so many pitches wide."""
    points = wave(40 * PITCH, high * PITCH, 1.0)
    return LineString(points), ribbon_outline(points, wide * PITCH)


@settings(max_examples=12, deadline=None)
@given(
    st.integers(1, 4),
    st.floats(-0.15, 0.15),
    st.floats(0.5, 4.0),
    st.floats(0, 360),
)
def test_every_course_runs_from_end_to_end_in_its_own_share(number, more, high, turn):
    line, outline = waved(number + more, high)
    turned = [shapely.affinity.rotate(g, turn, origin=(0, 0)) for g in (line, outline)]
    pieces = lay_field(field(turned[1]))
    assert len(np.unique(pieces.course)) == number
    # how far each piece lies from the middle line is its own course's, to a fraction of a pitch
    height = (number + more) * PITCH / number
    middle = shapely.centroid(pieces.polygons)
    for k in np.unique(pieces.course):
        far = shapely.distance(turned[0], middle[pieces.course == k])
        assert np.ptp(far) < 0.25 * height


def test_a_line_that_tapers_keeps_one_course_that_ends_once():
    """A stem from its full width to nothing: nipped to width, and no other course beside it."""
    rng = np.random.default_rng(7)
    lines = rng.uniform((0.9, 15, 0), (1.35, 30, 3), (24, 3))
    assert [line for line in lines.tolist() if not is_one_course(*line)] == []


def is_one_course(wide, long, bend):
    """Return whether a tapering line is laid in one course, its pieces in order along it."""
    x = np.linspace(0, long, 90)
    middle = bend * np.sin(np.pi * x / long)
    half = wide / 2 * (1 - x / long)
    ring = np.vstack([np.stack([x, middle + half], 1), np.stack([x, middle - half], 1)[-2::-1]])
    pieces = lay_field(field(Polygon(PITCH * ring)))
    step = np.diff(shapely.get_coordinates(shapely.centroid(pieces.polygons))[:, 0])
    return len(np.unique(pieces.course)) == 1 and bool((step > 0).all() or (step < 0).all())


@pytest.mark.parametrize(
    "setting",
    [
        field(disc(6 * PITCH)),
        field(waved(5.4, 2)[1]),
        field(waved(3, 2)[1], False),
        field(waved(3, 2)[1], True, LineString([(150, -90), (170, 90)])),
        field(waved(3, 2)[1] | disc(3 * PITCH, 160)),
        field(waved(2, 20)[1]),
    ],
    ids=["disc", "wide", "not followed", "crossed by a flow line", "bulging", "bent tightly"],
)
def test_what_its_sides_do_not_tell_alone_is_no_ribbon(setting):
    assert ribbon_phase(setting) is None


def test_a_flow_line_along_a_ribbon_leads_it_as_its_border_does():
    line, outline = waved(3, 3)
    followed, led = ribbon_phase(field(outline)), ribbon_phase(field(outline, False, line))
    assert followed is not None and led is not None
    assert (followed.psi == led.psi).all()
