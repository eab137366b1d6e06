"""One check of a commission: what passes can be worked with, what does not is told by its place."""

from __future__ import annotations

import io
import math
import zipfile
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hostile import commission, is_told, senseless, spoilt_commission, spoilt_setting_out

from core import archive
from core.checks import check_document
from core.commission import Commission, FlowLine, HandEdit, Rates, Swap
from core.errors import EmblemaError
from core.export import write_setting_out
from core.goods import Goods
from core.place import Place
from core.setting_out import read_setting_out
from core.typed import typed

GOOD = commission()


def test_a_sound_commission_and_the_demo_pass(demo_file: Path) -> None:
    check_document(GOOD)
    check_document(archive.load(demo_file)[0])


@pytest.fixture
def demo_file() -> Path:
    return Path(__file__).resolve().parents[2] / "assets/demo/heron.emblema"


def first_field(**choices: Any) -> Callable[[Commission], Commission]:
    def change(doc: Commission) -> Commission:
        return replace(doc, fields=(doc.fields[0].with_choices(**choices), *doc.fields[1:]))

    return change


def first_material(**changes: Any) -> Callable[[Commission], Commission]:
    return lambda doc: replace(
        doc, materials=(replace(doc.materials[0], **changes), *doc.materials[1:])
    )


def whole(**changes: Any) -> Callable[[Commission], Commission]:
    return lambda doc: replace(doc, **changes)


RING = ((0.0, 0.0), (9.0, 0.0), (0.0, 9.0))
FAULTS: dict[str, tuple[Callable[[Commission], Commission], str]] = {
    "two points": (
        first_field(outline=((RING[:2],),)),
        "its outline has 2 points; 3 are the least",
    ),
    "no number": (first_field(outline=(((*RING, (math.nan, 0.0)),),)), "a point at nan mm"),
    "far": (first_field(outline=(((*RING, (0.0, -2e8)),),)), "a point at -200000000 mm"),
    "no outline": (first_field(outline=()), "Field 'Sky' has no outline"),
    "no laying": (first_field(opus="basketwork"), "the laying 'basketwork' is not one of"),
    "no corner": (first_field(corners="bevel"), "the corners 'bevel' is not one of"),
    "fans without end": (
        first_field(opus="circumactum", tessera_mm=2.0, joint_mm=0.3, module_mm=2000.0),
        "the distance between fans is 2000 mm; it must be 5 to 690 mm",
    ),
    "huge courses": (first_field(hug_courses=10**400), "is a number of hundreds of digits"),
    "joint of nothing": (first_field(joint_mm=0.0), "the joint is 0 mm"),
    "joint above the small": (first_field(joint_mm=6.0), "less than the tessera of its hugging"),
    "infinite spread": (first_field(spread=math.inf), "the spread of sizes is inf"),
    "half a surrogate": (first_field(name="\ud800"), "holds a sign that is no letter"),
    "a control sign": (first_field(motif="a\x07"), "its motif"),
    "colour": (first_field(wanted_lab=(120, 0, 0)), "L* is 120"),
    "twice the id": (whole(fields=(GOOD.fields[0], GOOD.fields[0])), "2 fields have the id 'f1'"),
    "twice the code": (first_material(code="B"), "2 materials have the code 'B'"),
    "a pack of crumbs": (first_material(pack=1e-9), "a pack of 1e-09 kg holds hardly a piece"),
    "a pack of pairs": (first_material(pack=1.0, pack_unit="pair"), "unit of a pack 'pair' is not"),
    "all sorted out": (first_material(broken=0.6, off_colour=0.4), "sorting puts 100 % aside"),
    "a share below none": (first_material(wrong_size=-0.1), "the share of the wrong size is -0.1"),
    "pieces without end": (first_material(pieces_a_kg=1e9), "pieces to the kilo is 1000000000"),
    "wetter than water": (first_material(absorption=101.0), "water absorption is 101 %"),
    "a sign in a number": (first_material(supplier_no="a\x07"), "supplier's number"),
    "on the moon": (whole(place=Place("moon")), "The place 'moon' is not one of dry wall,"),
    "on straw": (whole(place=Place(substrate="straw")), "What it is set on 'straw' is not"),
    "glued by faith": (whole(place=Place(adhesive="C3")), "class of the adhesive 'C3'"),
    "no such grout": (whole(place=Place(grout="CG9")), "class of the grout 'CG9'"),
    "a deep notch": (
        whole(rates=Rates(goods=Goods(notch_mm=101.0))),
        "the trowel's notch is 101 mm; it must be 0 to 100 mm",
    ),
    "paper without end": (
        whole(rates=Rates(goods=Goods(paper_m2=math.inf))),
        "facing paper a m2 is inf m2",
    ),
    "putty for less than nothing": (
        whole(rates=Rates(goods=Goods(putty=Decimal(-1)))),
        "the price of putty -1 is not an amount of money",
    ),
    "price without end": (first_material(price=Decimal("1e-99999999")), "more digits than"),
    "price beyond": (first_material(price=Decimal("1e99999999")), "beyond 100,000,000"),
    "price that is none": (first_material(price=Decimal("sNaN")), "is not an amount of money"),
    "a point for a line": (
        whole(flow_lines=(FlowLine("l1", ((1.0, 1.0), (1.0, 1.0))),)),
        "Flow line 1 needs at least two different points",
    ),
    "a line for nobody": (
        whole(flow_lines=(FlowLine("l1", RING, "f9"),)),
        "Flow line 1 is for a field 'f9', which is not there",
    ),
    "an unknown edit": (whole(edits=(HandEdit("kick", "f1", (1, 1)),)), "the kind 'kick'"),
    "a pin of nothing": (whole(edits=(HandEdit("pin", "f1", (1, 1)),)), "Hand edit 1: its outline"),
    "a swap nowhere": (whole(swaps=(Swap("A", "B", "f9"),)), "Swap 1 is for a field"),
    "rates": (whole(rates=replace(GOOD.rates, bed_mm=-1.0)), "the adhesive bed is -1"),
    "limits": (whole(limits=replace(GOOD.limits, sharp_deg=math.nan)), "a sharp corner is nan"),
    "no width": (whole(width_mm=0.0), "The finished width is 0 mm"),
    "seed": (whole(seed=2**64), "seed"),
    "too many": (whole(swaps=(Swap("A", "B"),) * 20_001), "It has 20,001 swaps"),
    "title": (whole(title="x" * 201), "has 201 signs; 200 are the most"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_is_told_by_its_place_in_one_sentence(fault: str) -> None:
    change, words = FAULTS[fault]
    with pytest.raises(EmblemaError) as e:
        check_document(change(GOOD))
    assert words in str(e.value) and str(e.value).endswith(".") and "\n" not in str(e.value)


def test_notes_may_have_lines() -> None:
    check_document(replace(GOOD, notes="one\ttwo\r\nthree"))


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        ({"width_mm": "3"}, "Width is the text '3', which is not a number."),
        ({"width_mm": True}, "Width is yes, which is not a number."),
        ({"width_mm": 10**400}, "which is out of range."),
        ({"seed": 1.0}, "Seed is 1.0, which is not a whole number."),
        ({"within_stock": 1}, "Within stock is 1, which is not yes or no."),
        ({"rates": {"hour": "\ud800"}}, "In the commission stands half a sign (code 55296)"),
        ({"\ud800": 1}, "In the commission stands half a sign"),
        ({"rates": {"hour": "ten"}}, "Rates, hour is the text 'ten', which is not an amount."),
        ({"materials": [{"code": "A"}]}, "Description is missing in material 1 'A'."),
        (
            {"fields": [{"id": "f", "name": "Sky", "outline": [[[[0, 0], [1, "0"]]]]}]},
            "Field 1 'Sky', outline, part 1, ring 1, point 2, coordinate 2 is the text '0', which "
            "is not a number.",
        ),
        ({"motif_palettes": [["sea", "A"]]}, "Motif palette 1, entry 2 is the text 'A'"),
    ],
)
def test_a_value_of_another_kind_is_never_taken_for_one(raw: dict[str, Any], words: str) -> None:
    with pytest.raises(EmblemaError) as e:
        typed(Commission, {"title": "t", "width_mm": 9, "height_mm": 9, **raw})
    assert words in str(e.value)


def test_spoilt_files_are_opened_whole_or_refused_in_one_sentence(tmp_path: Path) -> None:
    """A sample; tests/bench/hostile_files.py tries thousands."""
    path, again = tmp_path / "bad.emblema", tmp_path / "again.emblema"
    archive.save(again, GOOD, {})
    good, came = again.read_bytes(), Counter[str]()
    assert zipfile.is_zipfile(io.BytesIO(good))
    for number in range(200):
        what, data = spoilt_commission(number, good)
        path.write_bytes(data)
        try:
            doc, images = archive.load(path)
        except EmblemaError as e:
            assert is_told(e, path), (number, what, str(e))
            came["refused"] += 1
            continue
        check_document(doc)
        archive.save(again, doc, images)
        assert archive.load(again)[0] == doc, (number, what)
        came["opened"] += 1
    assert came["refused"] > 100 and came["opened"] > 5


def test_spoilt_settings_out_are_read_or_refused_in_one_sentence(tmp_path: Path) -> None:
    path, came = tmp_path / "bad.geojson", Counter[str]()
    write_setting_out(path, GOOD)
    good = path.read_text(encoding="utf-8")
    for number in range(100):
        what, data = spoilt_setting_out(number, good)
        path.write_bytes(data)
        try:
            check_document(read_setting_out(path)[0])
            came["read"] += 1
        except EmblemaError as e:
            assert is_told(e, path), (number, what, str(e))
            came["refused"] += 1
    assert came["refused"] > 40 and came["read"] > 5


def test_senseless_commissions_come_back_as_they_were_saved(tmp_path: Path) -> None:
    path = tmp_path / "odd.emblema"
    for number in range(60):
        _, doc = senseless(number)
        try:
            check_document(doc)
        except EmblemaError:
            continue
        archive.save(path, doc, {})
        assert archive.load(path)[0] == doc
