"""The commands for sheets on real files, read back by csv, shapely and pypdf alone."""

from __future__ import annotations

import csv
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from jobcard_rig import small
from pdf_paths import boxes, lines
from pypdf import PdfReader

from app.cli import main
from core import archive
from core.commission import Sheeting

A4, A3 = (210.0, 297.0), (297.0, 420.0)
COLUMNS = ["sheet", "order", "width_mm", "height_mm", "weight_kg", "pieces"]


@pytest.fixture(scope="module")
def commission(tmp_path_factory: pytest.TempPathFactory) -> Path:
    doc, images = small()
    path = tmp_path_factory.mktemp("work") / "threshold.emblema"
    archive.save(path, replace(doc, sheeting=Sheeting(60.0, 60.0)), images)
    return path


@pytest.fixture(scope="module")
def written(commission: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("written") / "new"
    assert main(["sheets", str(commission), "--out", str(out)]) == 0
    return out


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def by_sheet(path: Path) -> dict[str, list[shapely.Polygon]]:
    out: dict[str, list[shapely.Polygon]] = {}
    for r in rows(path):
        out.setdefault(r["sheet"], []).append(shapely.from_wkt(r["wkt"]))
    return out


def words(path: Path) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(str(path)).pages]


def test_every_piece_is_on_one_sheet_and_each_sheet_is_one_whole(written: Path) -> None:
    names = {"sheets.pdf", "keyplan.pdf", "notes.pdf", "sheets.csv", "tesserae.csv"}
    assert {p.name for p in written.iterdir()} == names
    found = by_sheet(written / "tesserae.csv")
    assert len(found) > 3 and "" not in found
    assert set(found) == {str(k) for k in range(1, len(found) + 1)}
    for pieces in found.values():
        grown = shapely.union_all(shapely.buffer(pieces, 0.8, join_style="mitre"))
        assert grown.geom_type == "Polygon"


def test_the_list_of_sheets_is_that_of_their_pieces(written: Path) -> None:
    listed = rows(written / "sheets.csv")
    assert list(listed[0]) == COLUMNS
    found = by_sheet(written / "tesserae.csv")
    assert {r["sheet"] for r in listed} == set(found)
    assert sorted(int(r["order"]) for r in listed) == list(range(1, len(listed) + 1))
    for r in listed:
        x0, y0, x1, y1 = shapely.total_bounds(found[r["sheet"]])
        assert float(r["width_mm"]) == pytest.approx(x1 - x0, abs=0.001)
        assert float(r["height_mm"]) == pytest.approx(y1 - y0, abs=0.001)
        assert int(r["pieces"]) == len(found[r["sheet"]])
        assert float(r["weight_kg"]) > 0


def test_pages_are_of_their_size_and_say_what_is_on_them(written: Path) -> None:
    for name in ("sheets.pdf", "keyplan.pdf", "notes.pdf"):
        for box in boxes(written / name):
            assert sorted(box) == pytest.approx(A4, abs=0.01)
    listed = rows(written / "sheets.csv")
    said = words(written / "sheets.pdf")
    assert len(said) == len(listed)
    laid = Counter((r["sheet"], r["stock"]) for r in rows(written / "tesserae.csv"))
    for r, page in zip(sorted(listed, key=lambda r: int(r["order"])), said, strict=True):
        assert f"{r['pieces']} pieces" in page and "not true size" not in page
        here = {code for sheet, code in laid if sheet == r["sheet"]}
        assert all(code in page for code in here)
    plan = words(written / "keyplan.pdf")[0]
    assert "Threshold" in plan and "EJ171" in plan and "1926.1153" in plan
    notes = words(written / "notes.pdf")
    assert len(notes) == 1 and "5 to 30 minutes" in notes[0]


def test_a_sheet_at_true_size_is_drawn_by_its_very_corners(
    commission: Path, tmp_path: Path
) -> None:
    """Also mirrored: pieces on paper are those in the list, to a tenth of a millimetre."""
    out = tmp_path / "true"
    given = ["--paper", "true", "--fill", "colour", "--mirrored"]
    assert main(["sheets", str(commission), "--out", str(out), *given]) == 0
    found = by_sheet(out / "tesserae.csv")
    order = sorted(rows(out / "sheets.csv"), key=lambda r: int(r["order"]))
    assert len(boxes(out / "sheets.pdf")) == len(order)
    for k, r in enumerate(order):
        corners = shapely.get_coordinates(found[r["sheet"]])
        drawn = np.concatenate([p for p in lines(out / "sheets.pdf", k) if len(p) >= 4])
        flipped = corners * (-1, 1)
        # the drawing's place on the page is not known: its corner is tried against each
        tree = shapely.STRtree(shapely.points(drawn))
        first = flipped[flipped[:, 0].argmin()]
        best = min(
            shapely.distance(
                shapely.points(flipped - first + start),
                shapely.points(drawn)[tree.nearest(shapely.points(flipped - first + start))],
            ).max()
            for start in drawn
        )
        assert best < 0.1
        assert "MIRRORED" in words(out / "sheets.pdf")[k]


def test_papers_fills_and_a_commission_that_is_divided(
    commission: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from core.plan import Planner
    from core.sheets.made import divided

    before = commission.read_bytes()
    given = ["--paper", "A3", "--fill", "patterns"]
    assert main(["sheets", str(commission), "--out", str(tmp_path / "a"), *given]) == 0
    assert "was not divided into sheets" in capsys.readouterr().err
    assert commission.read_bytes() == before
    for box in boxes(tmp_path / "a" / "sheets.pdf"):
        assert sorted(box) == pytest.approx(A3, abs=0.01)
    work = archive.open_work(commission)
    planner = Planner()
    try:
        doc = divided(work.doc, planner.layout(work.doc, work.images, kept=work.kept))
    finally:
        planner.close()
    archive.save(tmp_path / "divided.emblema", doc, work.images)
    assert main(["sheets", str(tmp_path / "divided.emblema"), "--out", str(tmp_path / "b")]) == 0
    assert "was not divided" not in capsys.readouterr().err
    one, two = ((tmp_path / d / "tesserae.csv").read_bytes() for d in "ab")
    assert one == two


def test_keyplan_is_written_by_itself(commission: Path, tmp_path: Path) -> None:
    assert main(["keyplan", str(commission), "--out", str(tmp_path / "plan.pdf")]) == 0
    assert sorted(boxes(tmp_path / "plan.pdf")[0]) == pytest.approx(A4, abs=0.01)
    said = words(tmp_path / "plan.pdf")[0]
    assert "Key plan, seen from the front" in said and "set 2nd" in said and "level" in said


@pytest.mark.parametrize("command", [["sheets", "--out", "d"], ["keyplan", "--out", "k.pdf"]])
@pytest.mark.parametrize("what", ["nothing", "no commission", "nothing laid"])
def test_what_cannot_be_divided_is_said_in_one_line(
    command: list[str],
    what: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    file = tmp_path / "work.emblema"
    if what == "no commission":
        file.write_bytes(b"%PDF-1.4 not a commission")
    elif what == "nothing laid":
        archive.save(file, replace(small()[0], fields=(), sketch=None), {})
    assert main([command[0], str(file), *command[1:]]) == 2
    told = capsys.readouterr().err
    assert told.startswith("emblema: ") and told.count("\n") == 1
    assert not (tmp_path / "d").exists() and not (tmp_path / "k.pdf").exists()


def test_a_paper_that_is_not_known_is_said(
    commission: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as left:
        main(["sheets", str(commission), "--out", str(tmp_path), "--paper", "A7"])
    assert left.value.code == 2 and "A7" in capsys.readouterr().err
