"""What is derived from a commission: what stands stays, and what cannot be laid is named."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
import shapely
from plan_rig import bands, planning

from core import handwork
from core.commission import (
    Commission,
    Field,
    FlowLine,
    add_flow_line,
    add_swap,
    change_field,
    field_of,
    remove_flow_line,
)
from core.errors import EmblemaError
from core.kept import key_of
from core.laying import SOLVER_VERSION
from core.pieces import Layout
from core.plan import Planner, setting_of, with_colours

WALL = (((0.0, 0.0), (90.0, 0.0), (90.0, 90.0), (0.0, 90.0)),)
NOTHING = (((0.0, 0.0), (90.0, 0.0), (45.0, 0.0)),)


@pytest.fixture
def planner() -> Iterator[Planner]:
    with planning() as one:
        yield one


@pytest.mark.parametrize("large", [False, True], ids=["one after the other", "side by side"])
def test_the_field_that_cannot_be_laid_is_named_and_the_others_stay(
    planner: Planner, large: bool
) -> None:
    size = 400.0 if large else 90.0
    wall = tuple(tuple((x * size / 90, y * size / 90) for x, y in ring) for ring in WALL)
    ground = field_of("f1", "Ground", (wall,), tessera_mm=9.0, joint_mm=1.0)
    line = field_of("f2", "Water line", (NOTHING,), tessera_mm=9.0, joint_mm=1.0)
    doc = Commission("Wall", size, size, fields=(ground, line))
    with pytest.raises(EmblemaError, match="Water line cannot be laid. The outline encloses"):
        planner.layout(doc, {})
    mended = replace(doc, fields=(ground, replace(line, outline=(WALL,))))
    layout = planner.layout(mended, {})
    assert [len(f.pieces) > 50 for f in layout.fields] == [True, True]


def alike(a: Layout, b: Layout) -> None:
    """Say that two layouts are the same to the micrometre and the material."""
    assert [f.field_id for f in a.fields] == [f.field_id for f in b.fields]
    for one, two in zip(a.fields, b.fields, strict=True):
        assert shapely.equals_identical(one.pieces.polygons, two.pieces.polygons).all()
        np.testing.assert_array_equal(one.stock, two.stock)
        np.testing.assert_array_equal(one.wanted_lab, two.wanted_lab)
        np.testing.assert_allclose(one.delta_e, two.delta_e, atol=1e-9)
        assert one.unswapped == two.unswapped


def some_edit(doc: Commission, layout: Layout, luck: random.Random) -> Commission:
    """Return the document after one edit of any kind."""
    f = luck.choice(doc.fields)
    codes = tuple(luck.sample([m.code for m in doc.materials], 3))

    def by_hand(edit: object) -> Commission:
        laid = layout.by_id(f.id)
        try:
            return edit(doc, layout, f.id, luck.randrange(len(laid.pieces)))  # type: ignore[operator]
        except EmblemaError:
            return doc

    edits = (
        lambda: change_field(doc, f.id, tessera_mm=luck.choice((8.0, 9.5, 11.0))),
        lambda: change_field(doc, f.id, follow_border=luck.random() < 0.5),
        lambda: change_field(doc, f.id, opus=luck.choice(("tessellatum", "regulatum"))),
        lambda: change_field(doc, f.id, throw=luck.randrange(3)),
        lambda: change_field(doc, f.id, palette=luck.choice(((), codes))),
        lambda: change_field(doc, f.id, shift_lab=(luck.uniform(-9, 9), 0.0, 0.0)),
        lambda: change_field(doc, f.id, wanted_lab=luck.choice((None, (50.0, 0.0, 20.0)))),
        lambda: change_field(doc, f.id, accent=codes[0], accent_share=luck.choice((0.0, 0.2))),
        lambda: change_field(
            doc, f.id, match=luck.choice(("nearest", "mix", "shade")), blend=codes
        ),
        lambda: change_field(doc, f.id, at_most=luck.randrange(3), locked=codes[:1]),
        lambda: replace(doc, motif_palettes=luck.choice(((), (("water", codes),)))),
        lambda: add_swap(doc, codes[0], codes[1], field_id=luck.choice((None, f.id))),
        lambda: replace(doc, within_stock=not doc.within_stock),
        lambda: replace(doc, lightness_weight=luck.choice((0.5, 1.0, 2.0))),
        lambda: replace(doc, grout_lab=(luck.uniform(20, 90), 0.0, 0.0)),
        lambda: replace(doc, seed=luck.randrange(3)),
        lambda: replace(doc, materials=tuple(luck.sample(doc.materials, len(doc.materials)))),
        lambda: replace(
            doc, materials=tuple(replace(m, pieces=luck.randrange(40)) for m in doc.materials)
        ),
        lambda: add_flow_line(
            doc,
            [(luck.uniform(0, 150), 5.0), (luck.uniform(0, 150), 55.0)],
            luck.choice((None, f.id)),
        )[0],
        lambda: remove_flow_line(doc, doc.flow_lines[0].id) if doc.flow_lines else doc,
        lambda: by_hand(handwork.lift),
        lambda: by_hand(lambda *a: handwork.lay_in(*a, codes[0])),
    )
    return luck.choice(edits)()


@pytest.mark.parametrize("seed", range(4))
def test_what_is_remembered_is_what_is_laid_and_matched_from_nothing(
    planner: Planner, seed: int
) -> None:
    luck = random.Random(seed)
    doc = bands(tessera_mm=9.5, joint_mm=1.0)
    layout = planner.layout(doc, {})
    for _ in range(10):
        doc = some_edit(doc, layout, luck)
        layout = planner.layout(doc, {})
        with planning() as fresh:
            alike(layout, fresh.layout(doc, {}))
            # and so it is from what a file keeps
            alike(layout, fresh.layout(doc, {}, kept=with_colours(doc, layout)))


def test_a_change_to_one_field_leaves_the_very_pieces_of_the_others(planner: Planner) -> None:
    doc = bands()
    first = planner.layout(doc, {})
    other = change_field(doc, "f1", tessera_mm=8.0)
    second = planner.layout(other, {}, kept=first.kept)
    assert second.kept["f0"] is first.kept["f0"] and second.kept["f2"] is first.kept["f2"]
    assert second.kept["f1"].key != first.kept["f1"].key
    assert second.by_id("f0").pieces is first.by_id("f0").pieces
    back = planner.layout(doc, {}, kept=first.kept)
    assert back.kept is first.kept
    alike(back, first)


def test_only_the_chosen_field_is_thrown_again() -> None:
    doc = bands()
    keys = [key_of(setting_of(doc, f)) for f in doc.fields]
    again = change_field(doc, "f1", throw=1)
    assert [a == key_of(setting_of(again, f)) for a, f in zip(keys, again.fields, strict=True)] == [
        True,
        False,
        True,
    ]


def test_a_line_for_all_fields_touches_only_those_that_it_comes_near() -> None:
    doc = bands(tessera_mm=3.0, joint_mm=0.4)
    keys = {f.id: key_of(setting_of(doc, f)) for f in doc.fields}
    lined = replace(doc, flow_lines=(FlowLine("l1", ((5.0, 5.0), (20.0, 50.0))),))
    changed = {f.id for f in lined.fields if key_of(setting_of(lined, f)) != keys[f.id]}
    assert changed == {"f0"}


def test_a_field_whose_numbers_differ_in_their_last_bits_has_one_key() -> None:
    doc = bands()
    f = doc.fields[0]
    near = tuple(
        tuple(tuple((x + 1e-10, y - 1e-10) for x, y in ring) for ring in part) for part in f.outline
    )
    assert key_of(setting_of(doc, f)) == key_of(setting_of(doc, replace(f, outline=near)))
    far = tuple(tuple(tuple((x + 1e-3, y) for x, y in ring) for ring in part) for part in f.outline)
    assert key_of(setting_of(doc, f)) != key_of(setting_of(doc, replace(f, outline=far)))


def renamed(field: Field) -> Field:
    return replace(field, name="Otherwise", motif="other")


def test_a_name_changes_no_piece(planner: Planner) -> None:
    doc = bands()
    first = planner.layout(doc, {})
    second = planner.layout(replace(doc, fields=tuple(map(renamed, doc.fields))), {})
    assert second.kept is first.kept


def test_what_an_earlier_version_laid_stands_until_it_is_asked_anew(planner: Planner) -> None:
    doc = bands()
    other = planner.layout(replace(doc, seed=7), {})
    now = planner.layout(doc, {})
    # the pieces of another throw, said to be an earlier version's of this one
    kept = {
        k: replace(other.kept[k], key=now.kept[k].key, solver=SOLVER_VERSION - 1) for k in now.kept
    }
    stands = planner.layout(doc, {}, kept=kept)
    assert stands.kept is kept
    assert shapely.equals_identical(
        stands.by_id("f1").pieces.polygons, other.by_id("f1").pieces.polygons
    ).all()
    anew = planner.layout(doc, {}, kept=kept, anew=["f1"])
    assert anew.kept["f0"] is kept["f0"] and anew.kept["f1"].solver == SOLVER_VERSION
    assert shapely.equals_identical(
        anew.by_id("f1").pieces.polygons, now.by_id("f1").pieces.polygons
    ).all()


def test_damaged_pieces_are_laid_again_and_named(planner: Planner) -> None:
    doc = bands()
    first = planner.layout(doc, {})
    broken = {**first.kept, "f1": replace(first.kept["f1"], packed=b"nothing of the kind")}
    with planning() as fresh:
        layout = fresh.layout(doc, {}, kept=broken)
    assert layout.broken == ("Middle",)
    alike(layout, first)


def test_how_a_material_is_bought_or_tested_colours_nothing_anew(planner: Planner) -> None:
    """What sorting loses counts only where the match keeps within what is in hand."""
    doc = bands(tessera_mm=9.5, joint_mm=1.0)
    first = planner.layout(doc, {})

    def again(within: bool, **changes: object) -> bool:
        """Whether the colours of a changed document hang on the same as before."""
        before = replace(doc, within_stock=within)
        after = replace(before, materials=tuple(replace(m, **changes) for m in before.materials))
        one, two = with_colours(before, first), with_colours(after, first)
        return all(one[k].colours.key == two[k].colours.key for k in one)

    bought = {"pack": 2.0, "pack_unit": "m2", "supplier_no": "7", "pieces_a_kg": 300.0}
    tested = {"absorption": 1.0, "slip_ptv": 40.0, "frost_cycles": 56}
    assert again(False, **bought) and again(True, **bought)
    assert again(False, **tested) and again(True, **tested)
    assert again(False, broken=0.1) and not again(True, broken=0.1)
