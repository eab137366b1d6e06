"""Finds the 24-patch colour chart in a photograph.

Flat, four-sided patches are picked out, neighbours of like size are joined into lattices, and the
lattice that fits is laid over the picture by a projective map. Which patch is which is decided by
the colours: of every way to lay six by four on the lattice, the one that comes nearest wins.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from core.colour.convert import Floats

_LONG_PX: Final = 900
_FLAT: Final = (0.02, 0.04, 0.08, 0.015)  # steps of brightness a pixel that still count as flat
_FEWEST: Final = 9
COLUMNS: Final = 6
ROWS: Final = 4
LATTICE: Final[Floats] = np.array(
    [[column, row] for row in range(ROWS) for column in range(COLUMNS)], np.float64
)
CORNERS: Final = (0, COLUMNS - 1, COLUMNS * ROWS - 1, COLUMNS * (ROWS - 1))


def projective(lattice: Floats, at_px: Floats) -> Floats:
    """Return the 3 x 3 map that takes places on the lattice (n, 2) to the picture, n at least 4.

    References
    ----------
    Hartley & Zisserman 2004, "Multiple View Geometry", section 4.1 (direct linear transform).
    """
    middle, size = at_px.mean(axis=0), max(float(np.ptp(at_px)), 1e-9)
    x, y = ((at_px - middle) / size).T
    u = np.column_stack([lattice, np.ones(len(lattice))])
    zero = np.zeros_like(u)
    rows = np.vstack([np.hstack([u, zero, -x[:, None] * u]), np.hstack([zero, u, -y[:, None] * u])])
    found = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    back = np.array([[size, 0, middle[0]], [0, size, middle[1]], [0, 0, 1]])
    return np.asarray(back @ found)


def carried(transform: Floats, lattice: Floats) -> Floats:
    """Return where places on the lattice (..., 2) lie in the picture."""
    h = np.concatenate([lattice, np.ones((*lattice.shape[:-1], 1))], axis=-1) @ transform.T
    return np.asarray(h[..., :2] / h[..., 2:])


def find_lattice(
    picture: NDArray[np.uint8], unlikeness: Callable[[Floats], float], limit: float
) -> Floats | None:
    """Find the chart.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
    unlikeness : callable
        Given a map from the lattice to the picture, how unlike the chart the colours there are.
    limit : float
        More than this is no chart.

    Returns
    -------
    ndarray, shape (3, 3), or None
        The map from (column, row), (0, 0) being the middle of the first patch, to pixels.
    """
    step = max(1, -(-max(picture.shape[:2]) // _LONG_PX))
    height, width = (n // step * step for n in picture.shape[:2])
    if min(height, width) < 40 * step:
        return None
    small = picture[:height, :width].reshape(height // step, step, width // step, step, 3)
    grey = small.mean(axis=(1, 3)) / 255
    best, least = None, limit
    for flat in _FLAT:
        centre, size = _patches(grey, flat)
        for lattice, members in _lattices(centre, size):
            for turned in _placements(lattice):
                inside = ((turned >= 0) & (turned < (COLUMNS, ROWS))).all(axis=1)
                if inside.sum() < _FEWEST or len(np.unique(turned[inside, 1])) < 2:
                    continue
                at = centre[members[inside]] * step + (step - 1) / 2
                transform = projective(turned[inside].astype(np.float64), at)
                if not _in_picture(transform, width, height):
                    continue
                far = unlikeness(transform)
                if far < least:
                    best, least = transform, far
        if best is not None:
            return best
    return None


def _patches(grey: Floats, flat: float) -> tuple[Floats, Floats]:
    """Return middles (n, 2) and sizes (n,) of flat patches with four sides."""
    from scipy import ndimage

    smooth = ndimage.gaussian_filter(grey, (1, 1, 0))
    slope = np.hypot(np.gradient(smooth, axis=0), np.gradient(smooth, axis=1)).max(axis=-1)
    label, n = ndimage.label(slope < flat)
    rows, columns = np.indices(label.shape)
    who = label.ravel()
    area = np.bincount(who, minlength=n + 1).astype(np.float64)
    safe = np.maximum(area, 1)
    x, y = (np.bincount(who, v.ravel(), n + 1) / safe for v in (columns, rows))
    dx, dy = columns.ravel() - x[who], rows.ravel() - y[who]
    xx, yy, xy = (np.bincount(who, v, n + 1) / safe for v in (dx * dx, dy * dy, dx * dy))
    # A parallelogram's area is twelve times the root of its covariance's determinant.
    square = area / (12 * np.sqrt(np.maximum(xx * yy - xy * xy, 1e-9)))
    middle, spread = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    slender = np.sqrt((middle + spread) / np.maximum(middle - spread, 1e-9))
    whole = grey.shape[0] * grey.shape[1]
    good = (area > 30) & (area < whole / 12) & (abs(square - 1) < 0.12) & (slender < 2.5)
    good[0] = False
    return np.stack([x[good], y[good]], axis=1), np.sqrt(area[good])


def _lattices(
    centre: Floats, size: Floats
) -> Iterator[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """Yield lattices: whole-numbered places (n, 2) and which patches stand there."""
    free = np.ones(len(centre), bool)
    for seed in np.argsort(-size):
        if not free[seed]:
            continue
        basis = _basis(int(seed), centre, size)
        if basis is None:
            continue
        place = {int(seed): (0, 0)}
        local = {int(seed): basis}
        taken = {(0, 0)}
        queue = [int(seed)]
        while queue:
            at = queue.pop(0)
            for axis, sign in ((0, 1), (0, -1), (1, 1), (1, -1)):
                step = sign * local[at][axis]
                gap = np.linalg.norm(centre - centre[at] - step, axis=1)
                other = int(gap.argmin())
                spot = list(place[at])
                spot[axis] += sign
                if (
                    gap[other] > 0.22 * np.linalg.norm(step)
                    or other in place
                    or tuple(spot) in taken
                    or not 0.6 < size[other] / size[at] < 1.7
                ):
                    continue
                place[other] = (spot[0], spot[1])
                taken.add((spot[0], spot[1]))
                nearer = local[at].copy()
                nearer[axis] = (nearer[axis] + sign * (centre[other] - centre[at])) / 2
                local[other] = nearer
                queue.append(other)
        members = np.array(list(place))
        free[members] = False
        if len(members) >= _FEWEST:
            yield np.array(list(place.values())), members


def _basis(seed: int, centre: Floats, size: Floats) -> Floats | None:
    """Return the steps to two neighbours of like size, the second clockwise of the first."""
    step = centre - centre[seed]
    reach = np.linalg.norm(step, axis=1) / size[seed]
    like = (size / size[seed] > 0.6) & (size / size[seed] < 1.7) & (reach > 0.9) & (reach < 2.2)
    near = np.flatnonzero(like)
    near = near[np.argsort(reach[near])]
    for first in near:
        turn = step[first, 0] * step[near, 1] - step[first, 1] * step[near, 0]
        long = np.linalg.norm(step[near], axis=1) * np.linalg.norm(step[first])
        square = near[turn > 0.7 * long]
        if len(square):
            return np.array([step[first], step[square[0]]])
    return None


def _placements(lattice: NDArray[np.int64]) -> Iterator[NDArray[np.int64]]:
    """Yield every way to lay six by four over a lattice: turned four ways, shifted as it may."""
    for turn in ([[1, 0], [0, 1]], [[0, -1], [1, 0]], [[-1, 0], [0, -1]], [[0, 1], [-1, 0]]):
        turned = lattice @ np.array(turn).T
        low, high = turned.min(axis=0), turned.max(axis=0)
        span = np.array([COLUMNS, ROWS])
        for column in range(*_shifts(low[0], high[0], int(span[0]))):
            for row in range(*_shifts(low[1], high[1], int(span[1]))):
                yield turned - (column, row)


def _shifts(low: int, high: int, span: int) -> tuple[int, int]:
    """Return the range of first columns (or rows): all of the lattice inside, else all of span."""
    first, last = high - span + 1, low
    return (int(min(first, last)), int(max(first, last)) + 1)


def _in_picture(transform: Floats, width: int, height: int) -> bool:
    corner = carried(transform, LATTICE[list(CORNERS)])
    return bool(((corner >= 0) & (corner < (width, height))).all())
