"""The cheapest seam between two sheets, as a minimum cut of the graph of joints.

References
----------
Boykov, Veksler & Zabih 2001, "Fast approximate energy minimization via graph cuts" (the swap of
two labels), doi 10.1109/34.969114.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

FINE = 100.0  # parts of a millimetre of seam that tell
NEVER = 10_000_000  # of such parts: a piece that may not be on a sheet
MOST = 2_000_000  # of one joint, so that no sum is too large a number


def cheapest_cut(
    n: int, a: Ints, b: Ints, cost: Floats, one: Floats, two: Floats
) -> NDArray[np.bool_]:
    """Return which of n pieces go to the second of two sheets so that the whole costs least.

    Parameters
    ----------
    a, b : ndarray of int, shape (m,)
        Pieces that share a joint.
    cost : ndarray (m,)
        What a seam along that joint costs, mm.
    one, two : ndarray (n,)
        What each piece costs on the first and on the second sheet, mm; infinite where it may not
        be.
    """
    through = np.minimum(np.rint(cost * FINE), MOST).astype(np.int32)
    from_source, to_sink = (_whole(v) for v in (two, one))  # cut from its source: on the second
    piece = np.arange(n)
    source, sink = np.full(n, n), np.full(n, n + 1)
    tail = np.concatenate([a, b, source, piece])
    head = np.concatenate([b, a, piece, sink])
    room = np.concatenate([through, through, from_source, to_sink])
    graph = sparse.coo_array((room, (tail, head)), shape=(n + 2, n + 2)).tocsr()
    flow = csgraph.maximum_flow(sparse.csr_array(graph), n, n + 1).flow
    left = sparse.csr_array(graph - flow)
    left.eliminate_zeros()
    reached = csgraph.breadth_first_order(left, n, return_predecessors=False)
    second = np.ones(n + 2, bool)
    second[reached] = False
    return second[:n]


def _whole(cost: Floats) -> NDArray[np.int32]:
    return np.minimum(np.rint(np.where(np.isfinite(cost), cost, NEVER) * FINE), NEVER).astype(
        np.int32
    )
