"""Spoilt files and senseless commissions, one for each number: what rng and malice may bring."""

from __future__ import annotations

import copy
import io
import json
import random
import zipfile
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from core import archive
from core.commission import (
    EDITS,
    LAYINGS,
    MATCHES,
    PIECES,
    WAYS_LAID,
    Commission,
    FlowLine,
    HandEdit,
    Limits,
    Linked,
    Rates,
    Repeat,
    Sheet,
    Sheeting,
    Swap,
    field_of,
)
from core.goods import Goods
from core.material import Material
from core.moves import Move
from core.place import PLACES, SUBSTRATES, Place
from core.site import OPENINGS, Opening
from core.terms import Days, Laid, Quoted, Stage, Terms, WorkDone

DEEP = "[" * 50_000 + "]" * 50_000
VALUES: tuple[Any, ...] = (
    *(None, True, False, 0, -1, 1, 2**31, -(2**63), 10**30, 10**400, 0.5, -0.0, 1e-300, 1e300),
    *(float("nan"), float("inf"), float("-inf"), "", " ", "x", "1", "1e99999999", "NaN", "-1"),
    *("\ud800", "a\x00b", "\x1b[31m", "\u202egnp", "../../x", "é" * 300, "0" * 5000),
    *([], {}, [[]], [[[]]], [1, 2], [1, 2, 3], [None, None], {"": ""}, {"id": "f1"}),
)


def commission(sketch: tuple[Any, dict[str, bytes]] | None = None) -> Commission:
    """Return a small commission in which every kind of thing stands."""

    def box(x0: float, y0: float, x1: float, y1: float) -> Any:
        return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))

    hole, other = box(8, 8, 16, 16), box(32, 8, 40, 16)
    fields = (
        field_of("f1", "Sky", ((box(0, 0, 24, 32), hole),), "air", opus="vermiculatum"),
        field_of("f2", "Sea", ((box(24, 0, 48, 32), other),), "sea", match="mix", blend=("A", "B")),
        field_of("f3", "Sun", ((hole,),), accent="B", accent_share=0.1, wanted_lab=(80, 5, 70)),
    )
    moon = replace(fields[2], id="f4", name="Moon", outline=((other,),))
    fields = (*fields, moon.with_choices(sketch_move=Move((24.0, 0.0))))
    fields = tuple(f.with_choices(tessera_mm=8.0, joint_mm=1.0) for f in fields)
    materials = tuple(
        Material(c, f"glass {c}", "smalti", (30.0 + 20 * k, 5.0, -10.0 * k), pieces=500)
        for k, c in enumerate("ABC")
    )
    return Commission(
        "Threshold",
        48.0,
        32.0,
        sketch=sketch[0] if sketch else None,
        fields=fields,
        flow_lines=(
            FlowLine("l1", ((0, 16), (24, 20), (48, 16))),
            FlowLine("l2", box(5, 5, 9, 9), "f1"),
        ),
        materials=materials,
        swaps=(Swap("A", "C", "f1"), Swap("B", "A", None, "sea")),
        edits=(
            HandEdit("lift", "f1", (4, 4)),
            HandEdit("nip", "f2", (36, 16), line=((30, 16), (42, 16))),
            HandEdit("join", "f2", (28, 8), other_mm=(37, 8)),
            HandEdit("pin", "f1", (5, 26), outline=box(1, 22, 8, 29)),
            HandEdit("stock", "f3", (12, 12), material="C"),
            HandEdit("stock", "f4", (36, 12), material="C"),
        ),
        limits=Limits(sharp_deg=35),
        rates=Rates(bed_mm=4.0, goods=Goods(notch_mm=6.0, mesh_m2=1.05, mesh=Decimal("2.50"))),
        terms=Terms(
            client="A client",
            overhead=0.1,
            drawing=Decimal(300),
            round_to=Decimal(10),
            stages=(Stage("on order", 0.4), Stage("in place", 0.6)),
            mount="panel",
            options=("fixed", "vitreous"),
        ),
        days=Days("2027-03-31", 5.0, (6,), ("2026-12-25",), "fast"),
        done=(WorkDone("field", "f1", 3.5, "2026-11-20", (Laid("musivum", "fine", "shell", 9),)),),
        quoted=(Quoted("2026-11-20", "7", Decimal("810.50"), "EUR", "DGAUY4"),),
        place=Place("kitchen splash", True, "plasterboard", "C2", "CG2"),
        motif_palettes=(("sea", ("A", "C")),),
        notes="two lines\nof notes",
        id="one",
        repeats=(Repeat("r1", (Linked(("f3",)), Linked(("f4",), Move((24.0, 0.0))))),),
        sheeting=Sheeting(
            *(30.0, 40.0, 2.0, "mirrored", 8.0),
            seams=(((24.0, 0.0), (24.0, 32.0)),),
            spared=(hole,),
            spared_little=(box(2, 2, 8, 8),),
            spared_never=(box(30, 2, 40, 8),),
        ),
        openings=(Opening("socket", "Socket", box(26, 20, 34, 28)),),
        site=box(-100, -200, 300, 100),
        sheets=(
            Sheet(1, ((box(0, 0, 24, 32), hole),), pinned=True),
            Sheet(4, ((box(24, 0, 48, 32),),)),
        ),
    )


# --- spoilt files ---------------------------------------------------------------------------


def _places(value: Any, way: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [way] if way else []
    if isinstance(value, dict):
        for k, v in value.items():
            found += _places(v, (*way, k))
    if isinstance(value, list):
        for k, v in enumerate(value):
            found += _places(v, (*way, k))
    return found


def spoil_json(body: Any, rng: random.Random) -> tuple[str, Any]:
    """Return what was done to a copy of some JSON, and that copy."""
    body = copy.deepcopy(body)
    kind = rng.choice(("value", "value", "value", "missing", "twice", "swapped", "within"))
    for _ in range(rng.choice((1, 1, 1, 3))):
        ways = _places(body)
        if not ways:
            break
        # as likely high up as deep down, where the points are
        depth = rng.choice(sorted({len(w) for w in ways}))
        way = rng.choice([w for w in ways if len(w) == depth])
        holder = body
        for step in way[:-1]:
            holder = holder[step]
        key = way[-1]
        if kind == "value":
            holder[key] = copy.deepcopy(rng.choice(VALUES))
        elif kind == "missing":
            del holder[key]
        elif kind == "twice" and isinstance(holder, list):
            holder.insert(key, copy.deepcopy(holder[key]))
        elif kind == "swapped":
            other = rng.choice(ways)
            value = body
            for step in other:
                value = value[step]
            holder[key] = copy.deepcopy(value)
        else:
            for _ in range(rng.choice((1, 3, 60))):
                holder[key] = [holder[key]]
    return f"json: {kind}", body


def spoil_bytes(data: bytes, rng: random.Random) -> tuple[str, bytes]:
    """Return what was done to some bytes, and what came out."""
    out = bytearray(data)
    kind = rng.choice(("flipped", "cut", "zeros", "inserted", "doubled", "dropped"))
    k = rng.randrange(len(out))
    n = rng.choice((1, 1, 2, 8, 64, 500))
    if kind == "flipped":
        for _ in range(n):
            out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    elif kind == "cut":
        del out[k:]
    elif kind == "zeros":
        out[k : k + n] = bytes(len(out[k : k + n]))
    elif kind == "inserted":
        out[k:k] = rng.randbytes(n)
    elif kind == "doubled":
        out[k:k] = out[k : k + n]
    else:
        del out[k : k + n]
    return f"bytes: {kind}", bytes(out)


def _zipped(members: list[tuple[str, bytes]], press: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", press) as z:
        for name, data in members:
            z.writestr(name, data)
    return out.getvalue()


def spoil_zip(members: list[tuple[str, bytes]], rng: random.Random) -> tuple[str, bytes]:
    """Return what was done to the members of a zip, and the file."""
    text = dict(members)[archive.DOCUMENT].decode()
    kind = rng.choice(
        ("renamed", "left out", "packed", "nested", "deep", "swollen", "encoded", "other text")
    )
    if kind == "renamed":
        k = rng.randrange(len(members))
        name = rng.choice(("../x", "/etc/x", "images/", "a" * 60_000, "commission.JSON"))
        members = [(name if j == k else n, d) for j, (n, d) in enumerate(members)]
    elif kind == "left out":
        members = [m for m in members if m is not rng.choice(members)]
    elif kind == "packed":
        return f"zip: {kind}", _zipped(members, rng.choice((zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)))
    elif kind == "nested":
        members = [(n, _zipped([(n, d)])) for n, d in members]
    else:
        if kind == "deep":
            text = text.replace('"Threshold"', DEEP if rng.random() < 0.5 else '{"a":' * 9000)
        elif kind == "swollen":
            text = text.replace('"Threshold"', json.dumps("x" * rng.choice((10**5, 10**7))))
        data = (
            text.encode(rng.choice(("utf-16", "utf-32", "latin-1", "utf-8-sig")))
            if (kind == "encoded")
            else text.encode()
        )
        if kind == "other text":
            data = rng.choice((b"", b"null", b"[]", b"{}", b'"x"', b"1" * 10_000, b"\xff" * 50))
        members = [(n, data if n == archive.DOCUMENT else d) for n, d in members]
    return f"zip: {kind}", _zipped(members)


def spoilt_commission(number: int, good: bytes) -> tuple[str, bytes]:
    """Return what was done to a commission's file, and the file."""
    rng = random.Random(number)
    with zipfile.ZipFile(io.BytesIO(good)) as z:
        members = [(i.filename, z.read(i)) for i in z.infolist()]
    how = number % 4
    if how == 0:
        return spoil_bytes(good, rng)
    if how == 1:
        return spoil_zip(members, rng)
    body = json.loads(dict(members)[archive.DOCUMENT])
    if how == 2 and rng.random() < 0.2:  # spoilt text within a sound zip
        what, data = spoil_bytes(dict(members)[archive.DOCUMENT], rng)
        what = what.replace("bytes", "text")
    else:
        what, body = spoil_json(body, rng)
        data = json.dumps(body).encode()
    return what, _zipped([(n, data if n == archive.DOCUMENT else d) for n, d in members])


def spoilt_setting_out(number: int, good: str) -> tuple[str, bytes]:
    """Return what was done to a setting out, and the file."""
    rng = random.Random(number)
    if number % 4 == 0:
        return spoil_bytes(good.encode(), rng)
    what, body = spoil_json(json.loads(good), rng)
    return what, json.dumps(body).encode()


def is_told(error: Exception, path: Path) -> bool:
    """Return whether an error names the file in one line that can be shown."""
    words = str(error)
    return path.name in words and "\n" not in words and len(words) < 600 and words.endswith(".")


# --- senseless commissions ------------------------------------------------------------------


def senseless(number: int) -> tuple[str, Commission]:
    """Return a commission that nobody would mean, in which each single thing is allowed."""
    rng = random.Random(number)
    doc = replace(
        commission(), repeats=()
    )  # what is alike in all places cannot be senseless in one
    kind, change = rng.choice(list(_SENSELESS.items()))
    doc = change(doc, rng)
    if rng.random() < 0.3:
        other, change = rng.choice(list(_SENSELESS.items()))
        kind, doc = f"{kind} and more", change(doc, rng)
        del other
    return kind, doc


def _number(rng: random.Random, high: float = 48.0) -> float:
    return rng.choice(
        (
            0.0,
            -0.0,
            1e-9,
            5.0,
            rng.uniform(0, high),
            rng.uniform(-high, 2 * high),
            float(int(rng.uniform(0, high))),
        )
    )


def senseless_ring(rng: random.Random) -> tuple[tuple[float, float], ...]:
    """Return a ring of any points within a small work and beside it."""
    n = rng.choice((3, 3, 4, 5, 8, 30))
    ring = [(_number(rng), _number(rng)) for _ in range(n)]
    how = rng.random()
    if how < 0.15:
        ring = [ring[0]] * n
    elif how < 0.3:
        ring = [(x, 16.0) for x, _ in ring]
    elif how < 0.4:
        ring = ring + ring[::-1]
    return tuple(ring)


def _outlines(doc: Commission, rng: random.Random) -> Commission:
    return replace(
        doc,
        fields=tuple(
            replace(
                f,
                outline=tuple(
                    tuple(senseless_ring(rng) for _ in range(rng.choice((1, 1, 2, 4))))
                    for _ in range(rng.choice((1, 1, 2, 3)))
                ),
            )
            for f in doc.fields
        ),
    )


def _sheets(doc: Commission, rng: random.Random) -> Commission:
    """Sheets anywhere, one over another, and seams and limits that make no sense."""
    sheeting = Sheeting(
        width_mm=rng.choice((20.0, 25.0, 60.0, 5000.0)),
        height_mm=rng.choice((20.0, 25.0, 60.0, 5000.0)),
        weight_kg=rng.choice((0.05, 1.0, 100.0)),
        laid=rng.choice(WAYS_LAID),
        level_mm=_number(rng),
        seams=tuple(senseless_ring(rng) for _ in range(rng.choice((0, 1, 5)))),
        spared=tuple(senseless_ring(rng) for _ in range(rng.choice((0, 1, 5)))),
        spared_little=tuple(senseless_ring(rng) for _ in range(rng.choice((0, 1, 5)))),
        spared_never=tuple(senseless_ring(rng) for _ in range(rng.choice((0, 1, 5)))),
    )
    sheets = tuple(
        Sheet(
            n,
            tuple((senseless_ring(rng),) for _ in range(rng.choice((1, 1, 3)))),
            rng.random() < 0.3,
        )
        for n in rng.sample(range(1, 100), rng.choice((0, 0, 1, 2, 6)))
    )
    openings = tuple(
        Opening(rng.choice(OPENINGS), "", senseless_ring(rng)) for _ in range(rng.choice((0, 1, 4)))
    )
    site = senseless_ring(rng) if rng.random() < 0.3 else ()
    return replace(doc, sheeting=sheeting, sheets=sheets, openings=openings, site=site)


def _sizes(doc: Commission, rng: random.Random) -> Commission:
    def sized(f: Any) -> Any:
        tessera = rng.choice((1.0, 2.0, 8.0, 30.0, 500.0))
        joint = tessera * rng.choice((0.011, 0.1, 0.5, 0.6, 0.999))
        return f.with_choices(tessera_mm=tessera, joint_mm=max(joint, 0.02), hug_tessera_mm=tessera)

    return replace(doc, fields=tuple(sized(f) for f in doc.fields))


def _choices(doc: Commission, rng: random.Random) -> Commission:
    def one(f: Any) -> Any:
        codes = ("A", "B", "C", "gone", "")
        return f.with_choices(
            opus=rng.choice(LAYINGS),
            pieces=rng.choice(PIECES),
            match=rng.choice(MATCHES),
            variation=rng.choice((0, 0.3)),
            width_variation=rng.choice((0, 0.3)),
            hug=tuple(rng.sample(("air", "sea", "none"), rng.randrange(4))),
            hug_courses=rng.choice((1, 5)),
            follow_border=rng.random() < 0.5,
            spread=rng.choice((0, 0.6)),
            strictness=rng.choice((0, 1)),
            slenderness=rng.choice((1, 8)),
            module_mm=rng.choice((5.0, 20.0, 2000.0)),
            palette=tuple(rng.sample(codes, rng.randrange(5))),
            blend=tuple(rng.choice(codes) for _ in range(rng.randrange(5))),
            locked=tuple(rng.sample(codes, rng.randrange(4))),
            accent=rng.choice(codes),
            accent_share=rng.choice((0, 0.01, 1)),
            accent_along=rng.random() < 0.5,
            shade_along=rng.random() < 0.5,
            at_most=rng.choice((0, 1, 1000)),
            shift_lab=(rng.choice((-200, 0, 200)), 0, rng.choice((-200, 200))),
            wanted_lab=rng.choice((None, (0, 0, 0), (100, 160, -160))),
        )

    return replace(
        doc,
        fields=tuple(one(f) for f in doc.fields),
        within_stock=rng.random() < 0.5,
        lightness_weight=rng.choice((1e-3, 1, 1000)),
        materials=doc.materials[: rng.randrange(4)],
    )


def _lines(doc: Commission, rng: random.Random) -> Commission:
    lines = []
    for k in range(rng.choice((1, 3, 20))):
        points = [(_number(rng), _number(rng)) for _ in range(rng.choice((2, 3, 9, 60)))]
        how = rng.random()
        if how < 0.2:
            points = [points[0], points[0], (points[0][0] + 1e-9, points[0][1])]
        elif how < 0.4:
            points += points[::-1]
        elif how < 0.5:
            points = [(1e8, -1e8), (-1e8, 1e8)]
        if len(set(points)) < 2:
            points = [(0.0, 0.0), (1.0, 0.0)]
        owner = rng.choice((None, "f1", "f2", "f3"))
        lines.append(FlowLine(f"l{k}", tuple(points), owner, rng.random() < 0.5))
    return replace(doc, flow_lines=tuple(lines))


def _edits(doc: Commission, rng: random.Random) -> Commission:
    edits = []
    for _ in range(rng.choice((1, 5, 40))):
        at = (_number(rng), _number(rng))
        edits.append(
            HandEdit(
                rng.choice(EDITS),
                rng.choice(("f1", "f2", "f3")),
                at,
                line=rng.choice((None, (at, at), (at, (_number(rng), _number(rng))))),
                other_mm=rng.choice((None, at, (_number(rng), _number(rng)))),
                move_mm=(rng.choice((0, 1e-12, 1.0, 1e8)), _number(rng)),
                turn_rad=rng.choice((0, 1e-9, 3.0, -1000)),
                outline=senseless_ring(rng),
                material=rng.choice(("", "A", "gone")),
            )
        )
    return replace(doc, edits=tuple(edits))


def _away(doc: Commission, rng: random.Random) -> Commission:
    dx, dy = (rng.choice((-1e7, -500.0, 1e4, 1e7)) for _ in range(2))
    return replace(
        doc,
        fields=tuple(
            replace(
                f,
                outline=tuple(
                    tuple(tuple((x + dx, y + dy) for x, y in ring) for ring in part)
                    for part in f.outline
                ),
            )
            for f in doc.fields
        ),
        width_mm=rng.choice((1.0, 48.0, 1e5)),
    )


def _words(doc: Commission, rng: random.Random) -> Commission:
    text = rng.choice(("", " ", "<b>&amp;", "=1+1", '"', "é" * 200, "\u202egnp", "日本", "%s{0}"))
    return replace(
        doc,
        title=text,
        notes=text,
        currency=text,
        id=text,
        fields=tuple(replace(f, name=text, motif=text) for f in doc.fields),
        materials=tuple(
            replace(m, code=(text.strip() or "x")[:50] + str(k), description=text, supplier=text)
            for k, m in enumerate(doc.materials)
        ),
    )


def _figures(doc: Commission, rng: random.Random) -> Commission:
    low = rng.random() < 0.5
    rates = Rates(
        *((0.0,) * 5 if low else (1000.0, 100.0, 100.0, 100.0, 1e6)),
        hour=Decimal(rng.choice(("0", "0.0000000001", "100000000"))),
        grout_kg=Decimal("1e-30"),
        adhesive_kg=Decimal("1E+8"),
        goods=Goods(*((0.0,) * 8 if low else (100.0, 1.0, 100.0, *(1000.0,) * 5))),
    )
    place = Place(rng.choice(PLACES), low, rng.choice(SUBSTRATES), "D2", "CG1")
    limits = Limits(
        *((0,) * 8 if low else (10, 180, 100, 100, 1, 100, 100, 100)), 1 if low else 1000
    )
    materials = tuple(
        replace(
            m,
            waste=rng.choice((0, 0.999)),
            broken=rng.choice((0, 0.98)),
            pieces_a_kg=rng.choice((0, 0.01, 1e7)),
            pack=rng.choice((0, 1, 1e6)),
            pack_unit=rng.choice(("kg", "pieces", "m2")),
            pieces=rng.choice((0, 1, 100_000_000)),
            price=Decimal(rng.choice(("0", "1e-9", "100000000"))),
            price_unit=rng.choice(("kg", "sheet", "piece", "m2")),
            length_mm=rng.choice((0.5, 2000)),
            width_mm=rng.choice((0.5, 2000)),
            lab=rng.choice(((0, 0, 0), (100, 160, -160), (50, -160, 160))),
            finish=rng.choice(("matt", "metallic", "transparent")),
        )
        for m in doc.materials
    )
    return replace(
        doc, rates=rates, limits=limits, materials=materials, within_stock=True, place=place
    )


_SENSELESS: dict[str, Callable[[Commission, random.Random], Commission]] = {
    "outlines": _outlines,
    "sizes": _sizes,
    "choices": _choices,
    "flow lines": _lines,
    "hand edits": _edits,
    "far away": _away,
    "words": _words,
    "figures": _figures,
    "nothing": lambda doc, rng: replace(
        doc, fields=(), flow_lines=(), materials=(), swaps=(), edits=()
    ),
    "sheets": _sheets,
}
