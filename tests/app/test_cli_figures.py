"""`emblema figures` and `emblema order`, against sums that a script of its own takes from CSV.

The script here reads tesserae.csv and the stock list as text and knows nothing of the program.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections import Counter, defaultdict
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from pypdf import PdfReader

from app.cli import main
from core import archive
from core.place import Place
from core.resources import asset

ROOT = Path(__file__).resolve().parents[2]


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("figures")
    assert main(["demo", "--out", str(out)]) == 0
    assert main(["figures", str(out / "heron.emblema"), "--out", str(out)]) == 0
    return out


def area_of(wkt: str) -> float:
    """The area of a polygon in WKT by the shoelace formula, mm2."""
    numbers = [float(v) for v in re.findall(r"-?\d+\.?\d*", wkt)]
    xy = list(zip(numbers[::2], numbers[1::2], strict=True))
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise(xy))) / 2


def test_figures_agree_with_sums_over_the_tesserae(written: Path) -> None:
    pieces: Counter[tuple[str, str]] = Counter()
    area: defaultdict[tuple[str, str], float] = defaultdict(float)
    for r in rows_of(written / "tesserae.csv"):
        mm2 = area_of(r["wkt"])
        for key in (("material", r["stock"]), ("field", r["field"]),
                    ("motif", r["motif"] or "no motif")):  # fmt: skip
            pieces[key] += 1
            area[key] += mm2
    found: Counter[tuple[str, str]] = Counter()
    net: defaultdict[tuple[str, str], float] = defaultdict(float)
    for r in rows_of(written / "quantities.csv"):
        found[r["by"], r["name"]] += int(r["pieces"])
        net[r["by"], r["name"]] += float(r["net_area_mm2"])
    assert found == pieces
    stocked = {name for what, name in pieces if what == "material"}  # rows are rounded to 0.1 mm2
    for key, mm2 in area.items():
        assert net[key] == pytest.approx(mm2, rel=1e-6, abs=0.051 * len(stocked)), key
    for r in rows_of(written / "counts.csv"):
        assert int(r["pieces"]) == pieces["material", r["code"]]
        assert float(r["area_mm2"]) == pytest.approx(
            area["material", r["code"]], rel=1e-6, abs=0.051
        )


def test_weights_and_the_wall_agree_with_the_stock_list(written: Path) -> None:
    stock = {r["code"]: r for r in rows_of(ROOT / "assets/stock/starter.csv")}
    tesserae = rows_of(written / "tesserae.csv")
    grams = 0.0
    for r in tesserae:
        m = stock[r["stock"]]
        grams += area_of(r["wkt"]) * float(m["thickness_mm"]) * float(m["density_kg_m3"]) / 1e6
    sums = {r["figure"]: r for r in rows_of(written / "sums.csv")}
    assert int(sums["pieces"]["value"]) == len(tesserae)
    assert float(sums["pieces weigh"]["value"]) == pytest.approx(grams / 1000, rel=1e-4)
    wall_m2 = 1.2 * 0.6
    assert float(sums["area"]["value"]) == pytest.approx(wall_m2, rel=1e-3)
    kilos = [float(sums[k]["value"])
             for k in ("pieces weigh", "grout in the joints", "adhesive on the wall")]  # fmt: skip
    assert float(sums["weight a m2"]["value"]) == pytest.approx(sum(kilos) / wall_m2, rel=1e-3)
    # every joint between the pieces at their mean depth: bounds that need no layout
    bare = wall_m2 * 1e6 - sum(area_of(r["wkt"]) for r in tesserae)
    depths = [float(stock[r["stock"]]["thickness_mm"]) for r in tesserae]
    joints = 1e6 * float(sums["joints"]["value"])
    assert bare * min(depths) <= joints <= bare * max(depths)


def test_losses_add_up_row_by_row(written: Path) -> None:
    for r in rows_of(written / "quantities.csv"):
        parts = ("net_kg", "offcuts_kg", "lost_in_cutting_kg", "sorted_out_kg")
        assert sum(float(r[k]) for k in parts) == pytest.approx(float(r["to_buy_kg"]), abs=3e-5)


def words_in(path: Path) -> str:
    """All that a PDF says, blanks and ligatures as they are typed."""
    words = " ".join(page.extract_text() for page in PdfReader(path).pages)
    return unicodedata.normalize("NFKC", " ".join(words.split()))


def test_figures_pdf_is_a4_and_tells_the_whole(written: Path) -> None:
    reader = PdfReader(written / "figures.pdf")
    for page in reader.pages:
        width, height = float(page.mediabox.width), float(page.mediabox.height)
        assert (width, height) == (pytest.approx(595.28, abs=0.1), pytest.approx(841.89, abs=0.1))
    words = words_in(written / "figures.pdf")
    for head in ("Altogether", "By motif", "Grout, adhesive", "Weight on the wall", "With care"):
        assert head in words
    assert "not chosen" in words  # the demo names no place


@pytest.fixture
def short(written: Path, tmp_path: Path) -> Path:
    """The demo with little in hand, of two suppliers, for a kitchen."""
    work = archive.open_work(written / "heron.emblema")
    materials = tuple(
        replace(m, pieces=0, supplier=("North & Sons", "")[k % 2], pack=0.5 * (m.kind == "smalti"))
        for k, m in enumerate(work.doc.materials)
    )
    place = Place("kitchen splash", True, "plasterboard", "C2", "RG")
    doc = replace(work.doc, materials=materials, place=place, currency="EUR")
    archive.save(tmp_path / "short.emblema", doc, work.images, work.kept)
    return tmp_path / "short.emblema"


def test_an_order_a_supplier_of_all_that_is_short(
    short: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "orders"
    assert main(["order", str(short), "--out", str(out)]) == 0
    assert "North & Sons" in capsys.readouterr().out
    assert sorted(p.name for p in out.iterdir()) == [
        *("order-no-supplier.csv", "order-no-supplier.pdf"),
        *("order-north-sons.csv", "order-north-sons.pdf"),
    ]
    assert main(["counts", str(short), "--out", str(tmp_path / "counts.csv")]) == 0
    missing = {r["order"]: int(r["short"]) for r in rows_of(tmp_path / "counts.csv") if r["order"]}
    ordered = {}
    for name in ("order-no-supplier.csv", "order-north-sons.csv"):
        for r in rows_of(out / name):
            ordered[r["code"]] = int(r["short_pieces"])
            assert int(r["pieces_ordered"]) >= int(r["short_pieces"])
    assert ordered == missing
    text = words_in(out / "order-north-sons.pdf")
    assert "Order: North & Sons" in text and "EUR" in text


def test_figures_name_the_limit_and_what_does_not_suit(short: Path, tmp_path: Path) -> None:
    out = tmp_path / "figures"
    assert main(["figures", str(short), "--out", str(out)]) == 0
    sums = {r["figure"]: r for r in rows_of(out / "sums.csv")}
    # BS 5385-1:2018: plasterboard carries 32 kg/m2 with bed and grout
    assert float(sums["limit of plasterboard"]["value"]) == 32
    rows = rows_of(out / "suitability.csv")
    assert {r["level"] for r in rows} <= {"no", "care", "ask"}
    assert any("lemon" in r["finding"] for r in rows)
    assert all(r["source"] and r["instead"] for r in rows)
    assert "plasterboard carries" in words_in(out / "figures.pdf")


def test_nothing_short_is_said(
    written: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    work = archive.open_work(asset("demo/heron.emblema"))
    plenty = tuple(replace(m, pieces=100_000) for m in work.doc.materials)
    doc = replace(work.doc, materials=plenty)
    archive.save(tmp_path / "plenty.emblema", doc, work.images, work.kept)
    assert main(["order", str(tmp_path / "plenty.emblema"), "--out", str(tmp_path / "o")]) == 0
    assert "Nothing is short" in capsys.readouterr().out
    assert list((tmp_path / "o").iterdir()) == []
