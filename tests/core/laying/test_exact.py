"""Numbers that are the same on every machine."""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import sparse
from scipy.sparse.linalg import spsolve

from core import laying
from core.laying import exact
from core.laying.exact import FINE, PLACE_MM, SOLVED

STEPS = (FINE, SOLVED, PLACE_MM)
# numpy's own for all these is chosen by the processor, but for basic sums, products and roots
BY_KERNEL = {"sin", "cos", "tan", "arcsin", "arccos", "arctan", "arctan2", "angle", "exp", "log"}
BY_KERNEL |= {"log2", "log10", "log1p", "expm1", "power", "dot", "vdot", "inner", "matmul"}
BY_KERNEL |= {"einsum", "tensordot", "linalg", "sinh", "cosh", "tanh", "cbrt"}


@given(st.floats(-1e5, 1e5), st.sampled_from(STEPS))
def test_rounding_moves_by_half_a_step_at_most_and_is_done_once(x: float, step: float) -> None:
    found = exact.quantised(np.array([x, -x]), step)
    assert np.abs(found - [x, -x]).max() <= step / 2
    assert (found / step == np.rint(found / step)).all() and found[1] == -found[0]
    assert (exact.quantised(found, step) == found).all()
    assert not np.signbit(found[found == 0]).any()


def test_complex_numbers_are_rounded_in_both_parts() -> None:
    found = exact.quantised(np.array([0.3 - 1e-9j, 1 + 2j]), 2.0**-4)
    assert found.tolist() == [0.3125, 1 + 2j] and not np.signbit(found.imag).any()


@given(st.integers(-(10**7), 10**7), st.integers(0, 20))
def test_whole_micrometres_never_lie_midway_between_two_places(um: int, last_bits: int) -> None:
    """k / 1000 is no odd multiple of a power of two, so that last bits cannot turn it."""
    x = np.array([um / 1000])
    off = x * (1 + last_bits * np.finfo(float).eps)
    assert exact.quantised(x, PLACE_MM) == exact.quantised(off, PLACE_MM)


@given(st.floats(-7, 7))
def test_functions_are_what_they_are_called(a: float) -> None:
    """sin^2 + cos^2 = 1, and each function with its inverse, to the step."""
    x = np.array(a)
    way = exact.ways(x)
    assert way == pytest.approx([np.cos(a), np.sin(a)], abs=FINE)
    assert exact.dot(way, way) == pytest.approx(1.0, abs=4 * FINE)
    assert exact.turns(x) == pytest.approx(np.exp(1j * a), abs=2 * FINE)
    turned = exact.angles(way[1], way[0])
    assert np.cos(turned - a) == pytest.approx(1.0)
    assert exact.logarithm(exact.exponential(x)) == pytest.approx(a, abs=1e-6 * np.exp(abs(a)))
    assert exact.raised(x * x, 0.5) == pytest.approx(abs(a), abs=FINE)
    assert np.cos(exact.arc_cosine(way[0])) == pytest.approx(way[0], abs=2 * FINE)


def test_conjugate_gradients_solve_as_a_factorisation_does() -> None:
    rng = np.random.default_rng(0)
    for _ in range(20):
        n = 40
        half = sparse.random_array((n, n), density=0.1, rng=rng)
        matrix = sparse.csr_array(half @ half.T + sparse.diags_array(rng.uniform(1, 9, n)))
        rhs = rng.normal(size=n)
        found = exact.conjugate_gradients(matrix, rhs, np.zeros(n), 400, 1e-10)
        assert found == pytest.approx(spsolve(sparse.csc_array(matrix), rhs), abs=1e-8)
        rough = exact.conjugate_gradients(matrix, rhs, np.zeros(n), 400, 0.1)
        left = np.sqrt(np.sum((rhs - matrix @ rough) ** 2))
        assert 1e-8 < left <= 0.1 * np.sqrt(np.sum(rhs**2))
    nothing = exact.conjugate_gradients(matrix, np.zeros(n), np.zeros(n), 400, 1e-3)
    assert (nothing == 0).all()


FOLDER = Path(laying.__file__).parent


@pytest.mark.parametrize("path", sorted(FOLDER.rglob("*.py")), ids=lambda p: p.stem)
def test_no_module_calls_what_hangs_on_the_processor(path: Path) -> None:
    """Only exact.py does, and rounds what comes of it: a new call elsewhere fails here."""
    found = {
        f"{node.lineno}: {node.attr}"
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Attribute)
        and isinstance(node.value, ast.Name)
        and node.value.id in ("np", "numpy", "math")
        and node.attr in BY_KERNEL
    } | {
        f"{node.lineno}: @"
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, ast.MatMult)
    }
    assert (found == set()) == (path.stem != "exact"), found
