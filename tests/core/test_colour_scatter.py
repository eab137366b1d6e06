import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from core.colour.fieldmatch import match_field
from core.colour.scatter import accents, even_order, graded, progress
from core.commission import Commission, Swap, field_of
from core.material import Material
from core.pieces import Pieces

PITCH = 11.5


def courses(rows, columns, jitter=1.5, seed=1, bend=0.0):
    """Straight or bent courses of squares as the solver would hand them over."""
    rng = np.random.default_rng(seed)
    course, piece = np.divmod(np.arange(rows * columns), columns)
    u = piece * PITCH + rng.uniform(-jitter, jitter, len(piece))
    v = course * PITCH
    angle = np.zeros(len(u)) + bend * u
    x = np.sin(bend * u) * (1 / bend - v) if bend else u
    y = 1 / bend - np.cos(bend * u) * (1 / bend - v) if bend else v
    flat = np.arctan(np.tan(angle))  # a line field: direction without an arrow
    return Pieces(shapely.buffer(shapely.points(x, y), 5, quad_segs=1), course, piece, flat)


def local_spread(centre, chosen, radius):
    """How unevenly chosen pieces lie: the spread of their share in circles away from the edge."""
    tree = cKDTree(centre)
    low, high = centre.min(axis=0) + radius, centre.max(axis=0) - radius
    inside = centre[((centre > low) & (centre < high)).all(axis=1)]
    return np.std([chosen[near].mean() for near in tree.query_ball_point(inside, radius)])


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.8])
def test_even_order_spreads_any_share_better_than_chance(share):
    centre = courses(50, 50).centre_mm
    order = even_order(centre, 1)
    np.testing.assert_allclose(np.sort(order), (np.arange(2500) + 0.5) / 2500)
    chance = np.random.default_rng(9).permutation(order)
    for radius in (2.5 * PITCH, 5 * PITCH):
        even = local_spread(centre, order < share, radius)
        assert even < 0.55 * local_spread(centre, chance < share, radius)


def test_first_pieces_of_the_order_are_far_apart():
    centre = courses(40, 40).centre_mm
    first = centre[even_order(centre, 1) < 0.05]
    gap = cKDTree(first).query(first, k=2)[0][:, 1]
    alone = np.sqrt(1 / 0.05) * PITCH  # the spacing of a square grid of so many
    assert gap.min() > 0.5 * alone


def test_even_order_is_repeatable_and_takes_anything():
    centre = courses(6, 6).centre_mm
    np.testing.assert_array_equal(even_order(centre, 4), even_order(centre, 4))
    assert (even_order(centre, 4) != even_order(centre, 5)).any()
    assert len(even_order(np.empty((0, 2)), 1)) == 0
    np.testing.assert_allclose(even_order(np.array([[3.0, 4.0]]), 1), [0.5])
    same = even_order(np.zeros((5, 2)), 1)
    np.testing.assert_allclose(np.sort(same), [0.1, 0.3, 0.5, 0.7, 0.9])


@settings(max_examples=30, deadline=None)
@given(st.floats(0, 1), st.booleans(), st.integers(1, 12), st.integers(1, 30))
def test_accents_take_their_share_to_the_piece(share, along, rows, columns):
    pieces = courses(rows, columns)
    chosen = accents(pieces, share, along, 3)
    assert chosen.sum() == round(share * len(pieces))


def test_accents_along_run_with_the_courses():
    pieces = courses(40, 60)
    runs = accents(pieces, 0.2, True, 3).reshape(40, 60)
    single = accents(pieces, 0.2, False, 3).reshape(40, 60)

    def mean_run(chosen):
        starts = chosen[:, 0].sum() + (chosen[:, 1:] & ~chosen[:, :-1]).sum()
        return chosen.sum() / starts

    assert mean_run(runs) > 5 and mean_run(single) < 1.5
    # The runs themselves are spread evenly: against as many runs drawn by chance.
    rng = np.random.default_rng(4)
    centre = pieces.centre_mm
    chance = []
    for _ in range(5):
        drawn = np.zeros((40, 10), bool)
        drawn.flat[rng.choice(400, 80, replace=False)] = True
        chance.append(local_spread(centre, np.repeat(drawn, 6, axis=1).ravel(), 8 * PITCH))
    assert local_spread(centre, runs.ravel(), 8 * PITCH) < 0.5 * np.mean(chance)


def test_the_edge_of_a_field_is_not_taken_first():
    centre = courses(50, 50).centre_mm
    for share in (0.1, 0.3, 0.6):
        edge = []
        for seed in (1, 2, 3):
            chosen = (even_order(centre, seed) < share).reshape(50, 50)
            edge += [chosen[0], chosen[-1], chosen[:, 0], chosen[:, -1]]
        assert 0.6 * share < np.mean(edge) < 1.4 * share


def test_pieces_of_no_course_are_runs_of_their_own():
    pieces = courses(20, 20)
    loose = Pieces(pieces.polygons, np.full(400, -1), pieces.piece, pieces.angle_rad)
    chosen = accents(loose, 0.1, True, 3)
    assert chosen.sum() == 40
    first = pieces.centre_mm[chosen]
    assert cKDTree(first).query(first, k=2)[0][:, 1].min() > 1.5 * PITCH


def test_progress_follows_straight_courses():
    pieces = courses(20, 30, jitter=0)
    x, y = pieces.centre_mm.T
    np.testing.assert_allclose(progress(pieces, True), x / x.max(), atol=1e-4)
    np.testing.assert_allclose(progress(pieces, False), y / y.max(), atol=1e-4)


def test_progress_follows_bent_courses_whatever_way_their_angles_point():
    bend = 1.2 * np.pi / (40 * PITCH)
    pieces = courses(8, 40, jitter=0, bend=bend)
    flip = np.random.default_rng(2).random(len(pieces)) < 0.5
    arrows = Pieces(pieces.polygons, pieces.course, pieces.piece, pieces.angle_rad + np.pi * flip)
    for p in (pieces, arrows):
        across = progress(p, False)
        down = np.corrcoef(across, p.course)[0, 1]
        assert abs(down) > 0.99
        along = progress(p, True)
        assert abs(np.corrcoef(along, p.piece)[0, 1]) > 0.98


def test_progress_where_the_flow_closes_on_itself_still_runs_from_0_to_1():
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    centre = 100 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    ring = Pieces(
        shapely.buffer(shapely.points(centre), 4, quad_segs=1),
        np.zeros(60, int),
        np.arange(60),
        np.arctan(np.tan(turn + np.pi / 2)),
    )
    for along in (True, False):
        at = progress(ring, along)
        assert np.isfinite(at).all() and at.min() == 0 and at.max() == 1
    assert progress(Pieces.empty(), True).shape == (0,)


def test_grading_mixes_in_proportion():
    pieces = courses(40, 60, jitter=0)
    place = progress(pieces, True)
    index = graded(place, even_order(pieces.centre_mm, 1), 3).reshape(40, 60)
    assert set(np.unique(index)) == {0, 1, 2}
    # The mean material rises evenly from one side to the other.
    np.testing.assert_allclose(index.mean(axis=0), np.linspace(0, 2, 60), atol=0.2)
    assert (graded(place, even_order(pieces.centre_mm, 1), 1) == 0).all()


def test_a_fields_accent_is_laid_and_can_be_swapped():
    stock = tuple(Material(c, c, "smalti", (50.0, k, 0.0)) for k, c in enumerate("abc"))
    field = field_of("f1", "ground", (), wanted_lab=(50.0, 0.0, 0.0), accent="b", accent_share=0.25)
    doc = Commission("t", 100, 100, fields=(field,), materials=stock)
    pieces = courses(20, 20)
    laid = match_field(doc, field, pieces, None)
    assert np.bincount(laid.stock, minlength=3).tolist() == [300, 100, 0]
    swapped = Commission("t", 100, 100, materials=stock, swaps=(Swap("b", "c"),))
    again = match_field(swapped, field, pieces, None)
    np.testing.assert_array_equal(again.stock == 2, laid.stock == 1)
