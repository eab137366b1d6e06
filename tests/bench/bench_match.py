"""Times matching and swapping at 2,000, 20,000 and 100,000 pieces; run by hand.

Every figure is the best of three, and stands beside the same step at 2,000 pieces in this run, so
that machines can be compared by the growth instead of the seconds. Within the stock eight of sixty
materials are short, or half of them; "from nothing" only the sketch under the pieces is known.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parents[2]))

from core.colour.fieldmatch import match_field, match_layout
from core.colour.matching import choose_colours, differences
from core.colour.mixing import optical_mix
from core.colour.scatter import even_order
from core.colour.wanted import SketchColours, stocked_lab
from core.commission import Commission, Field, Sketch, Swap
from core.pieces import LaidField, Pieces
from core.stock import starter_stock

SIZES = (2_000, 20_000, 100_000)
WIDTH_PX, HEIGHT_PX = 4096, 2048
SQUARE = (((0.0, 0.0), (1.0, 0.0), (1.0, 1.0)),)


def soft_sketch() -> np.ndarray:
    """A picture of soft patches with some grain, as a painted sketch has them."""
    rng = np.random.default_rng(1)
    coarse = rng.uniform(30, 230, (9, 17, 3))
    y, x = np.linspace(0, 7.999, HEIGHT_PX), np.linspace(0, 15.999, WIDTH_PX)
    i, j = y.astype(int), x.astype(int)
    v, u = (y - i)[:, None, None], (x - j)[None, :, None]
    top = coarse[i][:, j] * (1 - u) + coarse[i][:, j + 1] * u
    low = coarse[i + 1][:, j] * (1 - u) + coarse[i + 1][:, j + 1] * u
    grain = rng.normal(0, 6, (HEIGHT_PX, WIDTH_PX, 1))
    return np.clip(top * (1 - v) + low * v + grain, 0, 255).astype(np.uint8)


def some_pieces(n: int) -> Pieces:
    """Return n four-sided pieces, each turned its own way, over the whole sketch."""
    pitch = np.sqrt(WIDTH_PX * HEIGHT_PX / n)
    columns = int(WIDTH_PX // pitch)
    row, column = np.divmod(np.arange(n), columns)
    centre = np.stack([column, row], axis=1) * pitch + pitch / 2
    turn = np.random.default_rng(2).uniform(0, np.pi, n)
    corner = turn[:, None] + np.pi / 4 + np.arange(4) * np.pi / 2
    ring = np.stack([np.cos(corner), np.sin(corner)], axis=-1) * pitch * 0.6
    return Pieces(shapely.polygons(centre[:, None] + ring), row, column, np.zeros(n))


def best(run: Callable[[], object], times: int = 3) -> float:
    """Return the shortest time of several, in seconds."""
    spent = []
    for _ in range(times):
        begun = time.perf_counter()
        run()
        spent.append(time.perf_counter() - begun)
    return min(spent)


def with_swap(doc: Commission, old: str, new: str) -> Commission:
    """Return a commission in which a material is swapped."""
    return replace(doc, swaps=(Swap(old, new),))


def shortened(doc: Commission, demand: np.ndarray, short: int) -> Commission:
    """Return it within a stock of three fifths of what is laid most, and plenty of the rest."""
    in_hand = 3 * demand + int(demand.sum()) // 12
    most = np.argsort(-demand)[:short]
    in_hand[most] = demand[most] * 3 // 5
    materials = tuple(
        replace(m, pieces=int(k), waste=0.0) for m, k in zip(doc.materials, in_hand, strict=True)
    )
    return replace(doc, materials=materials, within_stock=True)


def off(laid: LaidField) -> float:
    """Return the mean difference of what is laid to what is wanted."""
    return float(np.nanmean(laid.delta_e))


def steps_at(n: int, pixels: np.ndarray) -> tuple[dict[str, Callable[[], object]], str]:
    """Return what is timed at one number of pieces, and a line on what the match gave."""
    materials = starter_stock()[:60]
    lab = stocked_lab(materials)
    field = Field("f1", "ground", SQUARE)
    sketch = Sketch("a.png", WIDTH_PX, HEIGHT_PX, 1.0)
    doc = Commission("bench", WIDTH_PX, HEIGHT_PX, sketch=sketch, materials=materials)
    pieces = some_pieces(n)
    colours = SketchColours(pixels)
    laid = match_field(doc, field, pieces, colours)
    wanted = laid.wanted_lab
    demand = np.bincount(laid.stock, minlength=60)
    most, rare = (materials[int(k)].code for k in np.argsort(-demand)[[0, 30]])
    doc = replace(doc, fields=(field,))
    steps: dict[str, Callable[[], object]] = {
        "mean of the sketch under each piece": lambda: SketchColours(pixels).mean_lab(
            sketch, pieces.polygons
        ),
        "CIEDE2000 to 60 materials": lambda: differences(wanted, lab),
        "match from nothing": lambda: match_field(doc, field, pieces, SketchColours(pixels)),
        "swap one material": lambda: swapped(doc),
    }

    def swapped(doc: Commission) -> tuple[LaidField, ...]:
        return match_layout(with_swap(doc, most, rare), [pieces], colours, [None])

    note = f"{n:>9,} pieces: mean difference {off(laid):.2f}"
    for short in (8, 30):
        within = shortened(doc, demand, short)
        (found,) = match_layout(within, [pieces], colours, [None])
        note += f", {off(found):.2f} with {short} short"
        steps |= {
            f"the same, {short} short, from nothing": partial(
                lambda doc: match_layout(doc, [replace(pieces)], colours, [None]), within
            ),
            f"swap one material, {short} short": partial(swapped, within),
        }
    return steps | {
        "choose 12 colours": lambda: choose_colours(wanted, None, lab, 12),
        "even spread": lambda: even_order(pieces.centre_mm, 1),
        "mix two of 60": lambda: optical_mix(wanted, lab, doc.grout_lab, 0.2, 2),
    }, note


def main() -> None:
    """Print the table."""
    pixels = soft_sketch()
    table: dict[str, list[float]] = {}
    notes = []
    for n in SIZES:
        steps, note = steps_at(n, pixels)
        notes.append(note)
        for name, run in steps.items():
            table.setdefault(name, []).append(best(run))
    print(f"{'':38}" + "".join(f"{n:>20,}" for n in SIZES))
    for name, spent in table.items():
        cells = "".join(f"{s * 1000:>10.1f} ms {s / spent[0]:>5.1f}x" for s in spent)
        print(f"{name:38}{cells}")
    print("\n".join(notes))


if __name__ == "__main__":
    main()
