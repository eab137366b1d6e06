"""Damaged lists and measurements are read or refused in a sentence, never worse."""

import itertools

from list_files import damaged_lists, every_list

from core.errors import EmblemaError
from core.material import check_lab, check_material
from core.stock.cgats import is_cgats, read_cgats
from core.stock.lists import read_stock_csv


def test_every_form_of_list_is_read(tmp_path):
    for name, data in every_list().items():
        path = tmp_path / "heron.txt"
        path.write_bytes(data)
        assert is_cgats(path) == name.startswith("CGATS")
        if is_cgats(path):
            assert len(read_cgats(path).samples) >= 3
        else:
            materials, refused = read_stock_csv(path)
            assert len(materials) >= 2 and refused == ()


def test_damaged_lists_are_read_or_end_in_one_sentence(tmp_path):
    """A sample of what tests/bench/hostile_lists.py does by the thousand."""
    path = tmp_path / "heron.txt"
    came = {"read": 0, "refused": 0}
    for name, data in itertools.islice(damaged_lists(every_list(), 7), 400):
        path.write_bytes(data)
        try:
            if is_cgats(path):
                for s in read_cgats(path, white=100).samples:
                    check_lab(s.id, s.lab)
            else:
                for m in read_stock_csv(path)[0]:
                    check_material(m)
            came["read"] += 1
        except EmblemaError as e:
            assert "heron.txt" in str(e) and "\n" not in str(e), name
            came["refused"] += 1
    assert min(came.values()) > 60
