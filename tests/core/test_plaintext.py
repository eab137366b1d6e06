import csv
import io
import re
import time
import xml.etree.ElementTree as ET
from decimal import Decimal
from xml.sax.saxutils import escape

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.errors import EmblemaError
from core.plaintext import MOST_BYTES, csv_text, decoded, number, read_text, unguarded, xml_text

risky = st.text(st.sampled_from("'=+-@\t\r\n ,;\"1.5eAb＝"), max_size=12)


@given(st.lists(st.lists(risky | st.text(max_size=8), min_size=1, max_size=4), max_size=4))
def test_cells_come_back_the_same_and_none_is_run_by_a_spreadsheet(rows):
    rows = [[re.sub("[\0\ud800-\udfff]", "", cell) for cell in row] for row in rows]
    written = list(csv.reader(io.StringIO(csv_text(rows), newline="")))
    assert [[unguarded(cell) for cell in row] for row in written if row] == [r for r in rows if r]
    for row in written:
        for cell in row:
            runs = cell.strip()[:1] in tuple("=+-@＝") or cell[:1] in tuple("\t\r\n")
            assert not runs or re.fullmatch(r"[+-]?[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?", cell, re.I)


def test_plain_numbers_are_left_as_they_are_and_a_spreadsheets_apostrophe_is_taken_off():
    assert csv_text([[-5, "-0.250", "+3", "1e-05", "-1e-05"]]) == "-5,-0.250,+3,1e-05,-1e-05\r\n"
    assert (
        csv_text([["=1+1", "-", "@SUM(A1)", "-2+3", "it's"]]) == "'=1+1,'-,'@SUM(A1),'-2+3,it's\r\n"
    )
    assert unguarded("'=1+1") == "=1+1" and unguarded("'twas") == "'twas"


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**9), max_value=10**9))
def test_numbers_are_read_exactly(value):
    text = f"{value:.6E}"
    assert number(text) == Decimal(text)


@pytest.mark.parametrize(
    "word",
    ["", "nan", "inf", "-Infinity", "1e99999999", "1e400", "9e-9999", "1_0", "٣", "1,5", " 1",
     "0x1", "1" * 61, "1e", ".", "+-1", "1.2.3"],
)  # fmt: skip
def test_what_is_no_number_or_without_bounds_is_none(word):
    began = time.monotonic()
    assert number(word) is None
    assert time.monotonic() - began < 1


@given(st.text(st.characters()))
def test_words_in_xml_can_be_read_by_every_reader(words):
    kept = xml_text(words)
    root = ET.fromstring(f"<t>{escape(kept)}</t>")
    assert (root.text or "") == kept.replace("\r\n", "\n").replace("\r", "\n")
    if re.fullmatch("[a-zé€𝄞 <&>]*", words):
        assert kept == words


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252", "latin-1"])
def test_text_is_read_in_the_usual_encodings(encoding):
    assert decoded("smalti, vert foncé\r\n".encode(encoding)) == "smalti, vert foncé\r\n"


def test_every_byte_is_some_text_but_for_zeros():
    assert decoded(b"\xff\xfe\x00\xd8") is None  # half a surrogate pair
    assert decoded(b"a\0b") is None and decoded("a\0b".encode("utf-16")) is None
    assert decoded(b"\x81\xe9") == "\x81é"  # 0x81 is not in Windows' page


def test_what_is_too_large_or_not_there_is_named(tmp_path):
    path = tmp_path / "list.csv"
    with pytest.raises(EmblemaError, match=r"stock list.*list\.csv.*cannot be opened"):
        read_text(path, "stock list")
    with path.open("wb") as file:
        file.truncate(MOST_BYTES + 1)
    with pytest.raises(EmblemaError, match=r"list\.csv.*too large for a stock list"):
        read_text(path, "stock list")
