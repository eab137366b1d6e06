"""What suits which place: outside facts, and that every rule is reached, reasoned and sourced."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest
from grids import grid
from hypothesis import given
from hypothesis import strategies as st

from core.material import FINISHES, KINDS, Material
from core.place import ADHESIVES, GROUTS, PLACES, SUBSTRATES, Place
from core.suitability import LEVELS, RULES, judged, unsuited, write_suitability_csv

GOOD = {"adhesive": "C2S1", "grout": "CG2WA", "substrate": "concrete"}


def of(kind: str, finish: str = "matt", **more: float) -> Material:
    return replace(Material("X", "x", kind, (50.0, 0.0, 0.0), finish=finish), **more)


def said(place: Place, *laid: Material) -> list[tuple[str, str]]:
    return [(u.level, u.finding) for u in judged(place, laid)]


# What handbooks say, place by place: (place, material, words that must be among the findings)
FACTS = [
    ("kitchen splash", of("marble", "polished"), "no", "etched by lemon"),
    ("kitchen splash", of("marble"), "care", "stains of oil"),
    ("floor", of("marble"), "care", "softer than the sand"),
    ("floor", of("shell"), "no", "too brittle"),
    ("floor", of("gold glass", "metallic"), "no", "too thinly covered"),
    ("floor", of("vitreous"), "ask", "glass underfoot"),
    ("floor", of("stone", slip_ptv=35), "no", "slips when wet"),
    ("shower floor", of("ceramic", "polished"), "no", "no slip test"),
    ("outdoor floor", of("stone", frost_cycles=12), "no", "too few cycles"),
    ("outdoor wall", of("stone"), "ask", "no frost test"),
    ("outdoor wall", of("ceramic", absorption=14), "no", "too much water"),
    ("outdoor wall", of("ceramic", absorption=6), "no", "too much water"),
    ("outdoor wall", of("ceramic", absorption=2), "ask", "only if declared"),
    ("outdoor wall", of("shell"), "no", "parts in frost"),
    ("pool", of("gold glass", "metallic"), "no", "goes dull"),
    ("pool", of("marble"), "care", "takes off lime"),
]
QUIET = [
    ("dry wall", of("marble", "polished"), "etched"),
    ("kitchen splash", of("vitreous", "polished"), "etched"),
    ("outdoor floor", of("stone", frost_cycles=56), "frost"),
    ("outdoor wall", of("ceramic", absorption=0.3), "water"),
    ("floor", of("ceramic", slip_ptv=36), "slip"),
    ("dry wall", of("shell"), "splits in heat"),
]


@pytest.mark.parametrize(("place", "material", "level", "words"), FACTS)
def test_what_is_known_is_said(place: str, material: Material, level: str, words: str) -> None:
    found = said(Place(place, **GOOD), material)
    assert any(lv == level and words in finding for lv, finding in found), found


@pytest.mark.parametrize(("place", "material", "words"), QUIET)
def test_what_a_test_answers_or_does_not_matter_there_is_not_said(
    place: str, material: Material, words: str
) -> None:
    assert not [f for _, f in said(Place(place, **GOOD), material) if words in f]


@pytest.mark.parametrize(
    ("place", "words"),
    [
        (Place("shower wall", adhesive="D2"), "gives way in water"),
        (Place("floor", adhesive="C1"), "holds too little there"),
        (Place("outdoor wall", adhesive="C2"), "bends too little"),
        (Place("dry wall", adhesive="C1"), "holds too little on glass"),
        (Place("dry wall", cooker=True, adhesive="R2"), "goes soft behind a cooker"),
        (Place("kitchen splash", grout="CG1"), "takes stains of fat"),
        (Place("pool", grout="CG1"), "too much water"),
        (Place("floor", grout="CG2"), "wears out"),
        (Place("shower wall", substrate="plasterboard"), "gypsum softens"),
        (Place("outdoor wall", substrate="plaster"), "not for outdoors"),
        (Place("dry wall"), "its class is not chosen"),
    ],
)
def test_what_it_is_set_with_and_on(place: Place, words: str) -> None:
    assert [f for _, f in said(place, of("vitreous")) if words in f]


def test_beside_a_cooker_shell_and_glass_are_named_and_stone_is_not() -> None:
    place = Place("dry wall", cooker=True, **GOOD)
    assert ("no", "yellows and splits in heat") in said(place, of("shell"))
    assert [f for _, f in said(place, of("smalti")) if "heat" in f]
    assert not [f for _, f in said(place, of("stone")) if "heat" in f]


def test_nothing_is_said_of_a_place_that_is_not_chosen() -> None:
    assert judged(Place(), [of(k) for k in KINDS]) == ()


def test_the_best_choices_leave_little_to_say() -> None:
    assert said(Place("kitchen splash", adhesive="C2", grout="RG", substrate="render"),
                of("vitreous", "polished")) == []  # fmt: skip
    dense = of("ceramic", absorption=0.2, slip_ptv=45, frost_cycles=100)
    assert said(Place("outdoor floor", **GOOD), dense) == []


materials = st.builds(
    of,
    st.sampled_from(KINDS),
    st.sampled_from(FINISHES),
    absorption=st.sampled_from([0.0, 0.3, 2.0, 6.0, 14.0]),
    slip_ptv=st.sampled_from([0.0, 20.0, 40.0]),
    frost_cycles=st.sampled_from([0, 12, 56]),
)
places = st.builds(
    Place,
    st.sampled_from(("", *PLACES)),
    st.booleans(),
    st.sampled_from(("", *SUBSTRATES)),
    st.sampled_from(("", *ADHESIVES)),
    st.sampled_from(("", *GROUTS)),
)


@given(places, st.lists(materials, max_size=4))
def test_what_does_not_suit_comes_first_and_no_material_is_named_twice_in_one(
    place: Place, laid: list[Material]
) -> None:
    laid = [replace(m, code=f"X{k}") for k, m in enumerate(laid)]
    found = judged(place, laid)
    levels = [list(LEVELS).index(u.level) for u in found]
    assert levels == sorted(levels)
    for u in found:
        assert len(set(u.about)) == len(u.about) and u.named
        if u.what == "material":
            alone = [judged(place, [m]) for m in laid if m.code in u.about]
            assert all(u.finding in [v.finding for v in one] for one in alone)


def test_every_rule_is_reached_somewhere_and_gives_reason_source_and_instead() -> None:
    tried = [
        replace(of(kind, finish), absorption=a, slip_ptv=s, frost_cycles=f)
        for kind in KINDS
        for finish in FINISHES
        for a, s, f in ((0.0, 0.0, 0), (0.3, 20.0, 12), (2.0, 40.0, 56), (6, 0, 0), (14, 0, 0))
    ]
    everywhere = [Place(p, c) for p in PLACES for c in (False, True)]
    reached = set()
    for place in everywhere:
        for adhesive, grout, ground in zip(
            ("", *ADHESIVES, "", ""), ("", *GROUTS, *[""] * 5), ("", *SUBSTRATES), strict=True
        ):
            chosen = replace(place, adhesive=adhesive, grout=grout, substrate=ground)
            for u in judged(chosen, tried):
                reached.add((u.level, u.what, u.finding, u.why))
    for r in RULES:
        assert (r.level, r.what, r.finding, r.why) in reached, r.finding
        assert r.level in LEVELS and r.source and r.why.endswith(".") and r.instead.endswith(".")
        assert set(r.places) <= set(PLACES) and set(r.kinds) | set(r.beneath) <= set(KINDS)
        assert set(r.classes) <= {"", *ADHESIVES, *GROUTS, *SUBSTRATES}


def test_only_what_is_laid_is_judged_and_the_list_names_every_material(tmp_path: Path) -> None:
    doc, layout = grid(of("marble", "polished"))
    other = replace(of("shell"), code="Y")
    doc = replace(doc, materials=(*doc.materials, other), place=Place("kitchen splash", **GOOD))
    found = unsuited(doc, layout)
    assert found and all(u.about == ("X",) for u in found if u.what == "material")
    many = judged(doc.place, [replace(of("marble", "polished"), code=f"M{k}") for k in range(20)])
    assert many[0].named.endswith("and 14 more")
    write_suitability_csv(tmp_path / "s.csv", many)
    with (tmp_path / "s.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == len(many) and rows[0]["what"].count("M") == 20
