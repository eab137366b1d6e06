"""Which side is which: small pictures of the layers, so that no sheet is glued on its face.

Each way of laying has two or three pictures, on the bench, carried and on the wall, each a stack of
layers with the side that is written on.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from core.drawing import BLACK, Paths, Rgb, Text
from core.lettering import LEAST_MM, fitted, wrapped

Floats = NDArray[np.float64]

WALL: Rgb = (196, 190, 180)
ADHESIVE: Rgb = (226, 222, 212)
GLASS: Rgb = (188, 214, 224)
PAPER: Rgb = (250, 236, 196)
FILM: Rgb = (222, 234, 240)
RED: Rgb = (176, 28, 28)
GREY: Rgb = (110, 110, 110)

_COLOURS = {
    "wall": WALL,
    "adhesive": ADHESIVE,
    "tesserae": GLASS,
    "paper": PAPER,
    "film": FILM,
    "cartoon": (255, 255, 255),
    "table": WALL,
}
BAR_MM = 3.9  # a layer's thickness on the page, with its name in it
HIGH_MM = 5 * BAR_MM
FACE_MM = 0.6
TITLE_MM, WORDS_MM = 3.0, 2.6
LEGEND = "Red: the side that is written on. Thick edge: the faces of the tesserae."


@dataclass(frozen=True, slots=True)
class Stack:
    """Layers from the lowest up, or from the wall outwards.

    `written_up` says whether the paper is written on its upper (outer) side, `faces_up` whether the
    faces of the tesserae are there.
    """

    title: str
    layers: tuple[str, ...]
    written_up: bool
    faces_up: bool


@dataclass(frozen=True, slots=True)
class Way:
    """One way of laying: its stacks and what is said of them."""

    stacks: tuple[Stack, ...]
    words: str


_ON_WALL = ("wall", "adhesive", "tesserae", "paper")
WAYS = {
    "direct": Way(
        (
            Stack("on the bench", ("table", "cartoon", "film", "tesserae", "paper"), True, True),
            Stack("on the wall", _ON_WALL, True, True),
        ),
        "Laid face up; paper pasted on the faces. Write on the paper's outer side: it is what you "
        "see on the wall. Adhesive goes to the bare backs.",
    ),
    "mirrored": Way(
        (
            Stack("on the bench", ("table", "paper", "tesserae"), True, False),
            Stack("on the wall", _ON_WALL, False, True),
        ),
        "Laid face down on the paper, over the mirrored drawing. On the wall you see the paper's "
        "other side: write the number there too.",
    ),
    "turned": Way(
        (
            Stack("on the bench", ("table", "cartoon", "film", "tesserae", "paper"), True, True),
            Stack("carried", ("paper", "tesserae"), False, False),
            Stack("on the wall", _ON_WALL, True, True),
        ),
        "Laid face up, papered, then turned over: carried backs up on its paper, where left and "
        "right are changed. On the wall you see the paper, as written.",
    ),
}


def pictures(
    laid: str, x_mm: float, y_mm: float, wide_mm: float
) -> tuple[list[Paths | Text], float]:
    """Return the pictures of a way of laying from a place down, and how high they are, mm.

    Parameters
    ----------
    laid : str
        One of `core.commission.WAYS_LAID`.
    """
    way = WAYS[laid]
    items: list[Paths | Text] = []
    each = wide_mm / len(way.stacks)
    for k, stack in enumerate(way.stacks):
        left = x_mm + k * each
        title, size = fitted(stack.title, TITLE_MM, each - 1, LEAST_MM, bold=True)
        items.append(Text(left, y_mm + TITLE_MM / 2, title, size, bold=True))
        upright = stack.layers[0] == "wall"
        items += _drawn(stack, upright, left, y_mm + TITLE_MM + 1.5, min(each - 3.0, 30.0))
    y = y_mm + TITLE_MM + 1.5 + HIGH_MM + 3.0
    for words in (way.words, LEGEND):
        for line in wrapped(words, WORDS_MM, wide_mm):
            items.append(Text(x_mm, y, line, WORDS_MM))
            y += 1.35 * WORDS_MM
    return items, y - y_mm


def _drawn(stack: Stack, upright: bool, x0: float, y0: float, long: float) -> list[Paths | Text]:
    """Return a stack in a room `HIGH_MM` high: upright from the left, lying from its foot."""
    long = HIGH_MM if upright else long

    def place(along: Floats, out: Floats) -> Floats:
        xy = (out, long - along) if upright else (along, HIGH_MM - out)
        return np.asarray(np.stack(xy, axis=1) + np.array([x0, y0]))

    items: list[Paths | Text] = []
    for k, layer in enumerate(stack.layers):
        low, top = k * BAR_MM, (k + 1) * BAR_MM
        blocks = 5 if layer == "tesserae" else 1
        edges = np.linspace(0, long, blocks + 1)
        gap = 0.3 if blocks > 1 else 0.0
        rings = [
            place(np.array([a + gap, b - gap, b - gap, a + gap]), np.array([low, low, top, top]))
            for a, b in pairwise(edges.tolist())
        ]
        items.append(Paths.of(rings, pen_mm=0.12, pen=GREY, fill=_COLOURS[layer]))
        if layer == "tesserae":
            side = top - FACE_MM / 2 if stack.faces_up else low + FACE_MM / 2
            faces = [
                place(np.array([a + gap, b - gap]), np.array([side, side]))
                for a, b in pairwise(edges.tolist())
            ]
            items.append(Paths.of(faces, closed=False, pen_mm=FACE_MM, pen=BLACK))
        if layer == "paper":
            side = top - 0.35 if stack.written_up else low + 0.35
            steps = np.arange(int((long - 0.6) / 0.9), dtype=np.float64)
            along, wave = 0.6 + 0.9 * steps, side + 0.25 * (1 - 2 * (steps % 2))
            items.append(Paths.of([place(along, wave)], closed=False, pen_mm=0.35, pen=RED))
        x, y = place(np.array([long / 2]), np.array([(low + top) / 2]))[0].tolist()
        items.append(Text(x, y, layer, 2.3, "middle", -90.0 if upright else 0.0))
    if upright:
        items += _eye(x0 + len(stack.layers) * BAR_MM + 1.5, y0 + long / 2)
    return items


def _eye(x: float, y: float) -> list[Paths | Text]:
    """Return an arrow from whoever looks to what they see."""
    shaft = np.array([[x + 1.2, y], [x + 5.0, y]])
    head = np.array([[x, y], [x + 1.8, y - 0.9], [x + 1.8, y + 0.9]])
    return [
        Paths.of([shaft], closed=False, pen_mm=0.3),
        Paths.of([head], pen=None, fill=BLACK),
        Text(x + 2.6, y - 2.4, "you", 2.3, "middle"),
    ]
