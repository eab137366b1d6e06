"""A quote's terms, days and work done: refused where wrong, kept in files, the studio's and a
client's told apart.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from plan_rig import bands

from core import archive
from core.checks import check_document
from core.commission import Commission, Rates, Studio
from core.errors import EmblemaError
from core.kept import key_of_choices
from core.plan import hangs_on, only_recoloured, setting_of
from core.terms import Days, Laid, Measured, Panel, Quoted, Stage, Terms, WorkDone

DOC = Commission("Wall", 600.0, 400.0)
STAGES = (Stage("On order", 0.4), Stage("On completion", 0.6))
TERMS = Terms(
    number="7", client="A client", client_address="A street\nA town", overhead=0.15,
    drawing=Decimal(400), revision=Decimal(120), revisions=2, mounting=Decimal(200),
    transport=Decimal(150), fixing=Decimal(600), round_to=Decimal(10), valid_days=45,
    stages=STAGES, mount="panel", panel=Panel("ply", 12.3, Decimal(60), 30.0, Decimal(8), 4.0),
    options=("fixed", "vitreous"), opening="Hello", included="All", conditions="As agreed",
)  # fmt: skip
DAYS = Days("2027-03-31", 5.5, (4, 5, 6), ("2026-12-25",), "fast")
DONE = (WorkDone("sheet", "3", 6.5, "2026-11-27", (Laid("musivum", "medium", "smalti", 480),)),)
QUOTED = (Quoted("2026-11-27", "7", Decimal("8710.80"), "EUR", "DGAUY4"),)
MEASURED = (Measured("other", Laid("musivum", "fine", "marble", 300), 5.0),)


def test_all_of_it_is_kept_in_a_file(tmp_path: Path) -> None:
    rates = Rates(measured=MEASURED)
    doc = replace(DOC, terms=TERMS, days=DAYS, done=DONE, quoted=QUOTED, rates=rates)
    archive.save(tmp_path / "a.emblema", doc, {})
    assert archive.load(tmp_path / "a.emblema")[0] == doc


def test_a_file_without_any_of_it_opens_with_the_usual(tmp_path: Path) -> None:
    said = archive.to_json(DOC)
    assert not {"terms", "days", "done", "quoted"} & set(said)
    archive.save(tmp_path / "a.emblema", DOC, {})
    doc = archive.load(tmp_path / "a.emblema")[0]
    assert (doc.terms, doc.days, doc.done) == (Terms(), Days(), ())


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"terms": Terms(round_to=Decimal(3))}, "Prices are rounded to"),
        ({"terms": Terms(stages=(Stage("On order", 0.5),))}, "50 % of the price"),
        ({"terms": Terms(stages=(Stage("a", 1.5), Stage("b", -0.5)))}, "The share of 'a'"),
        ({"terms": Terms(mount="nailed")}, "mounted 'nailed'"),
        ({"terms": Terms(options=("gold",))}, "The option 'gold'"),
        ({"terms": Terms(drawing=Decimal(-1))}, "fee for drawing"),
        ({"terms": Terms(panel=Panel(hanger_kg=0))}, "a hanger carries"),
        ({"terms": Terms(panel=Panel(safety=0.5))}, "safety of the hangers"),
        ({"terms": Terms(overhead=float("nan"))}, "The overhead"),
        ({"terms": Terms(client="a\0b")}, "The quote's client"),
        ({"days": Days(promised="soon")}, "'soon' is no day"),
        ({"days": Days(promised="9999-12-31")}, "'9999-12-31' is no day"),
        ({"days": Days(promised="2027-02-30")}, "'2027-02-30' is no day"),
        ({"days": Days(free_days=("20270101",))}, "'20270101' is no day"),
        ({"days": Days(hours_a_day=0)}, "The hours a day"),
        ({"days": Days(free_weekdays=(7,))}, "A weekday off"),
        ({"days": Days(free_weekdays=tuple(range(7)))}, "All weekdays are off"),
        ({"days": Days(curing="slow")}, "The adhesive 'slow'"),
        ({"done": (replace(DONE[0], hours=-1.0),)}, "Work done 1: its hours"),
        ({"done": (replace(DONE[0], what="wall"),)}, "Work done 1: what it is"),
        ({"done": (replace(DONE[0], laid=(Laid("a", "b", "c", -2),)),)}, "Work done 1: its pieces"),
        ({"quoted": (replace(QUOTED[0], on="once"),)}, "Quote 1: its day 'once'"),
        ({"quoted": (replace(QUOTED[0], total=Decimal(-1)),)}, "Quote 1: its sum -1"),
        ({"rates": Rates(measured=(replace(MEASURED[0], hours=-3.0),))}, "Rate measured 1"),
    ],
)
def test_what_is_wrong_is_refused_in_one_sentence(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(EmblemaError, match=words) as e:
        check_document(replace(DOC, **changes))
    assert str(e.value).count(". ") == 0
    check_document(replace(DOC, terms=TERMS, days=DAYS, done=DONE))


def test_the_studio_keeps_its_terms_and_a_commission_its_client() -> None:
    kept = replace(DOC, terms=TERMS, studio="Ours").reckoned_by
    assert (kept.terms.client, kept.terms.number, kept.terms.overhead) == ("", "", 0.15)
    other = replace(DOC, terms=Terms(client="Another", number="8"))
    taken = other.by_studio(kept).terms
    assert taken == replace(TERMS, client="Another", number="8", client_address="")
    assert DOC.by_studio(Studio()) == DOC


def test_no_piece_or_colour_hangs_on_any_of_it() -> None:
    """What was laid and matched stands whatever is priced, promised or ticked off."""
    doc = bands()
    with_all = replace(
        doc, terms=TERMS, days=DAYS, done=DONE, quoted=QUOTED,
        rates=replace(doc.rates, measured=MEASURED),
    )  # fmt: skip
    settings = [{f.id: setting_of(d, f) for f in d.fields} for d in (doc, with_all)]
    assert settings[0] == settings[1]
    keys = [key_of_choices(*hangs_on(d, {f.id: "k" for f in d.fields})) for d in (doc, with_all)]
    assert keys[0] == keys[1]
    assert only_recoloured(doc, with_all)
