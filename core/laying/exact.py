"""The same numbers on every machine: what may differ in its last bits is rounded before it tells.

Sums, products and roots are the same everywhere; sines, arcs, powers, products of matrices and
solved equations hang on the processor's own kernels. Each of those is rounded here to a step far
coarser than the kernels differ by and far finer than a hand could cut, so that no choice hangs on
its last bits. Steps are powers of two: rounding to them is exact, and decimal lengths do not lie
midway between two steps.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import cho_solve_banded, cholesky_banded
from scipy.sparse.linalg import splu

Array = NDArray[np.float64]
Numbers = TypeVar("Numbers", Array, NDArray[np.complex128])

FINE = 2.0**-30  # of functions that are right to their last bits
SOLVED = 2.0**-24  # of solved equations, which gather what their sums lose
PLACE_MM = 2.0**-20  # of places, a millionth of a millimetre
BAND_WORK = 2e9  # unknowns times the square of the band: beyond it a band fills too much memory


def quantised(x: Numbers, step: float) -> Numbers:
    """Return numbers, real or complex, to the nearest whole multiple of a power of two."""
    whole: Numbers = np.rint(x * (1 / step))
    whole *= step
    whole += 0.0  # never minus nothing
    return whole


def ways(angle_rad: Array) -> Array:
    """Return the unit vectors of angles, (..., 2)."""
    return quantised(np.stack([np.cos(angle_rad), np.sin(angle_rad)], axis=-1), FINE)


def angles(y: Array, x: Array) -> Array:
    """Return the angles of vectors, in (-pi, pi], rad."""
    return quantised(np.arctan2(y, x), FINE)


def exponential(x: Array) -> Array:
    """Return e raised to numbers."""
    return quantised(np.exp(x), FINE)


def turns(angle_rad: Array) -> NDArray[np.complex128]:
    """Return the complex numbers of size one at angles."""
    return quantised(np.exp(1j * angle_rad), FINE)


def arc_cosine(x: Array) -> Array:
    """Return the angles of cosines, of anything beyond them those of 1 or -1, rad."""
    return quantised(np.arccos(np.clip(x, -1, 1)), FINE)


def logarithm(x: Array) -> Array:
    """Return the natural logarithms of numbers."""
    return quantised(np.log(x), FINE)


def raised(x: Array, power: float) -> Array:
    """Return numbers raised to a power."""
    return quantised(np.asarray(x**power), FINE)


def dot(a: Array, b: Array) -> Array:
    """Return the products of vectors in the plane, (..., 2) and (..., 2)."""
    out: Array = a[..., 0] * b[..., 0] + a[..., 1] * b[..., 1]
    return out


def conjugate_gradients(
    matrix: sparse.csr_array, rhs: Array, start: Array, most: int, share: float
) -> Array:
    """Solve for a symmetric positive matrix, its diagonal for a scale; sums in a fixed order.

    Ends after `most` steps, or where what is left is that `share` of `rhs`.

    References
    ----------
    Hestenes, Stiefel 1952, "Methods of conjugate gradients for solving linear systems", doi
    10.6028/jres.049.044.
    """
    scale = 1.0 / matrix.diagonal()
    x = start.copy()
    left = rhs - matrix @ x
    enough = share**2 * _sum_of(rhs, rhs)
    way, was = np.zeros_like(x), 1.0
    for _ in range(most):
        if _sum_of(left, left) <= enough:
            break
        scaled = scale * left
        now = _sum_of(left, scaled)
        way = scaled + now / was * way
        was = now
        ahead = matrix @ way
        step = now / _sum_of(way, ahead)
        x += step * way
        left -= step * ahead
    return x


def factored(
    matrix: sparse.csr_array, order: NDArray[np.int64] | None = None
) -> Callable[[Array], Array]:
    """Return what solves for a symmetric positive matrix and right sides (n,) or (n, k).

    `order` takes the unknowns so that those that tell on each other lie near one another: a narrow
    band is factorised in a third of the time that any sparse matrix takes.
    """
    n = matrix.shape[0]
    order = np.arange(n) if order is None else order
    place = np.empty(n, np.int64)
    place[order] = np.arange(n)
    entries = matrix.tocoo()
    column, row = place[entries.row], place[entries.col]  # by its columns, as it is symmetric
    below = row - column
    low = below >= 0
    wide = int(below.max(initial=0)) + 1
    if n * wide**2 <= BAND_WORK:
        band = np.zeros((n, wide))
        band.ravel()[column[low] * wide + below[low]] = entries.data[low]
        with suppress(np.linalg.LinAlgError):  # not positive to its last bits
            factor = cholesky_banded(band.T, True, lower=True, check_finite=False)

            def solve(rhs: Array) -> Array:
                out = np.empty_like(rhs)
                out[order] = cho_solve_banded((factor, True), rhs[order], True, False)
                return out

            return solve
    lu = splu(
        sparse.csc_array(matrix),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    return lambda rhs: np.asarray(lu.solve(rhs))


def _sum_of(a: Array, b: Array) -> float:
    return float(np.sum(a * b))
