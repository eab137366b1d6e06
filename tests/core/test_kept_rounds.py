"""Rounds: what is kept comes back from the file as it was, costs little, and compares truly."""

import hashlib
import io
import json
import zipfile
from collections import Counter
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from plan_rig import bands, laid, planning

from core import archive
from core.agreed import agree, record_print
from core.commission import Commission, Printed, Sketch, change_field, remove_field
from core.errors import EmblemaError
from core.figures import figures
from core.kept_rounds import back_to, branched, check_rounds, is_kept, summary, with_round
from core.kept_rounds.compare import ADDED, CHANGED, GONE, compare, state_now, state_of
from core.pieces import Layout
from core.plan import with_colours
from core.resources import asset

DAY = "2026-05-14"


@pytest.fixture(scope="module")
def laid_bands() -> tuple[Commission, Layout]:
    doc = bands()
    return doc, laid(doc)


@pytest.fixture(scope="module")
def three_rounds() -> tuple[Commission, Layout, tuple]:
    """A work with three rounds: as it was, darker in the middle, and finer at the left."""
    doc, rounds, kept = bands(), (), None
    with planning() as planner:
        for change in (
            lambda d: d,
            lambda d: change_field(d, "f1", wanted_lab=(20.0, 5.0, -10.0)),
            lambda d: change_field(d, "f0", tessera_mm=7.0),
        ):
            doc = change(doc)
            layout = planner.layout(doc, {}, kept=kept or {})
            kept = layout.kept
            rounds = with_round(rounds, doc, layout, "", DAY, f"{len(rounds)} bowls more, please")
    return doc, layout, rounds


def picture(grey: int) -> bytes:
    data = io.BytesIO()
    Image.new("L", (8, 8), grey).save(data, "PNG")
    return data.getvalue()


# --- the file -------------------------------------------------------------------------------


def test_rounds_come_back_as_they_were_kept(three_rounds, tmp_path: Path) -> None:
    doc, layout, rounds = three_rounds
    path = tmp_path / "bands.emblema"
    archive.save(path, doc, {}, with_colours(doc, layout), rounds)
    work = archive.open_work(path)
    assert work.rounds == rounds
    assert [r.number for r in work.rounds] == [1, 2, 3]
    assert work.doc == doc
    again = tmp_path / "again.emblema"
    archive.save(again, work.doc, work.images, work.kept, work.rounds)
    assert again.read_bytes() == path.read_bytes()


def test_a_rounds_pieces_are_those_that_lay(three_rounds, tmp_path: Path) -> None:
    doc, layout, rounds = three_rounds
    path = tmp_path / "bands.emblema"
    archive.save(path, doc, {}, with_colours(doc, layout), rounds)
    first = archive.open_work(path).rounds[0]
    with planning() as planner:
        stood = planner.layout(first.doc, {}, kept=first.kept)
    anew = laid(bands())
    assert shapely.equals_identical(stood.polygons, anew.polygons).all()
    for a, b in zip(stood.fields, anew.fields, strict=True):
        assert a.stock.tolist() == b.stock.tolist()
    assert first.sums == summary(figures(first.doc, anew), first.doc.currency)


def test_what_rounds_have_in_common_stands_once(laid_bands, tmp_path: Path) -> None:
    doc, layout = laid_bands
    rounds: tuple = ()
    sizes = []
    for n in range(11):
        path = tmp_path / f"{n}.emblema"
        archive.save(path, doc, {}, with_colours(doc, layout), rounds)
        sizes.append(path.stat().st_size)
        rounds = with_round(rounds, doc, layout, f"Round {n}", DAY, "As it is.")
    with zipfile.ZipFile(tmp_path / "10.emblema") as z:
        assert z.read(archive.ROUND_PIECES) == b""  # they are those that stand
    assert sizes[10] < 1.5 * sizes[1] < 3 * sizes[0]


def test_ten_rounds_of_the_demo_cost_less_than_a_tenth_more(tmp_path: Path) -> None:
    work = archive.open_work(asset("demo/heron.emblema"))
    with planning() as planner:
        layout = planner.layout(work.doc, work.images, kept=work.kept)
        rounds: tuple = ()
        doc = work.doc
        for n in range(10):
            doc = change_field(doc, "f2", shift_lab=(-2.0 * n, 0.0, 0.0))
            layout = planner.layout(doc, work.images, kept=layout.kept)
            rounds = with_round(rounds, doc, layout, "", DAY, "A darker sky.")
    path = tmp_path / "heron.emblema"
    archive.save(path, doc, work.images, with_colours(doc, layout), rounds)
    assert path.stat().st_size < 1.1 * asset("demo/heron.emblema").stat().st_size
    assert archive.open_work(path).rounds == rounds


def test_a_picture_that_only_a_round_uses_stays_in_the_file(laid_bands, tmp_path: Path) -> None:
    doc, layout = laid_bands
    images, docs = {}, []
    for grey in (40, 200):
        data = picture(grey)
        key = hashlib.sha256(data).hexdigest() + ".png"
        images[key] = data
        docs.append(replace(doc, sketch=Sketch(key, 8, 8, 10.0)))
    rounds = with_round((), docs[0], layout)
    path = tmp_path / "bands.emblema"
    archive.save(path, docs[1], images, layout.kept, rounds)
    assert archive.open_work(path).images == images
    archive.save(path, docs[1], images, layout.kept)
    assert len(archive.open_work(path).images) == 1
    with pytest.raises(EmblemaError, match="is missing; the file was not written"):
        archive.save(path, doc, {}, layout.kept, rounds)


def test_files_without_rounds_have_none(laid_bands, tmp_path: Path) -> None:
    doc, layout = laid_bands
    path = tmp_path / "bands.emblema"
    archive.save(path, doc, {}, layout.kept)
    with zipfile.ZipFile(path) as z:
        assert archive.ROUNDS not in z.namelist()
    assert archive.open_work(path).rounds == ()


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    words=st.lists(
        st.text(st.characters(exclude_categories=("Cc", "Cs")), max_size=40), max_size=5
    ),
    stays=st.lists(st.sampled_from(("f0", "f1", "f2")), max_size=3, unique=True),
)
def test_whatever_was_said_of_whatever_was_left_comes_back(
    laid_bands, tmp_path_factory, words, stays
):
    doc, layout = laid_bands
    rounds: tuple = ()
    for n, said in enumerate(words):
        some = doc
        for i in {"f0", "f1", "f2"} - set(stays[: n + 1]):
            some = remove_field(some, i)
        here = replace(
            layout,
            fields=tuple(f for f in layout.fields if f.field_id in stays[: n + 1]),
            kept={i: one for i, one in layout.kept.items() if i in stays[: n + 1]},
        )
        rounds = with_round(rounds, some, here, said[:10], DAY, said)
    path = tmp_path_factory.mktemp("rounds") / "bands.emblema"
    archive.save(path, doc, {}, layout.kept, rounds)
    assert archive.open_work(path).rounds == rounds


# --- damage ---------------------------------------------------------------------------------


def spoilt(path: Path, change) -> None:
    """Write a file again with the list of its rounds changed."""
    with zipfile.ZipFile(path) as z:
        held = {i.filename: z.read(i) for i in z.infolist()}
    body = json.loads(held[archive.ROUNDS])
    change(body, held)
    with zipfile.ZipFile(path, "w") as z:
        for name, data in held.items():
            if name != archive.ROUNDS:
                z.writestr(name, data)
        z.writestr(archive.ROUNDS, json.dumps(body))


def _twice(body, held):
    body["rounds"][1]["number"] = 1


def _nowhere(body, held):
    body["rounds"][0]["commission"]["fields"] = [0, 1, 99]


def _again(body, held):
    body["rounds"][0]["commission"]["fields"] = [0, 0, 0]


def _short(body, held):
    held[archive.ROUND_PIECES] = held[archive.ROUND_PIECES][:-5]


def _other(body, held):
    data = bytearray(held[archive.ROUND_PIECES])
    data[20] ^= 1
    held[archive.ROUND_PIECES] = bytes(data)


def _gone(body, held):
    del held[archive.ROUND_PIECES]


def _no_pieces(body, held):
    body["blocks"] = []


def _worth_nothing(body, held):
    body["rounds"][0]["sums"][0]["amount"] = "NaN"


def _minus(body, held):
    body["rounds"][0]["number"] = 0


def _many(body, held):
    body["rounds"] = body["rounds"] * 100


def _text(body, held):
    body["rounds"][0] = "first"


def _below(body, held):
    body["rounds"][0]["commission"]["fields"] = [-1]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_twice, "2 rounds have the number 1; each has its own"),
        (_nowhere, "rounds.json cannot be read"),
        (_again, "a part is named twice"),
        (_below, "a part's place is no number"),
        (_short, "its pieces are not as many as it says"),
        (_other, "pieces of it are not those that were kept"),
        (_gone, "rounds.json cannot be read"),
        (_no_pieces, "rounds.json cannot be read"),
        (_worth_nothing, "round 1: Pieces is NaN, which is no figure"),
        (_minus, "the number of a round is 0; it must be"),
        (_many, "it has 300 rounds; 200 are the most"),
        (_text, "rounds.json cannot be read"),
    ],
)
def test_spoilt_rounds_are_told_in_one_sentence(three_rounds, tmp_path, change, words):
    doc, layout, rounds = three_rounds
    path = tmp_path / "bands.emblema"
    archive.save(path, doc, {}, with_colours(doc, layout), rounds)
    spoilt(path, change)
    with pytest.raises(EmblemaError, match=words) as e:
        archive.open_work(path)
    assert "bands.emblema" in str(e.value) and "\n" not in str(e.value)


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=4),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner),
    max_leaves=6,
)


def places_in(value: object, way: tuple = ()) -> list[tuple]:
    """Return the way to every value of JSON, a few of each list."""
    items = value.items() if isinstance(value, dict) else ()
    items = list(enumerate(value))[:3] if isinstance(value, list) else items
    return [way, *(w for k, v in items for w in places_in(v, (*way, k)))]


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_whatever_stands_in_their_place_is_read_or_told(three_rounds, tmp_path_factory, data):
    doc, layout, rounds = three_rounds
    path = tmp_path_factory.mktemp("spoilt") / "bands.emblema"
    archive.save(path, doc, {}, with_colours(doc, layout), rounds)
    new = data.draw(anything)

    def change(body, held):
        *way, last = data.draw(st.sampled_from(places_in(body)[1:]))
        for step in way:
            body = body[step]
        body[last] = new

    spoilt(path, change)
    try:
        work = archive.open_work(path)
    except EmblemaError as e:
        assert path.name in str(e) and "\n" not in str(e) and len(str(e)) < 600
    else:
        check_rounds(work.rounds)
        archive.save(path, work.doc, work.images, work.kept, work.rounds)
        assert archive.open_work(path).rounds == work.rounds


def test_what_could_not_be_saved_is_not_kept(laid_bands):
    doc, layout = laid_bands
    with pytest.raises(EmblemaError, match="its name"):
        with_round((), doc, layout, "x" * 300)
    with pytest.raises(EmblemaError, match="what was said"):
        with_round((), doc, layout, words="a\x00b")
    rounds = tuple(replace(with_round((), doc, layout)[0], number=n) for n in range(1, 201))
    check_rounds(rounds)
    with pytest.raises(EmblemaError, match="number of rounds is 201"):
        with_round(rounds, doc, layout)


# --- going back -----------------------------------------------------------------------------


def test_numbers_are_given_once(three_rounds):
    doc, layout, rounds = three_rounds
    assert with_round(rounds[2:], doc, layout)[-1].number == 4


def test_going_back_keeps_prints_agreements_and_the_commission(three_rounds):
    doc, _, rounds = three_rounds
    doc = replace(doc, id="ours")
    doc = record_print(doc, Printed(DAY, "cartoon", "A4", False, (("A1", "ABCDEF"),)))
    back = back_to(rounds[0], doc)
    assert back.id == "ours" and back.printed == doc.printed
    assert {a.field_id for a in back.agreed} == {"f0", "f1", "f2"}
    assert back.fields == rounds[0].doc.fields


def test_what_is_agreed_or_printed_since_is_the_same_round(three_rounds):
    doc, layout, rounds = three_rounds
    now = agree(replace(doc, id="other"), {"f0"}, DAY)
    assert is_kept(rounds, now, layout.kept) is rounds[2]
    assert is_kept(rounds, replace(doc, notes="Soon"), layout.kept) is None
    assert is_kept(rounds, doc, {**layout.kept, "f0": rounds[0].kept["f0"]}) is None


def test_a_branch_is_a_commission_of_its_own(three_rounds):
    _, _, rounds = three_rounds
    doc, led = branched(rounds, 2)
    assert led == rounds[:2]
    assert doc.id not in ("", rounds[1].doc.id)
    assert replace(doc, id=rounds[1].doc.id) == rounds[1].doc
    with pytest.raises(KeyError):
        branched(rounds, 9)


# --- comparing ------------------------------------------------------------------------------


def corners(doc: Commission, layout: Layout) -> Counter:
    """Return the pieces as sets of corners with their material, independently of any mark."""
    return Counter(
        (
            frozenset((round(x * 1000), round(y * 1000)) for x, y in p.exterior.coords),
            doc.materials[k].code if k >= 0 else "",
        )
        for f in layout.fields
        for p, k in zip(f.pieces.polygons, f.stock.tolist(), strict=True)
    )


def test_two_rounds_differ_by_an_independent_sum(three_rounds):
    _, _, rounds = three_rounds
    a, b = (state_of(rounds[k], {}) for k in (0, 2))
    found = compare(a, b)
    was, now = corners(a.doc, a.layout), corners(b.doc, b.layout)
    for count, each in (
        (was - now, [m.out for m in found.materials]),
        (now - was, [m.put_in for m in found.materials]),
        (was - now, [f.out for f in found.fields]),
        (now - was, [f.put_in for f in found.fields]),
    ):
        assert count.total() == sum(each) > 0
    for m in found.materials:
        assert m.before - m.out + m.put_in == m.after
        assert m.before == sum(n for (_, code), n in was.items() if code == m.code)
        assert m.after == sum(n for (_, code), n in now.items() if code == m.code)
        assert m.out == sum(n for (_, code), n in (was - now).items() if code == m.code)
    assert {f.name: f.how for f in found.fields} == {"Left": CHANGED, "Middle": CHANGED}
    left, middle = found.fields
    assert left.what == ("tessera 10.0 to 7.0",) and middle.what == ("wanted colour",)
    assert left.before == len(a.layout.by_id("f0").pieces)
    assert middle.out == middle.put_in == middle.before == middle.after
    fa, fb = figures(a.doc, a.layout), figures(b.doc, b.layout)
    sums = {s.name: s for s in found.sums}
    assert sums["Pieces"].difference == len(b.layout) - len(a.layout)
    assert sums["Quote"].difference == fb.quote - fa.quote
    assert float(sums["Weight"].difference) == pytest.approx(fb.total_kg - fa.total_kg, abs=0.011)
    assert sums["Area"].difference == 0 and sums["Area"].shown == "as before"


def test_what_is_the_same_differs_in_nothing(three_rounds):
    doc, layout, rounds = three_rounds
    found = compare(state_of(rounds[2], {}), state_now(doc, layout))
    assert found.fields == found.materials == ()
    assert all(s.difference == 0 for s in found.sums)


def test_fields_come_and_go_and_an_id_given_again_is_another_field(laid_bands):
    doc, layout = laid_bands
    fields = tuple(f for f in layout.fields if f.field_id != "f2")
    less = replace(doc, fields=doc.fields[:2])
    a = state_now(less, replace(layout, fields=fields))
    b = state_now(doc, layout)
    assert [(f.name, f.how) for f in compare(a, b).fields] == [("Right", ADDED)]
    assert [(f.name, f.how) for f in compare(b, a).fields] == [("Right", GONE)]
    far = replace(
        doc.fields[2], name="Bowl", outline=((((500.0, 0.0), (550.0, 0.0), (550.0, 60.0)),),)
    )
    c = state_now(replace(doc, fields=(*doc.fields[:2], far)), layout)
    assert [(f.name, f.how) for f in compare(b, c).fields] == [("Bowl", ADDED), ("Right", GONE)]


def test_figures_in_another_currency_have_no_difference(laid_bands):
    doc, layout = laid_bands
    a, b = state_now(doc, layout), state_now(replace(doc, currency="EUR"), layout)
    sums = {s.name: s for s in compare(a, b).sums}
    assert sums["Quote"].difference is None and sums["Quote"].shown == ""
    assert sums["Hours"].difference == Decimal(0)


@pytest.mark.parametrize(
    ("shift", "words"),
    [
        ((-3.0, 0.0, 0.0), "darker"),
        ((3.0, 1.5, 2.6), "lighter, warmer"),
        ((0.0, -1.5, -2.6), "cooler"),
        ((0.0, -2.0, 2.0), "greener, yellower"),
        ((0.0, 0.0, -1.0), "bluer"),
    ],
)
def test_a_moved_colour_is_told_as_it_was_asked_for(laid_bands, shift, words):
    doc, layout = laid_bands
    a = state_now(doc, layout)
    b = state_now(change_field(doc, "f1", shift_lab=shift), layout)
    assert [f.what for f in compare(a, b).fields] == [(words,)]
