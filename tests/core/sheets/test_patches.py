"""Patches of putty: every piece once, within the time, by whole runs of courses."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_rig import JOINT, wall

from core.commission import Commission
from core.errors import Stopped
from core.patches import Patch, patches, seconds_each
from core.sheets.graph import JointGraph, joint_graph


def brickwork(
    width: float, height: float, fields: int = 1, seconds: float = 40.0
) -> tuple[Commission, JointGraph]:
    doc, layout = wall(width, height, fields=fields)
    doc = replace(doc, rates=replace(doc.rates, seconds_a_piece=seconds))
    return doc, joint_graph(doc, layout)


def patch_of(found: tuple[Patch, ...], n: int) -> np.ndarray:
    out = np.full(n, -1)
    for k, p in enumerate(found):
        out[p.which] = k
    return out


@given(
    st.floats(30, 500),
    st.floats(30, 300),
    st.integers(1, 3),
    st.floats(0.5, 2000),
    st.floats(1, 90),
)
@settings(max_examples=40, deadline=None)
def test_every_piece_is_in_one_patch_and_every_patch_within_the_time(
    width: float, height: float, fields: int, seconds: float, minutes: float
) -> None:
    doc, graph = brickwork(width, height, fields, seconds)
    doc = replace(doc, rates=replace(doc.rates, putty_minutes=minutes))
    found = patches(doc, graph)
    assert sorted(np.concatenate([p.which for p in found]).tolist()) == list(range(len(graph)))
    for p in found:
        assert p.seconds == pytest.approx(seconds * p.pieces)
        assert p.seconds <= 60 * minutes * (1 + 1e-9) or p.pieces == 1
    # two that lie side by side and could be laid as one are one
    of = patch_of(found, len(graph))
    for a, b in {(int(of[a]), int(of[b])) for a, b in zip(graph.a, graph.b, strict=True)}:
        assert a == b or found[a].seconds + found[b].seconds > 60 * minutes


@given(st.floats(40, 340), st.floats(40, 200), st.integers(1, 3))
@settings(max_examples=25, deadline=None)
def test_a_course_that_can_be_laid_in_the_time_is_in_one_patch(
    width: float, height: float, fields: int
) -> None:
    doc, graph = brickwork(width, height, fields)
    of = patch_of(patches(doc, graph), len(graph))
    for f in range(fields):
        for c in np.unique(graph.course[graph.field == f]):
            run = of[(graph.field == f) & (graph.course == c)]
            assert len(run) > 30 or len(np.unique(run)) == 1


def test_twenty_minutes_at_forty_seconds_are_thirty_pieces() -> None:
    doc, graph = brickwork(100 * 11.5, 11.5)  # one course of a hundred
    found = patches(doc, graph)
    assert [p.pieces for p in found] == [25, 25, 25, 25]
    for p in found:  # each a stretch of the course, in its order
        assert (np.diff(p.which) == 1).all()


def test_the_bed_of_all_patches_is_that_of_the_wall() -> None:
    doc, graph = brickwork(460.0, 230.0)
    found = patches(doc, graph)
    mm2 = sum(p.area_mm2 for p in found)
    assert mm2 == pytest.approx(460.0 * 230.0, rel=1e-6)
    # 3 mm of about 5 kg a m2 (common practice)
    assert sum(p.kg for p in found) == pytest.approx(5.0 * mm2 / 1e6)
    each = (10.0 + JOINT) ** 2
    assert found[0].area_mm2 == pytest.approx(found[0].pieces * each, rel=0.02)


def test_patches_are_laid_one_beside_another() -> None:
    doc, graph = brickwork(300.0, 300.0)
    found = patches(doc, graph)
    of = patch_of(found, len(graph))
    for k in range(1, len(found)):
        here = (of[graph.a] == k) | (of[graph.b] == k)
        other = np.where(of[graph.a] == k, of[graph.b], of[graph.a])[here]
        assert (other < k).any()
    assert len(found) <= 1.35 * math.ceil(sum(p.seconds for p in found) / 1200)


def test_figures_are_laid_before_their_ground_and_each_way_takes_its_time() -> None:
    doc, graph = brickwork(400.0, 100.0, fields=2)
    ground, figure = doc.fields
    doc = replace(doc, fields=(ground, figure.with_choices(motif="heron", opus="palladianum")))
    first = patches(doc, graph)[0]
    assert (graph.field[first.which] == 1).all()
    assert np.unique(seconds_each(doc, graph)).tolist() == [40.0, 60.0]
    assert first.pieces <= 20  # of 60 seconds in twenty minutes


def test_parts_of_a_field_that_lie_near_one_another_share_a_patch() -> None:
    doc, graph = brickwork(300.0, 60.0)
    apart = graph.only(np.flatnonzero(graph.course % 2 == 0)[::3])
    assert len(np.unique(apart.parts(np.zeros(len(apart), np.int64)))) > 1
    assert len(patches(doc, apart)) == 1


def test_nothing_has_no_patch_and_stop_is_heard() -> None:
    doc, graph = brickwork(100.0, 100.0)
    assert patches(doc, graph.only(np.empty(0, np.int64))) == ()
    with pytest.raises(Stopped):
        patches(doc, graph, lambda: True)
    _, layout = wall(100.0, 100.0)
    with pytest.raises(Stopped):
        joint_graph(doc, layout, lambda: True)
