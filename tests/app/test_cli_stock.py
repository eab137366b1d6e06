"""Matching and the stock from the command line, on real lists and a stock file of its own."""

from __future__ import annotations

import csv
import os
import subprocess
import sys
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from app.cli import main
from core.material import Material
from core.stock import StockStore, starter_stock
from core.stock.lists import read_stock_csv, write_stock_csv

ROOT = Path(__file__).resolve().parents[2]
Captured = pytest.CaptureFixture[str]
COLUMNS = (
    "code,description,kind,finish,L,a,b,length_mm,width_mm,thickness_mm,density_kg_m3,"
    "price,price_unit,pieces,waste,illuminant,observer,obtained,grade,supplier,"
    "supplier_no,broken,off_colour,wrong_size,pieces_a_kg,pack,pack_unit,absorption,slip_ptv,"
    "frost_cycles"
)
SMALL = (
    "code,description,L,a,b,pieces\nR,red,45,60,40,10\nG,green,50,-50,30,20\nB,blue,35,10,-50,5\n"
)


@pytest.fixture(autouse=True)
def own_stock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A stock file of this test's own, and its folder as the place to stand in."""
    data = tmp_path / "data"
    monkeypatch.setenv("EMBLEMA_DATA", str(data))
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.chdir(here)
    return data


def written(name: str, text: str) -> str:
    Path(name).write_text(text, encoding="utf-8")
    return name


def lines(capsys: Captured) -> list[str]:
    got = capsys.readouterr()
    assert got.err == ""
    return got.out.splitlines()


# match


@pytest.mark.parametrize("wanted", [(50.0, 0.0, 0.0), (30.0, -20.5, -31.0), (90.0, 4.0, 60.0)])
@pytest.mark.parametrize("count", [None, 1, 3, 9, 1000])
def test_match_names_the_nearest_first(
    wanted: tuple[float, float, float], count: int | None, capsys: Captured
) -> None:
    write_stock_csv("stock.csv", starter_stock())
    more = [] if count is None else ["--count", str(count)]
    assert main(["match", *map(str, wanted), "--stock", "stock.csv", *more]) == 0
    said = lines(capsys)
    stock = starter_stock()
    assert {m.illuminant for m in stock} == {"D65"}
    off = deltaE_ciede2000(np.tile(wanted, (len(stock), 1)), np.array([m.lab for m in stock]))
    assert len(said) == min(count or 5, len(stock))
    for line, k in zip(said, np.argsort(off, kind="stable"), strict=False):
        code, light, a, b, delta_e, description = line.split(maxsplit=5)
        assert (code, description) == (stock[k].code, stock[k].description)
        assert (float(light), float(a), float(b)) == stock[k].lab
        assert float(delta_e) == pytest.approx(off[k], abs=0.005 + 1e-6)


def test_match_against_published_pairs(capsys: Captured) -> None:
    """Sharma, Wu & Dalal 2005, doi 10.1002/col.20070, table 1: pairs 1, 7 and 21."""
    for wanted, stocked, said in (
        ("50 2.6772 -79.7751", "50,0,-82.7485", 2.0425),
        ("50 0 0", "50,-1,2", 2.3669),
        ("50 2.5 0", "50,3.2592,0.335", 1.0),
    ):
        written("one.csv", f"code,L,a,b\nONE,{stocked}\n")
        assert main(["match", *wanted.split(), "--stock", "one.csv"]) == 0
        assert float(lines(capsys)[0].split()[4]) == pytest.approx(said, abs=0.0051)


@pytest.mark.parametrize(
    "below",
    ["-5", "-5.", "-.5", "-0.25", "-1e-3", "-1E+1", "-1.5e1", "-2e0", "-1_0", "\u22127.5"],
)
def test_numbers_below_zero_in_any_usual_notation(below: str, capsys: Captured) -> None:
    number = float(below.replace("\u2212", "-"))
    written("one.csv", f"code,L,a,b\nONE,50,{number!r},{number!r}\nTWO,50,20,20\n")
    for words in (["50", below, below, "--stock", "one.csv"],
                  ["--stock", "one.csv", "--count", "2", "--", "50", below, below]):  # fmt: skip
        assert main(["match", *words]) == 0
        code, _, a, b, off = lines(capsys)[0].split()[:5]
        assert (code, off) == ("ONE", "0.00")
        assert float(a) == float(b) == pytest.approx(number, abs=0.005)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("50 0 -5,5", "'-5,5' is not a number"),
        ("50 0 -1e", "'-1e' is not a number"),
        ("50 0 -1e3", "a* and b* from -160 to 160"),
        ("50 0 -inf", "a* and b* from -160 to 160"),
        ("50 0 -nan", "a* and b* from -160 to 160"),
        ("-1e-3 0 0", "L* from 0 to 100"),
        ("50 0 -1e-3 --count -2", "one material or more"),
        ("50 0 -b", "required: b"),
    ],
)
def test_what_is_no_number_or_too_low_is_said(words: str, said: str, capsys: Captured) -> None:
    try:
        code = main(["match", *words.split()])
    except SystemExit as stopped:
        code = stopped.code
    assert code == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and said in err


def test_match_takes_the_studios_stock_where_no_list_is_named(capsys: Captured) -> None:
    with StockStore() as store:
        store.add_material(Material("MINE", "my own", "marble", (12.5, 33.0, -41.0)))
    assert main(["match", "12.5", "33", "-41", "--count", "1"]) == 0
    (line,) = lines(capsys)
    assert line.split()[0] == "MINE" and line.split()[4] == "0.00"


def test_match_names_a_lot_with_a_colour_of_its_own(capsys: Captured) -> None:
    with StockStore() as store:
        lot = store.add_lot("SM-78", 40, "2031-01-02", (12.5, 33.0, -41.0))
        gone = store.add_lot("SM-78", 0, "2031-01-02", (12.5, 33.0, -40.0))
    assert main(["match", "12.5", "33", "-41", "--count", "2"]) == 0
    said = lines(capsys)
    assert said[0].startswith(f"SM-78 lot {lot} ") and "  0.00  " in said[0]
    assert f"lot {gone}" not in said[1]
    # the stock's own list is of materials: a lot is no line of it
    assert main(["stock", "export", "out.csv"]) == 0
    materials, refused = read_stock_csv("out.csv")
    assert refused == () and [m.code for m in materials] == [m.code for m in starter_stock()]
    assert next(m for m in materials if m.code == "SM-78").pieces == (
        next(m for m in starter_stock() if m.code == "SM-78").pieces + 40
    )


def test_match_as_a_user_runs_it(tmp_path: Path) -> None:
    env = {**os.environ, "PYTHONPATH": str(ROOT), "QT_QPA_PLATFORM": "offscreen"}
    written("list.csv", SMALL)
    command = [sys.executable, "-m", "app", "match", "40", "-30", "20", "--stock", "list.csv"]
    done = subprocess.run(command, env=env, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.split()[0] == "G"
    command[-1] = "gone.csv"
    done = subprocess.run(command, env=env, capture_output=True, text=True)
    assert done.returncode == 2 and done.stdout == ""
    assert done.stderr.count("\n") == 1 and "gone.csv" in done.stderr


# import, export, list


def test_export_has_its_columns_in_their_order_and_every_material(capsys: Captured) -> None:
    assert main(["stock", "export", "out.csv"]) == 0
    assert lines(capsys) == [f"{len(starter_stock())} materials in out.csv"]
    text = Path("out.csv").read_text(encoding="utf-8")
    assert text.splitlines()[0] == COLUMNS
    with open("out.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [r["code"] for r in rows] == [m.code for m in starter_stock()]
    for row, m in zip(rows, starter_stock(), strict=True):
        assert (float(row["L"]), float(row["a"]), float(row["b"])) == m.lab
        assert int(row["pieces"]) == m.pieces and Decimal(row["price"]) == m.price


def odd_materials() -> tuple[Material, ...]:
    """Materials whose cells need care: commas, quotes, line ends, small and long numbers."""
    first = Material(
        *("Q-1", 'smalti, "sea"\nsecond pour', "smalti", (33.333333333333336, -0.1, 1e-7)),
        finish="iridescent",
        illuminant="D50",
        observer=10,
        obtained="measured",
        length_mm=15.25,
        width_mm=0.7,
        thickness_mm=6.35,
        density_kg_m3=2711.5,
        price=Decimal("1234.50"),
        price_unit="sheet",
        pieces=1_234_567,
        waste=0.125,
        grade="prima",
        supplier="rosso & figli; città",
        supplier_no="12/7, b",
        broken=0.0625,
        off_colour=0.01,
        wrong_size=1e-3,
        pieces_a_kg=351.5,
        pack=2.5,
        pack_unit="m2",
        absorption=0.45,
        slip_ptv=36.0,
        frost_cycles=56,
    )
    return first, replace(first, code="-2", description="d", pieces=0, price=Decimal(0), waste=0.0)


def test_import_of_an_export_gives_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    with StockStore() as store:
        store.take_over()
        store.take_list(lambda _: odd_materials())
        before = store.materials()
    assert main(["stock", "export", "one.csv"]) == 0
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path / "another"))
    with StockStore() as store:  # a studio that has none of them
        for m in store.materials():
            store.remove_material(m.code)
    capsys.readouterr()
    assert main(["stock", "import", "one.csv"]) == 0
    assert lines(capsys) == [f"{len(before)} new materials, 0 changed"]
    with StockStore() as store:
        assert store.materials() == before
    assert main(["stock", "export", "two.csv"]) == 0
    assert Path("one.csv").read_bytes() == Path("two.csv").read_bytes()
    capsys.readouterr()
    assert main(["stock", "import", "two.csv"]) == 0
    assert lines(capsys) == [f"0 new materials, {len(before)} changed"]
    with StockStore() as store:
        assert store.materials() == before
    assert read_stock_csv("two.csv") == (before, ())


def test_import_adds_and_changes(capsys: Captured) -> None:
    known = starter_stock()[0].code
    written("list.csv", f"Code;Name;L;a;b;Pieces\nNEW;new;50,5;1;-2;7\n{known};black;9;0;0;3\n")
    assert main(["stock", "import", "list.csv"]) == 0
    assert lines(capsys) == ["1 new materials, 1 changed"]
    with StockStore() as store:
        assert len(store.materials()) == len(starter_stock()) + 1
        new, old = store.material("NEW"), store.material(known)
    assert new.lab == (50.5, 1.0, -2.0) and new.pieces == 7
    assert old.lab == (9.0, 0.0, 0.0) and old.pieces == 3


def test_import_of_measured_colours(capsys: Captured) -> None:
    one, two = starter_stock()[:2]
    written(
        "measured.txt",
        'CGATS.17\nILLUMINANT\t"D65"\nOBSERVER 2\nBEGIN_DATA_FORMAT\n'
        "SAMPLE_ID\tLAB_L\tLAB_A\tLAB_B\nEND_DATA_FORMAT\nNUMBER_OF_SETS 3\nBEGIN_DATA\n"
        f"{one.code}\t14.5\t0.5\t-1.5\nNOBODY\t50\t0\t0\n{two.code}\t27\t-2\t-3\nEND_DATA\n",
    )
    assert main(["stock", "import", "measured.txt"]) == 0
    got = capsys.readouterr()
    assert got.out == "2 materials given their measured colour\n"
    assert got.err.count("\n") == 1 and "NOBODY" in got.err
    with StockStore() as store:
        found = store.material(one.code)
        assert found.obtained == "measured" and found.pieces == one.pieces
        np.testing.assert_allclose(found.lab, (14.5, 0.5, -1.5), atol=0.01)


def test_what_measurements_do_not_say_is_told_or_asked(capsys: Captured) -> None:
    one = starter_stock()[0]
    nm = range(400, 701, 10)
    columns = " ".join(f"nm{n}" for n in nm)
    data = f"BEGIN_DATA\n{one.code} {' '.join('0.9' for _ in nm)}\nEND_DATA\n"
    written(
        "bands.txt", f"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID {columns}\nEND_DATA_FORMAT\n{data}"
    )
    assert main(["stock", "import", "bands.txt"]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "shares" in said and "--white 1 or --white 100" in said
    for white, light in ((100, 8.13), (1, 95.996)):  # L* of Y 0.9 and Y 90 (CIE 15)
        assert main(["stock", "import", "bands.txt", "--white", str(white)]) == 0
        with StockStore() as store:
            assert store.material(one.code).lab == pytest.approx((light, 0, 0), abs=0.01)
    written(
        "plain.txt",
        "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
        f"BEGIN_DATA\n{one.code} 50 0 0\nEND_DATA\n",
    )
    capsys.readouterr()
    assert main(["stock", "import", "plain.txt"]) == 0
    assert "D50 and 2 degrees taken" in capsys.readouterr().err
    assert main(["stock", "import", "plain.txt", "--light", "D65", "--observer", "2"]) == 0
    assert capsys.readouterr().err == ""


def test_list_prints_every_material_and_what_is_in_hand(capsys: Captured) -> None:
    assert main(["stock", "list"]) == 0
    said = lines(capsys)
    assert len(said) == len(starter_stock())
    for line, m in zip(said, starter_stock(), strict=True):
        code, pieces = line.split()[:2]
        assert code == m.code and int(pieces.replace(",", "")) == m.pieces
        assert m.kind in line and m.finish in line and line.endswith(m.said)


# bad input

GOOD_ROW = "N1,fine,50,0,0,5"
HEAD = "code,description,L,a,b,pieces"
BAD_LISTS = {
    "missing file": (None, "list.csv"),
    "empty": ("", "empty"),
    "no code": ("name,L,a,b\nx,50,0,0\n", "no column for the code"),
    "no colour": ("code,description\nx,y\n", "no columns L, a and b"),
    "words": ("call the plasterer", "code"),
    "not text": ("code,L,a,b\nx\0,1,2,3\n", "not a text file"),
    "wrong number": (f"{HEAD}\n{GOOD_ROW}\nN2,bad,fifty,0,0,5\n", "line 3"),
    "no such colour": (f"{HEAD}\n{GOOD_ROW}\nN2,bad,101,0,0,5\n", "L* is 101"),
    "half a piece": (f"{HEAD}\nN2,bad,50,0,0,5.5\n{GOOD_ROW}\n", "line 2"),
    "fewer than none": (f"{HEAD}\nN2,bad,50,0,0,-5\n", "-5"),
    "a colour short": (f"{HEAD}\nN2,bad,50,,0,5\n", "colour's a is missing"),
    "twice the same": (f"{HEAD}\n{GOOD_ROW}\n{GOOD_ROW}\n", "already on line 2"),
    "more values": (f"{HEAD}\n{GOOD_ROW},9,9\n", "8 values for 6 headings"),
    "two faults": (f"{HEAD}\nN1,b,x,0,0,5\nN2,b,y,0,0,5\nN3,b,z,0,0,5\n", "'x' is not a number"),
}


@pytest.mark.parametrize("fault", BAD_LISTS)
@pytest.mark.parametrize("command", ["import", "match"])
def test_a_bad_list_ends_with_two_and_one_line_and_changes_nothing(
    fault: str, command: str, capsys: Captured
) -> None:
    text, words = BAD_LISTS[fault]
    if text is not None:
        written("list.csv", text)
    with StockStore() as store:
        before = store.materials(), store.movements()
    given = {
        "import": ["stock", "import", "list.csv"],
        "match": ["match", "50", "0", "0", "--stock", "list.csv"],
    }[command]
    assert main(given) == 2
    got = capsys.readouterr()
    assert got.out == "" and got.err.count("\n") == 1 and got.err.startswith("emblema: ")
    assert "list.csv" in got.err and words in got.err
    with StockStore() as store:
        assert (store.materials(), store.movements()) == before


BAD_WORDS = {
    "L is a word": (["match", "pale", "0", "0"], "L: 'pale' is not a number"),
    "b is a word": (["match", "50", "-3", "blue"], "b: 'blue' is not a number"),
    "one short": (["match", "50", "0"], "b"),
    "count is a word": (["match", "50", "0", "0", "--count", "few"], "'few' is not a whole number"),
    "half a count": (["match", "50", "0", "0", "--count", "2.5"], "'2.5' is not a whole number"),
    "no count": (["match", "50", "0", "0", "--count", "0"], "one material or more"),
    "L too great": (["match", "100.5", "0", "0"], "L* from 0 to 100"),
    "b too small": (["match", "50", "0", "-161"], "-160 to 160"),
    "no number": (["match", "50", "nan", "0"], "-160 to 160"),
    "stock and nothing": (["stock"], "import|export|list"),
    "no such thing": (["stock", "burn"], "burn"),
    "import of nothing": (["stock", "import"], "file"),
    "no folder": (["stock", "export", "no/such/out.csv"], "out.csv"),
    "a folder": (["stock", "export", "."], "could not be written"),
    "no measurements": (["stock", "import", "gone.txt"], "gone.txt"),
}


@pytest.mark.parametrize("fault", BAD_WORDS)
def test_bad_words_end_with_two_and_one_line(fault: str, capsys: Captured) -> None:
    given, words = BAD_WORDS[fault]
    try:
        code: object = main(given)
    except SystemExit as e:
        code = e.code
    got = capsys.readouterr()
    assert code == 2 and got.out == ""
    assert got.err.count("\n") == 1 and got.err.startswith("emblema") and words in got.err
    assert not list(Path().iterdir())


def test_what_cannot_be_exported_leaves_the_old_list(
    monkeypatch: pytest.MonkeyPatch, capsys: Captured
) -> None:
    written("keep.csv", "mine")
    written("stock.sqlite", "no stock file")
    monkeypatch.setenv("EMBLEMA_DATA", str(Path().resolve()))
    assert main(["stock", "export", "keep.csv"]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and "damaged" in err
    assert Path("keep.csv").read_text(encoding="utf-8") == "mine"


def test_a_price_list_leaves_counts_and_colours_alone(capsys: Captured) -> None:
    """What a list does not say of a stocked material stays as it is."""
    first, second = starter_stock()[:2]
    written("prices.csv", f"code,price,unit\n{first.code},77.5,m²\n{second.code},,\n")
    assert main(["stock", "import", "prices.csv"]) == 0
    assert lines(capsys) == ["0 new materials, 2 changed"]
    with StockStore() as store:
        dear = replace(first, price=Decimal("77.5"), price_unit="m2", example=False)
        assert store.materials()[:2] == (dear, second)
        assert [v.kind for v in store.movements(first.code)] == ["example"]
    written("prices.csv", f"code,price\n{first.code},80\nUNKNOWN,1\n")
    assert main(["stock", "import", "prices.csv"]) == 2
    assert "line 3: the colour's L is missing" in capsys.readouterr().err


def test_every_refused_line_is_told(capsys: Captured) -> None:
    bad = "".join(f"B-{k},{101 + k},0,0\n" for k in range(8))
    written("list.csv", f"code,L,a,b\nGOOD,50,0,0\n{bad}")
    assert main(["stock", "import", "list.csv"]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and err.endswith("Nor can 3 more.\n")
    for k in range(5):
        assert f"ine {k + 3}: Material 'B-{k}': L* is {101 + k}" in err
    with StockStore() as store:
        assert "GOOD" not in store.available()


def test_a_list_is_known_by_what_it_holds_not_by_its_name(capsys: Captured) -> None:
    written("list.txt", "code,L,a,b\nNEW,50,0,0\n")
    assert main(["stock", "import", "list.txt"]) == 0
    columns = "BEGIN_DATA_FORMAT\nSAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
    data = "BEGIN_DATA\nNEW 60 0 0\nEND_DATA\n"
    written("measured.csv", f"CGATS.17\nILLUMINANT D65/2\n{columns}{data}")
    assert main(["stock", "import", "measured.csv"]) == 0
    assert lines(capsys) == [
        "1 new materials, 0 changed",
        "1 materials given their measured colour",
    ]
    with StockStore() as store:
        assert store.material("NEW").lab == pytest.approx((60, 0, 0), abs=1e-3)


def test_a_list_without_materials_is_said(capsys: Captured) -> None:
    written("list.csv", "code,L,a,b\n")
    assert main(["stock", "import", "list.csv"]) == 2
    assert "'list.csv' holds no materials" in capsys.readouterr().err


def test_a_count_below_what_is_set_aside_is_refused_whole(capsys: Captured) -> None:
    code = starter_stock()[0].code
    with StockStore() as store:
        store.set_aside("Threshold", {code: 100})
        before = store.materials()
    written("list.csv", f"code,L,a,b,pieces\nFIRST,50,0,0,5\n{code},13,0,0,99\n")
    assert main(["stock", "import", "list.csv"]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and code in err and "100 are set aside" in err
    with StockStore() as store:
        assert store.materials() == before
