"""Reads the lines of a PDF page back in mm, by the operators of ISO 32000, and nothing of ours."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from pypdf import PdfReader
from pypdf.generic import ContentStream

MM = 25.4 / 72


def _matrix(v: list[float]) -> np.ndarray:
    a, b, c, d, e, f = v
    return np.array([[a, b, 0], [c, d, 0], [e, f, 1]])


def boxes(path: Path) -> list[tuple[float, float]]:
    """Return each page's width and height, mm."""
    out = []
    for page in PdfReader(str(path)).pages:
        unit = float(page.get("/UserUnit", 1)) * MM
        for name in ("cropbox", "trimbox", "artbox", "bleedbox"):
            assert getattr(page, name) == page.mediabox
        out.append((float(page.mediabox.width) * unit, float(page.mediabox.height) * unit))
    return out


def lines(path: Path, number: int) -> list[np.ndarray]:
    """Return every stroked or filled straight path of a page, (n, 2) mm from its upper left."""
    reader = PdfReader(str(path))
    page = reader.pages[number]
    unit = float(page.get("/UserUnit", 1)) * MM
    left, top = float(page.mediabox.left), float(page.mediabox.top)
    now, kept = np.eye(3), []
    found: list[np.ndarray] = []
    paths: list[list[tuple[float, float]]] = []
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        v = [float(x) for x in operands] if operator in (b"cm", b"m", b"l", b"re") else []
        if operator == b"q":
            kept.append(now)
        elif operator == b"Q":
            now = kept.pop()
        elif operator == b"cm":
            now = _matrix(v) @ now
        elif operator == b"m":
            paths.append([tuple(v)])
        elif operator == b"l":
            paths[-1].append(tuple(v))
        elif operator == b"h":
            paths[-1].append(paths[-1][0])
        elif operator == b"re":
            x, y, w, h = v
            paths.append([(x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y)])
        elif operator in (b"S", b"s", b"f", b"f*", b"B", b"B*", b"n"):
            for p in paths if operator != b"n" else ():
                xy = np.column_stack([np.array(p), np.ones(len(p))]) @ now
                found.append((xy[:, :2] - (left, top)) * (unit, -unit))
            paths = []
    return found
