"""The stock in a commission: lots of their own colour as materials, kept up by what they are."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from skimage.color import deltaE_ciede2000

from core import archive
from core.colour.fieldmatch import match_layout
from core.commission import Commission, Field, HandEdit, Swap, field_of, new_commission_id
from core.figures import counts
from core.material import Material
from core.pieces import Layout, Pieces
from core.stock import StockStore, use_stock

SEA = Material("SEA", "sea green", "smalti", (52.0, -24.0, 8.0), pieces=300, waste=0.0)
SKY = Material("SKY", "sky", "smalti", (70.0, -8.0, -22.0), pieces=300, waste=0.0)
SAND = Material("SAND", "sand", "marble", (80.0, 2.0, 18.0), pieces=300, waste=0.0)
DARK, PALE = (42.0, -24.0, 6.0), (60.0, -23.0, 10.0)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[StockStore]:
    """Three materials; the sea has a lot with no colour of its own, a dark one and a pale one."""
    with StockStore(tmp_path / "stock.sqlite") as opened:
        for m in opened.materials():
            opened.remove_material(m.code)
        for m in (SEA, SKY, SAND):
            opened.add_material(m)
        yield opened


def two_lots(store: StockStore) -> tuple[int, int]:
    return (
        store.add_lot("SEA", 40, "2031-01-02", DARK),
        store.add_lot("SEA", 60, "2031-02-03", PALE),
    )


def commission(*fields: Field, **given: object) -> Commission:
    return Commission("Threshold", 100.0, 100.0, fields=fields, **given)  # type: ignore[arg-type]


def field(name: str = "f1", **given: object) -> Field:
    ring = ((0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0))
    return field_of(name, name, ((ring,),), **given)  # type: ignore[arg-type]


def grid(n: int = 10) -> Pieces:
    x, y = np.meshgrid(np.arange(n) * 10.0, np.arange(n) * 10.0)
    polygons = shapely.box(x.ravel(), y.ravel(), x.ravel() + 9, y.ravel() + 9)
    at = np.arange(n * n)
    return Pieces(polygons, at // n, at % n, np.zeros(n * n))


def laid(doc: Commission) -> Layout:
    return Layout(match_layout(doc, [grid()] * len(doc.fields), None, [None] * len(doc.fields)))


def codes(doc: Commission) -> list[str]:
    return [m.code for m in doc.materials]


def test_each_lot_with_a_colour_of_its_own_is_a_material_of_its_own(store: StockStore) -> None:
    dark, pale = two_lots(store)
    plain = store.add_lot("SEA", 7, "2031-03-04")
    store.add_lot("SKY", 0, "2031-03-04", DARK)  # nothing of it to lay
    doc, said = use_stock(commission(), store)
    names = ["SEA", f"SEA lot {dark}", f"SEA lot {pale}", "SKY", "SAND"]
    assert codes(doc) == names
    assert doc.materials[0] == replace(SEA, pieces=307)
    for m, lot, lab, pieces in zip(
        doc.materials[1:3], (dark, pale), (DARK, PALE), (40, 60), strict=True
    ):
        assert (m.lab, m.pieces, m.lot, m.lot_of, m.order_code) == (lab, pieces, lot, "SEA", "SEA")
        assert m.key == ("SEA", lot)
        plain_again = replace(m, code="SEA", lab=SEA.lab, pieces=300, lot=None, lot_of="")
        assert plain_again == SEA
    assert said == (f"Lots with a colour, and a tray, of their own: {names[1]}, {names[2]}.",)
    assert plain not in [m.lot for m in doc.materials]
    # once more changes nothing and has nothing to say
    assert use_stock(doc, store) == (doc, ())


def test_the_match_takes_the_lot_that_comes_nearest(store: StockStore) -> None:
    two_lots(store)
    wanted = [(43.0, -24.0, 6.0), (52.0, -24.0, 8.0), (61.0, -23.0, 10.0), (70.0, -8.0, -20.0)]
    fields = [field(f"f{k}", wanted_lab=lab) for k, lab in enumerate(wanted)]
    doc, _ = use_stock(commission(*fields), store)
    table = deltaE_ciede2000(
        np.array(wanted)[:, None].repeat(5, axis=1),
        np.array([m.lab for m in doc.materials])[None].repeat(4, axis=0),
    )
    layout = laid(doc)
    for one, near in zip(layout.fields, table.argmin(axis=1), strict=True):
        assert set(one.stock) == {near}
    assert [set(one.stock) for one in layout.fields] == [{1}, {0}, {2}, {3}]
    # before, all three took the material's colour
    before, _ = use_stock(commission(*fields), store)
    plain = tuple(m for m in before.materials if m.lot is None)
    assert [set(x.stock) for x in laid(replace(before, materials=plain)).fields][:3] == [{0}] * 3


def test_within_the_stock_each_lot_gives_what_it_has(store: StockStore) -> None:
    two_lots(store)
    doc, _ = use_stock(commission(field(wanted_lab=DARK), within_stock=True), store)
    table = {c.material.code: c for c in counts(doc, laid(doc))}
    lot = next(m for m in doc.materials if m.lab == DARK)
    assert table[lot.code].pieces == 40 and table["SEA"].pieces == 60
    assert all(c.short == 0 for c in table.values())
    free = counts(replace(doc, within_stock=False), laid(replace(doc, within_stock=False)))
    assert [(c.material.code, c.short, c.order) for c in free] == [(lot.code, 60, "SEA")]


def test_what_is_set_aside_taken_out_and_put_back_is_that_lots(store: StockStore) -> None:
    dark, pale = two_lots(store)
    doc, _ = use_stock(commission(field(wanted_lab=DARK), within_stock=True), store)
    needed = {c.material.key: c.take for c in counts(doc, laid(doc))}
    assert needed == {"SEA": 60, ("SEA", dark): 40}
    assert store.set_aside(doc.key, needed, title=doc.title) == ()
    # for this commission they are in hand, for another they are not
    again, said = use_stock(doc, store)
    assert again == doc and said == ()
    other, _ = use_stock(commission(id="another"), store)
    assert f"SEA lot {dark}" not in codes(other) and other.material("SEA").pieces == 240
    store.take_out(doc.key)
    shelf = {v.id: v.in_hand for v in store.lots("SEA")}
    assert (shelf[dark], shelf[pale], sum(shelf.values())) == (0, 60, 300)
    store.put_back(doc.key, {("SEA", dark): 3})
    assert {v.id: v.in_hand for v in store.lots("SEA")}[dark] == 3


def test_lots_that_run_out_change_colour_or_lose_it(store: StockStore) -> None:
    dark, pale = two_lots(store)
    third = store.add_lot("SEA", 25, "2031-05-06", (55.0, -30.0, 0.0))
    names = {lot: f"SEA lot {lot}" for lot in (dark, pale, third)}
    fields = (
        field(palette=("SKY", names[pale], "SEA"), locked=(names[pale],), accent=names[pale]),
        field("f2", blend=("SKY", names[pale], "SEA"), match="shade"),
    )
    edit = HandEdit("stock", "f1", (5.0, 5.0), material=names[pale])
    doc, _ = use_stock(
        commission(
            *fields,
            swaps=(Swap(names[pale], "SKY"), Swap("SEA", names[pale]), Swap("SAND", names[pale])),
            edits=(edit,),
            motif_palettes=(("heron", (names[pale], "SEA", names[dark])),),
        ),
        store,
    )
    store.count_lot(dark, 0)
    store.change_lot(pale, lab=None, note="the same after all")
    store.change_lot(third, lab=(54.0, -31.0, 1.0), note="")
    store.remove_material("SAND")
    doc, said = use_stock(doc, store)
    assert said == (
        f"Of another colour than before: {names[third]}.",
        f"None left for it: {names[dark]}.",
        f"No longer of a colour of their own, so laid as their material: {names[pale]}.",
        "Not in this stock, so none in hand: SAND.",
    )
    assert codes(doc) == ["SEA", names[dark], names[third], "SKY", "SAND"]
    assert [m.pieces for m in doc.materials] == [360, 0, 25, 300, 0]
    assert doc.material(names[third]).lab == (54.0, -31.0, 1.0)
    # nothing names what is no longer there
    f1, f2 = doc.fields
    assert f1.colour.palette == ("SKY", "SEA", names[dark], names[third])
    assert (
        f1.colour.locked == ("SEA",)
        and f1.colour.accent == "SEA"
        and f2.colour.blend == ("SKY", "SEA")
    )
    assert doc.motif_palettes[0][1] == ("SEA", names[dark], names[third])
    assert set(doc.swaps) >= {Swap("SEA", "SKY"), Swap("SAND", "SEA")}
    assert doc.edits == (replace(edit, material="SEA"),)
    named_ = {s.old for s in doc.swaps} | {s.new for s in doc.swaps}
    assert named_ <= set(codes(doc)) and all(s.old != s.new for s in doc.swaps)
    # it stays as it is until the stock changes again
    assert use_stock(doc, store) == (doc, ("Not in this stock, so none in hand: SAND.",))
    # and the lot has its colour again
    store.change_lot(pale, lab=PALE, note="")
    assert names[pale] in codes(use_stock(doc, store)[0])


def test_a_new_lot_is_treated_as_its_material_was(store: StockStore) -> None:
    fields = (
        field(palette=("SEA", "SKY"), locked=("SEA",)),
        field("f2", palette=("SKY", "SAND")),
        field("f3", motif="heron"),
        field("f4", blend=("SEA", "SKY"), accent="SEA"),
    )
    swaps = (Swap("SEA", "SAND", motif="heron"), Swap("SKY", "SEA"), Swap("SEA", "gone"))
    doc, _ = use_stock(
        commission(*fields, swaps=swaps, motif_palettes=(("heron", ("SAND", "SEA")),)), store
    )
    dark, pale = (f"SEA lot {k}" for k in two_lots(store))
    doc, _ = use_stock(doc, store)
    assert doc.fields[0].colour.palette == ("SEA", dark, pale, "SKY")
    assert doc.fields[0].colour.locked == ("SEA", dark, pale)
    assert doc.fields[1].colour.palette == ("SKY", "SAND") and doc.fields[2].colour.palette == ()
    assert doc.motif_palettes == (("heron", ("SAND", "SEA", dark, pale)),)
    # a mixture is the person's own choice, of so many
    assert doc.fields[3].colour.blend == ("SEA", "SKY") and doc.fields[3].colour.accent == "SEA"
    assert doc.swaps == (
        Swap(dark, "SAND", motif="heron"),
        Swap(pale, "SAND", motif="heron"),
        swaps[0],
        swaps[1],
        Swap(dark, "gone"),
        Swap(pale, "gone"),
        swaps[2],
    )
    # what is barred afterwards stays barred
    barred = replace(doc, fields=(doc.fields[0].with_choices(palette=("SEA", "SKY")),))
    assert use_stock(barred, store)[0].fields[0].colour.palette == ("SEA", "SKY")


def test_accents_and_mixtures_stay_as_chosen_and_that_is_said(store: StockStore) -> None:
    fields = (
        field("Ground", accent="SEA", accent_share=0.1),
        field("Band", match="mix", blend=("SEA", "SKY"), accent="SEA", accent_share=0.2),
        field("Sky", match="shade", blend=("SKY", "SEA")),
        field("Idle", accent="SEA", blend=("SEA", "SKY")),  # neither is laid
        field("Other", accent="SKY", accent_share=0.1, match="mix", palette=("SEA", "SAND")),
    )
    two_lots(store)
    doc, said = use_stock(commission(*fields), store)
    assert [(f.colour.accent, f.colour.blend) for f in doc.fields] == [
        (f.colour.accent, f.colour.blend) for f in fields
    ]
    (words,) = [w for w in said if "Mixtures lay what" in w]
    assert words.endswith("if they are meant: Ground (SEA), Band (SEA), Sky (SEA).")
    # a mixture that is found in the palette has the new lots with it
    assert doc.fields[4].colour.palette[0] == "SEA" and len(doc.fields[4].colour.palette) == 4
    # it is said of new lots alone
    assert use_stock(doc, store) == (doc, ())
    third = store.add_lot("SKY", 25, "2031-05-06", (55.0, -30.0, 0.0))
    _, said = use_stock(doc, store)
    assert said[0].endswith(f"SKY lot {third}.")
    assert said[1].endswith("if they are meant: Band (SKY), Sky (SKY), Other (SKY).")


def test_a_swap_of_the_material_for_its_own_lot_is_left_alone(store: StockStore) -> None:
    dark, _ = two_lots(store)
    doc, _ = use_stock(commission(swaps=(Swap("SEA", f"SEA lot {dark}"),)), store)
    third = store.add_lot("SEA", 25, "2031-05-06", (55.0, -30.0, 0.0))
    doc, _ = use_stock(doc, store)
    assert f"SEA lot {third}" in codes(doc)
    assert (
        doc.swaps[-1] == Swap("SEA", f"SEA lot {dark}")
        and Swap(f"SEA lot {third}", f"SEA lot {dark}") not in doc.swaps
    )


def test_a_code_that_is_taken_is_not_given_twice(store: StockStore) -> None:
    dark, _ = two_lots(store)
    store.add_material(replace(SAND, code=f"SEA lot {dark}"))
    doc, _ = use_stock(commission(), store)
    assert len(set(codes(doc))) == len(codes(doc)) == 6
    (lot,) = [m for m in doc.materials if m.lot == dark]
    assert lot.code == f"SEA lot {dark} (2)" and lot.lab == DARK
    assert doc.material(f"SEA lot {dark}").lot is None
    assert use_stock(doc, store) == (doc, ())


def test_a_file_shows_its_lots_where_that_stock_is_not(store: StockStore, tmp_path: Path) -> None:
    dark, _ = two_lots(store)
    doc, _ = use_stock(commission(field(wanted_lab=DARK)), store)
    archive.save(tmp_path / "wall.emblema", doc, {})
    there, _ = archive.load(tmp_path / "wall.emblema")
    assert there == doc and there.key == doc.key
    name = f"SEA lot {dark}"
    assert there.material(name).lab == DARK
    (one,) = counts(there, laid(there))
    assert (one.material.code, one.short, one.order) == (name, 60, "SEA")
    with StockStore(tmp_path / "there.sqlite") as other:
        # a lot of the same number is another material's there
        other.add_material(SEA)
        while dark not in {v.id for v in other.lots("SM-01")}:
            other.add_lot("SM-01", 5, "2031-01-01", (15.0, 3.0, 3.0))
        used, said = use_stock(there, other)
        assert used.material(name) == replace(there.material(name), pieces=0)
        assert name in said[-1] and said[-1].startswith("Not in this stock, so none in hand")
        assert set(laid(used).fields[0].stock) == {used.materials.index(used.material(name))}


def test_what_was_set_aside_under_its_title_stays_a_commissions_own(store: StockStore) -> None:
    """Of the time before commissions had an id; undone, it is found by its title as before."""
    store.set_aside("Threshold", {"SEA": 250})
    old = commission()
    used, _ = use_stock(old, store)
    assert old.key == used.key == "Threshold" and used.material("SEA").pieces == 300
    renamed = replace(used, title="Threshold, hall")
    assert use_stock(renamed, store)[0].material("SEA").pieces == 300
    for other in (commission(id=new_commission_id()), replace(old, title="Hall")):
        assert use_stock(other, store)[0].material("SEA").pieces == 50
    untitled = replace(old, title="")
    assert use_stock(untitled, store)[0].key not in ("", use_stock(untitled, store)[0].key)
