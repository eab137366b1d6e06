import csv
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from core.colour import in_gamut
from core.errors import EmblemaError
from core.material import FINISHES, KINDS, PACK_UNITS, PRICE_UNITS, Material, check_material
from core.stock.lists import (
    SCREEN_COLOUR,
    look_into,
    read_stock_csv,
    starter_stock,
    take,
    write_stock_csv,
)

HEADINGS = "code,description,kind,finish,L,a,b,length_mm,width_mm,thickness_mm,price,pieces"
GOOD = "A-1,first,smalti,matt,50,1,2,15,10,7,96.50,120"


def written(tmp_path, text, encoding="utf-8", name="list.csv"):
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


def test_starter_stock_is_whole():
    stock = starter_stock()
    assert len(stock) >= 48
    assert len({m.code for m in stock}) == len(stock)
    assert {m.kind for m in stock} == {
        "smalti",
        "gold glass",
        "vitreous",
        "marble",
        "stone",
        "shell",
    }
    for m in stock:
        check_material(m)
        assert in_gamut(m.lab), m.code
        assert m.pieces > 0 and m.price > 0 and 0 < m.waste < 1
        if m.kind == "gold glass":
            assert m.finish == "metallic"
    smalti = [m for m in stock if m.kind == "smalti"]
    # Common practice: about 35 cut smalti pieces in 100 g; plates are some 300 x 200 mm.
    plates = [m for m in smalti if "plate" in m.description]
    assert {(m.length_mm, m.width_mm) for m in plates} == {(300.0, 200.0)}
    for m in smalti:
        if m in plates:
            continue
        grams = m.length_mm * m.width_mm * m.thickness_mm * m.density_kg_m3 / 1e6
        assert 100 / grams == pytest.approx(35, abs=1)
    greens = [m for m in smalti if m.lab[1] < -12 and abs(m.lab[2]) < 50]
    assert min(m.lab[0] for m in greens) < 30 and max(m.lab[0] for m in greens) > 80


words = st.text(
    st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=12
)
materials = st.builds(
    Material,
    code=words,
    description=words,
    kind=st.sampled_from(KINDS),
    lab=st.tuples(st.floats(0, 100), st.floats(-160, 160), st.floats(-160, 160)),
    finish=st.sampled_from(FINISHES),
    illuminant=st.sampled_from(["D65", "D50"]),
    observer=st.sampled_from([2, 10]),
    obtained=st.sampled_from(["estimated", "measured", "photograph"]),
    length_mm=st.floats(0.5, 2000),
    width_mm=st.floats(0.5, 2000),
    thickness_mm=st.floats(0.1, 200),
    density_kg_m3=st.floats(100, 25000),
    price=st.decimals(0, 10**6, places=2),
    price_unit=st.sampled_from(PRICE_UNITS),
    pieces=st.integers(0, 10**7),
    waste=st.floats(0, 0.99),
    grade=st.just(""),
    supplier=words,
    supplier_no=words,
    broken=st.floats(0, 0.3),
    off_colour=st.floats(0, 0.3),
    wrong_size=st.floats(0, 0.3),
    pieces_a_kg=st.just(0.0) | st.floats(1e-3, 1e7),
    pack=st.just(0.0),
    pack_unit=st.sampled_from(PACK_UNITS),
    absorption=st.floats(0, 100),
    slip_ptv=st.floats(0, 150),
    frost_cycles=st.integers(0, 10_000),
)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(materials, max_size=5, unique_by=lambda m: m.code))
def test_own_list_comes_back_exactly(tmp_path, stock):
    path = tmp_path / "own.csv"
    write_stock_csv(path, stock)
    assert read_stock_csv(path) == (tuple(stock), ())
    assert [p.name for p in tmp_path.iterdir()] == ["own.csv"]


def test_refuses_line_by_line_and_takes_the_rest(tmp_path):
    path = written(
        tmp_path,
        "\n".join(
            [
                HEADINGS,
                GOOD,
                GOOD.replace("A-1", "A-2").replace("smalti", "smarties"),
                GOOD.replace("A-1", "A-3").replace(",50,", ",fifty,"),
                "",
                GOOD,
                GOOD.replace("A-1", "A-4").replace(",50,", ",150,"),
                GOOD.replace("A-1", "").replace("first", "nameless"),
                GOOD.replace("A-1", "A-5").replace("96.50", "-3"),
                GOOD.replace("A-1", "A-6").replace(",120", ",1.5"),
                GOOD.replace("A-1", "A-7") + ",more,than,fits",
                'A-8,"two\nlines",smalti,matt,50,1,2,15,10,7,9,1',
                GOOD.replace("A-1", "A-9").replace(",50,", ",nan,"),
                GOOD.replace("A-1", "A-10"),
            ]
        ),
    )
    taken, refused = read_stock_csv(path)
    assert [m.code for m in taken] == ["A-1", "A-8", "A-10"]
    assert taken[0].price == Decimal("96.50") and taken[0].pieces == 120
    why = dict(refused)
    assert list(why) == [3, 4, 6, 7, 8, 9, 10, 11, 14]
    assert "smarties" in why[3] and "L 'fifty' is not a number" in why[4]
    assert "already on line 2" in why[6] and "L* is 150" in why[7] and "code" in why[8]
    assert "price -3" in why[9] and "whole number" in why[10] and "headings" in why[11]


def test_supplier_list_with_semicolons_commas_and_other_words(tmp_path):
    path = written(
        tmp_path,
        "Item no.;Number;Name;Hex;Price;Unit;In stock;Waste\n"
        "x;B 7;Grün, hell;#FF0000;€ 1.234,50;m2;2.000;12,5 %\n"
        "x;B 8;Blau;#0000FG;9,10;m2;5;0,1\n",
        "cp1252",
    )
    found = look_into(path)
    assert (found.delimiter, found.decimal) == (";", ",")
    assert found.columns["code"] == 1 and found.columns[SCREEN_COLOUR] == 3
    taken, refused = take(found)
    (m,) = taken
    assert (m.code, m.description, m.price_unit) == ("B 7", "Grün, hell", "m2")
    assert m.price == Decimal("1234.50") and m.pieces == 2000
    assert m.waste == pytest.approx(0.125)
    assert m.lab == pytest.approx((53.23, 80.11, 67.22), abs=0.01)
    assert refused[0].line == 3 and "#rrggbb" in refused[0].why


def test_columns_can_be_chosen(tmp_path):
    found = look_into(written(tmp_path, "p|q|x|y|z\nK1|unused|40|1|2\n"))
    with pytest.raises(EmblemaError, match="no column for the code"):
        take(found)
    taken, refused = take(found, {"code": 0, "L": 2, "a": 3, "b": 4})
    assert taken == (Material("K1", "K1", "other", (40.0, 1.0, 2.0)),) and refused == ()
    with pytest.raises(EmblemaError, match="L, a and b"):
        take(found, {"code": 0, "L": 2})


def test_what_a_list_does_not_say_of_a_stocked_material_stays(tmp_path):
    old = replace(
        starter_stock()[0], illuminant="D50", obtained="measured", pieces=40, grade="A", waste=0.2
    )
    path = written(tmp_path, f"code,price,grade,pieces\n{old.code},9,,\n")
    taken, refused = read_stock_csv(path, {old.code: old})
    assert taken == (replace(old, price=Decimal(9)),) and refused == ()
    # another colour is not under the old one's light, nor obtained as it was
    path = written(tmp_path, f"code,L,a,b\n{old.code},30,1,2\n")
    (taken,), _ = read_stock_csv(path, {old.code: old})
    assert taken == replace(
        old, lab=(30.0, 1.0, 2.0), illuminant="D65", observer=2, obtained="estimated"
    )
    with pytest.raises(EmblemaError, match="L, a and b"):
        read_stock_csv(written(tmp_path, "code,price\nUNKNOWN,9\n"), {old.code: old})


def test_choices_are_read_however_they_are_written(tmp_path):
    path = written(
        tmp_path,
        "code,L,a,b,kind,finish,unit,illuminant\nA,1,2,3,Gold Glass,METALLIC,M²,d50\n",
    )
    ((m,), refused) = read_stock_csv(path)
    assert (m.kind, m.finish, m.price_unit, m.illuminant) == ("gold glass", "metallic", "m2", "D50")
    assert refused == ()


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_reads_the_usual_encodings(tmp_path, encoding):
    taken, _ = read_stock_csv(
        written(tmp_path, f"{HEADINGS}\n{GOOD}".replace("first", "grün"), encoding)
    )
    assert taken[0].description == "grün"


@pytest.mark.parametrize(
    ("data", "fault"),
    [(b"", "empty"), (b"\n\n", "empty"), (b"PK\x03\x04\0\0", "not a text file")],
)
def test_what_is_no_list_is_refused_by_name(tmp_path, data, fault):
    path = tmp_path / "mine.csv"
    path.write_bytes(data)
    with pytest.raises(EmblemaError, match=rf"mine\.csv.*{fault}"):
        read_stock_csv(path)
    with pytest.raises(EmblemaError, match="gone.csv"):
        read_stock_csv(tmp_path / "gone.csv")


@pytest.mark.parametrize("price", ["1e99999999", "9" * 70, "1e-99999999", "nan", "٣"])
def test_numbers_without_bounds_are_refused_at_once(tmp_path, price):
    text = f"{HEADINGS}\n{GOOD.replace('96.50', price)}\n{GOOD.replace('A-1', 'A-2')}"
    taken, refused = read_stock_csv(written(tmp_path, text))
    assert [m.code for m in taken] == ["A-2"]
    assert refused[0].line == 2 and "price" in refused[0].why and len(refused[0].why) < 100
    text = f"{HEADINGS}\n{GOOD.replace(',120', ',' + price)}"
    assert "pieces" in read_stock_csv(written(tmp_path, text))[1][0].why


def test_cells_that_a_spreadsheet_would_run_come_back_the_same(tmp_path):
    words = ("=1+1", "-2+3", "@home", "'=quoted", "+", "it's")
    stock = tuple(
        replace(starter_stock()[0], code=f"{w}x", description=w, supplier=w, example=False)
        for w in words
    )
    path = tmp_path / "own.csv"
    write_stock_csv(path, stock)
    assert read_stock_csv(path) == (stock, ())
    with path.open(newline="", encoding="utf-8") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert not any(cell.startswith(("=", "+", "-", "@")) for cell in cells if "." not in cell)


def test_a_failed_save_leaves_the_old_list(tmp_path):
    path = tmp_path / "own.csv"
    write_stock_csv(path, starter_stock()[:2])
    before = path.read_bytes()
    with pytest.raises(AttributeError):
        write_stock_csv(path, [starter_stock()[0], "no material"])
    assert path.read_bytes() == before and len(list(tmp_path.iterdir())) == 1
