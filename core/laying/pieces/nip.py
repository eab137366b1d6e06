"""Pieces that lie off the flow are nipped a little, so that they run along it or their course.

Where courses meet at an angle, or one ends, a piece may be a triangle or a kite that points
anywhere. A small nip off one corner, along the flow or square to it, gives it a direction.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import shapely
from numpy.typing import NDArray

from core.errors import Stopped
from core.laying.courses.bends import joint_turns
from core.laying.exact import SOLVED, angles, dot, quantised, ways
from core.laying.field.grid import Array
from core.laying.pieces.axis import axis_rad, course_rad, quarter_rad
from core.laying.pieces.clip import beyond, padded
from core.laying.spec import Setting
from core.quality import OWN_ODD, OWN_TURNING, TURN_LIMIT

MOST = 0.06  # share of the piece that a nip may cost
# off the flow from which pieces are nipped, step by step, what it may cost, and whether only while
# the pieces on the whole are off the flow
STEPS_DEG = ((20, 0.1, False), (12, MOST, False), (8, MOST, True), (5, MOST, True))
OFF_FLOW = np.radians(3.0)  # off the flow, on the whole, beyond which the next step is taken
PLAIN = 0.85  # share of a field's pieces that keep four corners
DEPTHS = (0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.5, 2.0)  # joints that are nipped off a corner
OFF_FLOW_COST = 3.0  # share of the piece that lying half a right angle off the flow is worth
CORNER = 0.02  # and a corner more or less than four
BENT = np.radians(25.0)  # turn from piece to piece that no nip mends
SAFELY = 0.99  # of the limit, what a nip aims at
ABRUPT = 4.0  # share of the piece that turning by half a right angle more than that is worth
AT_ONCE = 300  # pieces nipped between one look whether to stop and the next
BESIDE = 2.5  # pitches to either side of a flow line that follow it


def nipped(
    pieces: NDArray[np.object_],
    wanted_rad: Array,
    joint: float,
    stop: Callable[[], bool] = lambda: False,
) -> NDArray[np.object_]:
    """Return the pieces, those that lie off the flow nipped where a small nip sets them straight.

    Pieces that lie less off it are nipped too while, on the whole, the pieces are OFF_FLOW off it
    and most of the field's pieces keep four corners.

    Parameters
    ----------
    pieces : ndarray of Polygon, shape (n,)
        Convex.
    wanted_rad : ndarray, shape (n,)
        The flow's angle at each; nan where none is asked for.
    """
    for least, most, further in STEPS_DEG:
        off = quarter_rad(axis_rad(pieces, wanted_rad) - wanted_rad)
        beside = np.isfinite(off)
        slanted = np.flatnonzero(beside & (off > np.radians(least)))
        if not len(slanted):
            continue
        if further and np.sqrt(np.mean(off[beside] ** 2)) < OFF_FLOW:
            break
        straighter = pieces.copy()
        for some in _a_few(slanted, stop):
            wanted = wanted_rad[some]
            straighter[some] = _straightened(
                pieces[some], wanted, wanted, joint, _off_flow_cost(wanted), most
            )
        if further and np.mean(shapely.get_num_coordinates(straighter) == 5) < PLAIN:
            break
        pieces = straighter
    return pieces


def straight_in_course(
    pieces: NDArray[np.object_],
    course: NDArray[np.int64],
    pitch: Array | float,
    joint: float,
    stop: Callable[[], bool] = lambda: False,
) -> NDArray[np.object_]:
    """Return the pieces, those nipped that make their course turn too much by lying off it.

    Every other piece is nipped with those beside it as they are, then the others; only as many
    as it takes for four joints of five to keep the limit, those first that lose least by it.

    Parameters
    ----------
    pieces, course : ndarray, shape (n,)
        Convex pieces in order along their courses.
    """
    for odd in (0, 1):
        left, turn = joint_turns(pieces, course, pitch)
        abrupt = (turn > TURN_LIMIT) & (turn < BENT)
        wanted = int(
            np.ceil((turn > TURN_LIMIT).sum() - OWN_TURNING * len(left))
        )  # joints to be mended
        turning = np.union1d(left[abrupt], left[abrupt] + 1)
        turning = turning[turning % 2 == odd]
        if wanted <= 0 or not len(turning):
            continue
        run = course_rad(shapely.get_coordinates(shapely.centroid(pieces)), left)
        angle = axis_rad(pieces, run)
        beside = np.full((2, len(pieces)), np.nan)
        beside[0, left + 1], beside[1, left] = angle[left], angle[left + 1]
        out = pieces.copy()
        for some in _a_few(turning, stop):
            out[some] = _within_limit(pieces[some], angle[some], run[some], beside[:, some], joint)
        mended = (turn > TURN_LIMIT).astype(int) - (joint_turns(out, course, pitch)[1] > TURN_LIMIT)
        gain = np.bincount(left, mended, len(out)) + np.bincount(left + 1, mended, len(out))
        four = shapely.get_num_coordinates(pieces) == 5
        spare = four.sum() - (1 - OWN_ODD) * len(four)
        best = turning[_cheapest(pieces[turning], out[turning], gain[turning], wanted, spare)]
        if len(best):
            out[np.setdiff1d(turning, best)] = pieces[np.setdiff1d(turning, best)]
            pieces = out
    return pieces


def _a_few(which: NDArray[np.int64], stop: Callable[[], bool]) -> Iterator[NDArray[np.int64]]:
    """Yield a few of them at a time, as long as there is no cause to stop."""
    for some in np.array_split(which, len(which) // AT_ONCE + 1):
        if stop():
            raise Stopped
        yield some


def _cheapest(
    whole: NDArray[np.object_],
    cut: NDArray[np.object_],
    gain: NDArray[np.float64],
    wanted: int,
    spare: float,
) -> NDArray[np.int64]:
    """Return which pieces to nip, those first that lose least for each joint mended.

    Parameters
    ----------
    gain : ndarray (n,)
        Joints that each nip mends; `wanted` of them in all are enough.
    spare : float
        How many pieces may lose their four corners.
    """
    loss = 1 - shapely.area(cut) / shapely.area(whole)
    best = np.argsort(quantised(loss / np.maximum(gain, 1e-9), SOLVED), kind="stable")
    best = best[gain[best] > 0]
    four, still = (shapely.get_num_coordinates(p[best]) == 5 for p in (whole, cut))
    spoilt = four & ~still
    best = best[~spoilt | (np.cumsum(spoilt) <= spare)]
    out: NDArray[np.int64] = best[np.cumsum(gain[best]) - gain[best] < wanted]
    return out


def _within_limit(
    whole: NDArray[np.object_], angle: Array, run: Array, beside: Array, joint: float
) -> NDArray[np.object_]:
    """Return pieces nipped to turn within the limit from those beside.

    The angles of those `beside` are (2, n) or nan; `angle` and `run` are how pieces lie and how
    their course runs, (n,).
    """
    off = (angle - beside + np.pi / 4) % (np.pi / 2) - np.pi / 4
    goal = SAFELY * TURN_LIMIT
    low, high = -goal - np.nanmin(off, axis=0), goal - np.nanmax(off, axis=0)
    wanted = angle + np.where(low < high, np.clip(0.0, low, high), (low + high) / 2)

    def over_limit(axis: Array, owner: NDArray[np.int64]) -> Array:
        turn = np.nan_to_num(quarter_rad(axis - beside[:, owner]))
        over: Array = ABRUPT * np.maximum(turn - goal, 0.0).sum(0) / (np.pi / 4)
        return over

    return _straightened(whole, wanted, run, joint, over_limit)


def _off_flow_cost(wanted: Array) -> Callable[[Array, NDArray[np.int64]], Array]:
    def cost(axis: Array, owner: NDArray[np.int64]) -> Array:
        off: Array = OFF_FLOW_COST * (quarter_rad(axis - wanted[owner]) / (np.pi / 4)) ** 2
        return off

    return cost


def _straightened(
    whole: NDArray[np.object_],
    wanted: Array,
    along: Array,
    joint: float,
    cost: Callable[[Array, NDArray[np.int64]], Array],
    most: float = MOST,
) -> NDArray[np.object_]:
    """Return each piece, or the best of what is left of it by a small nip along what is wanted.

    `cost` is what lying in a direction costs, in shares of the piece, given angles and whose.
    """
    cut, owner = _nips(whole, wanted, joint, most)
    good = shapely.get_num_coordinates(cut) <= 7
    # as they are, last, so that among equals nothing is nipped
    cut = np.concatenate([cut[good], whole])
    owner = np.concatenate([owner[good], np.arange(len(whole))])
    value = shapely.area(cut) / shapely.area(whole)[owner]
    value -= cost(axis_rad(cut, along[owner]), owner)
    value -= CORNER * np.abs(shapely.get_num_coordinates(cut) - 5)
    out = whole.copy()
    order = np.argsort(quantised(value, SOLVED), kind="stable")  # the last of each is the best
    out[owner[order]] = cut[order]
    return out


def _nips(
    pieces: NDArray[np.object_], angle: Array, joint: float, most: float
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return what each piece can be by a nip that it can bear, and whose it is.

    Every corner of a piece is nipped off, by every depth, along its angle and square to it.
    """
    xy, live = padded(shapely.get_exterior_ring(pieces))
    owner, corner = np.nonzero(live)
    way = np.stack([ways(angle + t) for t in (0.0, np.pi / 2)])
    way = way[:, owner]
    middle = shapely.get_coordinates(shapely.centroid(pieces))
    at = xy[owner, corner]
    way *= np.where(dot(middle[owner] - at, way) < 0, -1.0, 1.0)[..., None]
    depth = joint * np.array(DEPTHS)[:, None, None]
    # over ways, depths and corners
    offset = dot(at, way) + depth
    whose = np.broadcast_to(owner, offset.shape).ravel()
    way = np.broadcast_to(way, (*offset.shape, 2)).reshape(-1, 2)
    least = (1 - most) * shapely.area(pieces)
    return beyond(xy, live, whose, way, offset.ravel(), least)


def line_angle(setting: Setting, pieces: NDArray[np.object_]) -> Array:
    """Return the angle of the nearest flow line at each piece beside one, else nan, shape (n,)."""
    lines = np.array(setting.flow, dtype=object)
    middle = shapely.centroid(pieces)
    out = np.full(len(pieces), np.nan)
    who, which = shapely.STRtree(lines).query_nearest(
        middle, max_distance=BESIDE * setting.pitch_mm, all_matches=False
    )
    at = shapely.line_locate_point(lines[which], middle[who])
    half = setting.scale.tessera_of(pieces)[who] / 2
    long = shapely.length(lines[which])
    a = shapely.get_coordinates(
        shapely.line_interpolate_point(lines[which], np.maximum(at - half, 0))
    )
    b = shapely.get_coordinates(
        shapely.line_interpolate_point(lines[which], np.minimum(at + half, long))
    )
    angle = angles(*(b - a).T[::-1])
    # past a line's ends nothing is asked
    out[who] = np.where((at > half) & (at < long - half), angle, np.nan)
    return out
