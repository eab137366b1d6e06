"""The order in which sheets are set: row by row from a level line upwards, then below it."""

from __future__ import annotations

import numpy as np

from core.sheets.graph import Floats, Ints


def setting_order(boxes: Floats, level_mm: float) -> Ints:
    """Return sheets in the order of setting, shape (k,), each row from the left.

    A sheet belongs to a row as long as its middle lies within the row's first sheet. What stands
    on a level line is set before what hangs below it, which is set downwards (common practice: a
    batten is fixed there).

    Parameters
    ----------
    boxes : ndarray (k, 4)
        x0, y0, x1, y1, mm, y down.
    level_mm : float
        Where the level line is, y in mm.
    """
    middle = (boxes[:, 1] + boxes[:, 3]) / 2
    up = np.flatnonzero(middle <= level_mm)
    down = np.flatnonzero(middle > level_mm)
    rows = _rows(boxes, up[np.argsort(-middle[up], kind="stable")])
    rows += _rows(boxes, down[np.argsort(middle[down], kind="stable")])
    order = [k for row in rows for k in sorted(row, key=lambda k: (boxes[k, 0], k))]
    return np.array(order, np.int64)


def _rows(boxes: Floats, sheets: Ints) -> list[list[int]]:
    rows: list[list[int]] = []
    for k in sheets.tolist():
        middle = (boxes[k, 1] + boxes[k, 3]) / 2
        if rows and boxes[rows[-1][0], 1] < middle < boxes[rows[-1][0], 3]:
            rows[-1].append(k)
        else:
            rows.append([k])
    return rows
