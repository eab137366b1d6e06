"""The same work priced otherwise, side by side, and nothing of the work altered."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from figures_rig import wall
from skimage.color import deltaE_ciede2000

from core.figures import figures
from core.figures.options import in_glass, options
from core.material import Material
from core.terms import Panel, Terms

DOC, LAYOUT = wall()
STOCK = tuple(
    Material(f"T{k}", "tried", "smalti", lab, price=Decimal(100), length_mm=15.0)
    for k, lab in enumerate([(20.0, 0.0, 0.0), (52.0, 1.0, -2.0), (48.0, 20.0, 5.0)])
)


def test_each_piece_takes_the_nearest_of_the_other_glass() -> None:
    found = in_glass(DOC, LAYOUT, "smalti", STOCK)
    assert found is not None and found.pieces == 50
    (laid,) = found.layout.fields
    assert {found.doc.materials[k].code for k in laid.stock} == {"T1"}
    # by another library's formula
    glass = np.array(DOC.materials[0].lab)
    far = [float(deltaE_ciede2000(glass, np.array(m.lab))) for m in STOCK]
    assert found.mean == pytest.approx(min(far), abs=1e-6) and int(np.argmin(far)) == 1
    assert found.worst == pytest.approx(found.mean)


def test_gold_stone_and_what_has_no_material_stay() -> None:
    (laid,) = LAYOUT.fields
    mixed = replace(LAYOUT, fields=(replace(laid, stock=np.arange(50) % 5 - 1),))
    found = in_glass(DOC, mixed, "smalti", STOCK)
    assert found is not None and found.pieces == 10
    now, was = found.layout.fields[0].stock, mixed.fields[0].stock
    assert np.array_equal(now[was != 0], was[was != 0])


def test_asking_alters_nothing_of_the_work() -> None:
    before = [f.stock.copy() for f in LAYOUT.fields]
    doc = replace(DOC, terms=Terms(options=("panel", "smalti", "vitreous")))
    each = options(doc, LAYOUT, STOCK)
    assert [o.key for o in each] == ["", "panel", "smalti", "vitreous"]
    assert all(np.array_equal(a, f.stock) for a, f in zip(before, LAYOUT.fields, strict=True))
    assert each[0].figures.quote == figures(doc, LAYOUT).quote
    assert each[2].figures.pieces == 50 and each[2].figures.unmatched == 0
    assert each[3].figures is None and "other glass" in each[3].fault


def test_no_such_glass_is_said() -> None:
    doc = replace(DOC, terms=Terms(options=("smalti",)))
    assert options(doc, LAYOUT)[1].fault == "There is no smalti in the stock."


def test_a_panel_costs_its_board_hangers_and_mounting_instead_of_fixing() -> None:
    panel = Panel(board_m2=Decimal(100), hanger=Decimal(8), hanger_kg=25.0)
    terms = Terms(
        fixing=Decimal(600), mounting=Decimal(200), panel=panel, options=("panel", "fixed")
    )
    each = options(replace(DOC, terms=terms), LAYOUT)
    assert [o.key for o in each] == ["", "panel"]  # fixed in place is what is offered
    fixed, hung = (o.figures.price for o in each)
    assert fixed.amount("fixing") == 600 and not fixed.amount("board", "hangers", "mounting")
    # 120 x 60 mm at 100 a m2; two hangers of 8
    assert hung.amount("board") == Decimal("0.72") and hung.amount("hangers") == 16
    assert hung.net - fixed.net == Decimal("0.72") + 16 + 200 - 600
