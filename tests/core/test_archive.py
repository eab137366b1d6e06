"""The commission file: what is saved is what is opened, and bad files say what is wrong."""

import hashlib
import json
import os
import zipfile
from dataclasses import fields, replace
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from core import archive
from core.commission import (
    LAYINGS,
    Colour,
    Commission,
    Field,
    FlowLine,
    HandEdit,
    Laying,
    Limits,
    Sketch,
    Swap,
)
from core.errors import EmblemaError
from core.material import Material
from core.typed import to_json, typed

CORNER = (((0.0, 0.0), (9.0, 0.0), (0.0, 9.0)),)
number = st.floats(-5000, 5000, allow_nan=False).map(lambda x: round(x, 6))
size = st.floats(1, 500).map(lambda x: round(x, 6))
point = st.tuples(number, number)
ring = st.lists(point, min_size=3, max_size=6).map(tuple)
words = st.text(st.characters(exclude_categories=("Cc", "Cs")), max_size=12)
lab = st.tuples(st.floats(0, 100), st.floats(-160, 160), st.floats(-160, 160))
some_fields = st.builds(
    Field,
    id=st.just(""),
    name=words,
    outline=st.lists(st.lists(ring, min_size=1, max_size=2).map(tuple), min_size=1, max_size=2).map(
        tuple
    ),
    motif=words,
    laying=st.builds(
        Laying,
        opus=st.sampled_from(LAYINGS),
        tessera_mm=size,
        joint_mm=st.just(0.5),
        hug_tessera_mm=st.none() | size,
        follow_border=st.booleans(),
    ),
    colour=st.builds(
        Colour, wanted_lab=st.none() | lab, palette=st.lists(words, max_size=3).map(tuple)
    ),
)
materials = st.builds(
    Material,
    code=st.just(""),
    description=words,
    kind=st.just("marble"),
    lab=lab,
    price=st.decimals(0, 1000, places=2),
    pieces=st.integers(0, 10**6),
    lot=st.none() | st.integers(1, 10**6),
    lot_of=st.just("S"),
)


def sound(doc: Commission) -> Commission:
    """Give every part a name of its own, and edits and lines a field that is there."""
    edits = tuple(replace(e, field_id="f1") for e in doc.edits) if doc.fields else ()
    return replace(
        doc,
        fields=tuple(replace(f, id=f"f{k}") for k, f in enumerate(doc.fields, 1)),
        flow_lines=tuple(
            replace(w, id=f"l{k}", field_id="f1" if doc.fields and k % 2 else None)
            for k, w in enumerate(doc.flow_lines)
        ),
        materials=tuple(replace(m, code=f"m{k}") for k, m in enumerate(doc.materials)),
        edits=edits,
    )


documents = st.builds(
    Commission,
    title=words,
    width_mm=size,
    height_mm=size,
    seed=st.integers(0, 2**31),
    fields=st.lists(some_fields, max_size=2).map(tuple),
    flow_lines=st.lists(
        st.builds(
            FlowLine,
            id=st.just(""),
            points=st.lists(point, min_size=2, max_size=4, unique=True).map(tuple),
        ),
        max_size=2,
    ).map(tuple),
    materials=st.lists(materials, max_size=2).map(tuple),
    swaps=st.lists(st.builds(Swap, old=words, new=words), max_size=2).map(tuple),
    edits=st.lists(
        st.builds(
            HandEdit,
            kind=st.just("nip"),
            field_id=st.just(""),
            at_mm=point,
            line=st.none() | st.tuples(point, point),
        ),
        max_size=2,
    ).map(tuple),
    limits=st.builds(Limits, sharp_deg=st.floats(1, 180)),
    motif_palettes=st.lists(
        st.tuples(words, st.lists(words, max_size=2).map(tuple)), max_size=2
    ).map(tuple),
    notes=words,
    id=words,
).map(sound)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(documents)
def test_what_is_saved_is_what_is_opened(tmp_path_factory: pytest.TempPathFactory, doc) -> None:
    path = tmp_path_factory.mktemp("a") / "work.emblema"
    archive.save(path, doc, {})
    again, images = archive.load(path)
    assert again == doc
    assert images == {}
    first = path.read_bytes()
    archive.save(path, again, {})
    assert path.read_bytes() == first


def picture(data: bytes = b"pixels") -> tuple[Sketch, dict[str, bytes]]:
    key = hashlib.sha256(data).hexdigest() + ".png"
    return Sketch(key, 10, 10, 1.0), {key: data}


def test_pictures_travel_and_unused_ones_stay_behind(tmp_path: Path) -> None:
    sketch, images = picture()
    doc = Commission("a", 10, 10, sketch=sketch)
    archive.save(tmp_path / "a.emblema", doc, images | {"other.png": b"x"})
    assert archive.load(tmp_path / "a.emblema") == (doc, images)
    assert json.loads(zipfile.ZipFile(tmp_path / "a.emblema").read("commission.json"))


def test_every_bad_file_is_named_and_its_fault_said(tmp_path: Path) -> None:
    doc = Commission("a", 10, 10, fields=(Field("f1", "Sky", (CORNER,)),))
    good = tmp_path / "good.emblema"
    archive.save(good, doc, {})

    def changed(change) -> Path:
        body = json.loads(zipfile.ZipFile(good).read("commission.json"))
        change(body)
        path = tmp_path / "bad.emblema"
        with zipfile.ZipFile(path, "w") as z:
            z.writestr("commission.json", json.dumps(body))
        return path

    def refuses(path: Path, words: str) -> None:
        with pytest.raises(EmblemaError, match=words) as e:
            archive.load(path)
        assert path.name in str(e.value)

    refuses(tmp_path / "gone.emblema", "no file")
    (tmp_path / "text.emblema").write_text("hello")
    refuses(tmp_path / "text.emblema", "not an Emblema commission")
    cut = tmp_path / "cut.emblema"
    cut.write_bytes(good.read_bytes()[:-30])
    refuses(cut, "damaged")
    spoilt = bytearray(good.read_bytes())
    spoilt[60:70] = b"\0" * 10
    (tmp_path / "spoilt.emblema").write_bytes(spoilt)
    refuses(tmp_path / "spoilt.emblema", "damaged")
    with zipfile.ZipFile(tmp_path / "empty.emblema", "w") as z:
        z.writestr("readme", "")
    refuses(tmp_path / "empty.emblema", "missing")
    refuses(changed(lambda b: b.update(emblema=archive.VERSION + 1)), "later Emblema")
    refuses(changed(lambda b: b.update(emblema="x")), "version")
    refuses(changed(lambda b: b["commission"].pop("title")), "title is missing in the commission")
    refuses(changed(lambda b: b["commission"].update(width_mm="wide")), "not a number")
    refuses(
        changed(lambda b: b["commission"]["fields"][0].update(outline=[[[[1]]]])),
        "field 1 'Sky', outline, part 1, ring 1, point 1 has 1 entries",
    )
    sketch, images = picture()
    archive.save(good, replace(doc, sketch=sketch), images)
    with zipfile.ZipFile(tmp_path / "swap.emblema", "w") as z:
        z.writestr("commission.json", zipfile.ZipFile(good).read("commission.json"))
        z.writestr(f"images/{sketch.image}", b"other pixels")
    refuses(tmp_path / "swap.emblema", "picture is damaged")


def test_a_failed_save_leaves_the_old_file(tmp_path: Path) -> None:
    path = tmp_path / "a.emblema"
    archive.save(path, Commission("old", 10, 10), {})
    before = path.read_bytes()
    sketch, _ = picture()
    with pytest.raises(EmblemaError):
        archive.save(path, Commission("new", 10, 10, sketch=sketch), {})
    with pytest.raises(EmblemaError, match="could not be written"):
        archive.save(tmp_path / "no" / "a.emblema", Commission("new", 10, 10), {})
    assert path.read_bytes() == before
    assert os.listdir(tmp_path) == ["a.emblema"]


def test_older_files_are_brought_forward(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.emblema"
    archive.save(path, Commission("old", 10, 10), {})
    now = archive.VERSION
    monkeypatch.setattr(archive, "VERSION", now + 1)
    monkeypatch.setitem(archive.MIGRATIONS, now, lambda raw: raw | {"title": "brought forward"})
    assert archive.load(path)[0].title == "brought forward"


def test_files_of_the_first_version_open(tmp_path: Path) -> None:
    """As they were written before lots had materials of their own and commissions an id."""
    body = {
        "emblema": 1,
        "commission": {
            "title": "Threshold",
            "width_mm": 900.0,
            "height_mm": 300,
            "materials": [
                {"code": "S", "description": "sea", "kind": "smalti", "lab": [50, -20.0, 5]}
            ],
            "motif_palettes": [["heron", ["S"]]],
        },
    }
    path = tmp_path / "old.emblema"
    with zipfile.ZipFile(path, "w") as z:
        z.writestr("commission.json", json.dumps(body))
    doc, _ = archive.load(path)
    sea = Material("S", "sea", "smalti", (50.0, -20.0, 5.0))
    assert doc == Commission(
        "Threshold", 900.0, 300.0, materials=(sea,), motif_palettes=(("heron", ("S",)),)
    )
    assert (doc.id, doc.key, sea.lot, sea.key) == ("", "Threshold", None, "S")
    archive.save(path, doc, {})
    assert json.loads(zipfile.ZipFile(path).read("commission.json"))["emblema"] == archive.VERSION
    assert archive.load(path)[0] == doc


def test_defaults_are_left_out_and_come_back() -> None:
    m = Material("a", "b", "marble", (1.0, 2.0, 3.0), price=Decimal("1.50"))
    assert set(to_json(m)) == {"code", "description", "kind", "lab", "price"}
    assert typed(Material, to_json(m)) == m
    assert len(fields(Material)) > 5
