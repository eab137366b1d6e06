"""Grids of pieces over painted sketches, and the linear programmes that a match is held against."""

from decimal import Decimal

import numpy as np
import shapely
from scipy import sparse
from scipy.optimize import linprog
from skimage.color import deltaE_ciede2000

from core.colour.wanted import SketchColours
from core.commission import Commission, Sketch, field_of
from core.material import Material
from core.pieces import Pieces
from core.stock import starter_stock

TESSERA, JOINT = 10.0, 1.5
PITCH = TESSERA + JOINT
PX = 2  # pixels of the sketch across one piece
STOCK = starter_stock()


def grid(columns, rows, at=(0.0, 0.0), angle=0.0):
    """Square pieces in straight courses, the joint round each."""
    x, y = np.meshgrid(np.arange(columns) * PITCH + at[0], np.arange(rows) * PITCH + at[1])
    x, y = x.ravel() + JOINT / 2, y.ravel() + JOINT / 2
    place, course = np.tile(np.arange(columns), rows), np.repeat(np.arange(rows), columns)
    polygons = shapely.box(x, y, x + TESSERA, y + TESSERA)
    return Pieces(polygons, course, place, np.full(columns * rows, angle))


def field(columns, rows, at=(0.0, 0.0), name="f1", **given):
    """The field round such a grid."""
    x0, y0, x1, y1 = at[0], at[1], at[0] + columns * PITCH, at[1] + rows * PITCH
    return field_of(name, name, ((((x0, y0), (x1, y0), (x1, y1), (x0, y1)),),), **given)


def painted(rgb):
    """A sketch with one plain colour (rows, columns, 3) under each piece of a grid."""
    pixels = np.repeat(np.repeat(np.asarray(rgb, np.uint8), PX, axis=0), PX, axis=1)
    sketch = Sketch("s.png", pixels.shape[1], pixels.shape[0], PITCH / PX)
    return sketch, SketchColours(pixels)


def random_sketch(columns, rows, seed):
    return np.random.default_rng(seed).integers(0, 256, (rows, columns, 3))


def commission(*fields, materials=STOCK, **given):
    return Commission("Threshold", 1000.0, 1000.0, fields=fields, materials=materials, **given)


def plain(lab, pieces=10_000, waste=0.0):
    """Materials M0, M1, ... of these colours."""
    many = np.broadcast_to(pieces, len(lab))
    return tuple(
        Material(f"M{k}", f"m {k}", "smalti", tuple(map(float, c)), pieces=int(n), waste=waste)
        for k, (c, n) in enumerate(zip(lab, many, strict=True))
    )


def off(wanted, palette, weight=1.0):
    """CIEDE2000 by scikit-image of all to all; a weight of lightness divides kL."""
    one, two = np.broadcast_arrays(np.asarray(wanted)[:, None], np.asarray(palette)[None])
    return deltaE_ciede2000(one, two, kL=1 / weight)


def soft_palette(seed, n):
    return np.random.default_rng(seed).uniform([20, -40, -40], [90, 40, 50], (n, 3))


def usable(m):
    """Pieces that may be laid: sorting and cutting lose the rest."""
    return int(m.pieces * (1 - Decimal(repr(m.waste))))


def programme(cost, room):
    """Least total by scipy's linear programme; None where the shelf cannot serve all.

    `cost` is inf where a piece may not take a material.
    """
    n, m = cost.shape
    free = np.isfinite(cost)
    rows = sparse.kron(sparse.eye(n), np.ones((1, m)), "csr")
    columns = sparse.kron(np.ones((1, n)), sparse.eye(m), "csr")
    solved = linprog(
        np.where(free, cost, 0.0).ravel(),
        A_ub=columns,
        b_ub=room,
        A_eq=rows,
        b_eq=np.ones(n),
        bounds=np.column_stack([np.zeros(n * m), free.ravel().astype(float)]),
        method="highs",
    )
    return solved.fun if solved.status == 0 else None


def most_served(free, room):
    """How many pieces can be served at all, by scipy's linear programme."""
    n, m = free.shape
    rows = sparse.kron(sparse.eye(n), np.ones((1, m)), "csr")
    columns = sparse.kron(np.ones((1, n)), sparse.eye(m), "csr")
    solved = linprog(
        -free.ravel().astype(float),
        A_ub=sparse.vstack([rows, columns]),
        b_ub=np.concatenate([np.ones(n), room]),
        method="highs",
    )
    assert solved.status == 0
    return round(-solved.fun)


def two_fields(seed, room, n_materials, palettes, **given):
    rng = np.random.default_rng(seed)
    sketch, colours = painted(rng.integers(40, 220, (12, 10, 3)))
    materials = plain(soft_palette(seed, n_materials), room, waste=given.pop("waste", 0.0))
    fields = (
        field(10, 6, palette=palettes[0]),
        field(10, 6, at=(0.0, 6 * PITCH), name="f2", palette=palettes[1]),
    )
    doc = commission(*fields, materials=materials, sketch=sketch, within_stock=True, **given)
    return doc, [grid(10, 6), grid(10, 6, (0.0, 6 * PITCH))], colours


def used_of(laid, m):
    return sum(np.bincount(one.stock[one.stock >= 0], minlength=m) for one in laid)
