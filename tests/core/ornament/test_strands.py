"""Strands go over and under by turns, and never cross without one of them passing over."""

from itertools import pairwise

import numpy as np
import pytest
import shapely

from core.ornament.strands import guilloche, sway_of

PLAITS = [(2, 2, True), (3, 2, False), (2, 3, True), (1, 3, False), (3, 3, True)]


def passes(k, strands, contour, turns=3):
    """Return along each strand, in order, whether it is seen (over) or hidden (under) where it
    crosses another; the crossings are those of the middle lines, worked out apart."""
    band = guilloche(k, strands, contour)
    figures = {f.role: f.shape for f in band.draw(turns, False)}
    # off the crossings themselves by part of a step
    x = (np.arange(turns * 3600) + 0.37) * band.repeat / 3600
    turn = 2 * np.pi * x / band.repeat
    level = [-np.cos(turn - 2 * np.pi * s / strands) for s in range(strands)]
    out = [[] for _ in range(strands)]
    for a in range(strands):
        for b in range(a):
            off = level[a] - level[b]
            for j in np.flatnonzero(np.sign(off[1:]) != np.sign(off[:-1])):
                y = band.width / 2 + sway_of(k, strands, int(contour)) * level[a][j]
                at = shapely.Point(x[j], y)
                seen = [figures[f"strand {s + 1}"].contains(at) for s in (a, b)]
                assert sum(seen) == 1, "just one of the two is seen where they cross"
                out[a].append((x[j], seen[0]))
                out[b].append((x[j], seen[1]))
    return [[over for _, over in sorted(some)] for some in out]


@pytest.mark.parametrize(("k", "strands", "contour"), PLAITS)
def test_strands_go_over_and_under_by_turns(k, strands, contour):
    for some in passes(k, strands, contour):
        assert len(some) >= 3 * 2 * (strands - 1) - 1
        assert all(a != b for a, b in pairwise(some))


@pytest.mark.parametrize(("k", "strands", "contour"), PLAITS)
def test_strands_keep_their_width_and_never_overlap(k, strands, contour):
    figures = [f.shape for f in guilloche(k, strands, contour).draw(2, False)]
    together = sum(f.area for f in figures)
    assert shapely.union_all(figures).area == pytest.approx(together, rel=1e-6)


@pytest.mark.parametrize("strands", [2, 3])
def test_a_contour_is_one_course_wide(strands):
    band = guilloche(2, strands, True)
    edge = next(f.shape for f in band.draw(2, False) if f.role == "contour")
    # an inset of half a course leaves nothing, one of a hair less leaves nearly all its length
    assert shapely.buffer(edge, -0.52).area < 0.02 * edge.area
    assert shapely.buffer(edge, -0.4).area > 0.1 * edge.area


def test_two_or_three_strands_and_no_others():
    with pytest.raises(ValueError, match="two or three"):
        guilloche(2, 4)


@pytest.mark.parametrize("strands", [2, 3])
def test_both_outer_courses_of_every_strand_are_guided(strands):
    """Led on one side alone, its courses were of unlike heights."""
    band = guilloche(2, strands, False)
    led = {
        f.role: sum(g.length for g in f.flow) / f.shape.area
        for f in band.draw(2, False)
        if f.role.startswith("strand")
    }
    # two guides, each a pitch from the other, to two courses
    assert all(share == pytest.approx(1.0, abs=0.1) for share in led.values()), led


@pytest.mark.parametrize("k", [1, 2, 3])
@pytest.mark.parametrize("contour", [0, 1])
def test_level_courses_fill_the_eyes_of_three_strands(k, contour):
    """From crown to tip an eye is as high as a whole number of courses, or nearly."""
    band = guilloche(k, 3, bool(contour))
    eyes = next(f for f in band.draw(3, False) if f.role == "eyes").shape
    whole = [g for g in eyes.geoms if g.bounds[0] > 1 and g.bounds[2] < band.length(3, False) - 1]
    high = [g.bounds[3] - g.bounds[1] for g in whole]
    assert whole and np.abs(np.array(high) - np.round(high)).max() < 0.25
