"""The client's sketch: brought in upright and in sRGB, made true to size, laid on the work."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from core.commission import Commission, Point, Sketch
from core.errors import EmblemaError
from core.pictures import as_kept, read_image, read_picture

KEPT_PX = 4000  # longest side that is kept; finer than any tessera needs

Images = dict[str, bytes]


def import_sketch(
    doc: Commission, source: bytes | Path, name: str
) -> tuple[Commission, Images, tuple[str, ...]]:
    """Take a picture in as the commission's sketch, fitted to the finished width.

    A picture with a likely resolution of its own (a scan) comes in at its own size where that is
    about the size of the work; else it is fitted. Large pictures are brought down; their size in
    mm stays.

    Returns
    -------
    doc, images, notes
        The new document, the one picture that it needs, by its key, and what the user should know
        of how it was read.
    """
    read = read_picture(source, name)
    picture = Image.fromarray(read.pixels)
    step = max(picture.size) / KEPT_PX
    if step > 1:
        # to whole pixels of one and the same size across and down: what is left over is cut off
        size = (max(1, int(picture.width / step + 1e-9)), max(1, int(picture.height / step + 1e-9)))
        box = (0.0, 0.0, min(size[0] * step, picture.width), min(size[1] * step, picture.height))
        picture = picture.resize(size, Image.Resampling.LANCZOS, box=box)
    sketch, images = _kept(picture)
    mm_per_px = doc.width_mm / sketch.width_px
    if read.dots_per_mm:
        own = read.reduced * max(step, 1.0) / read.dots_per_mm
        across = own * max(picture.size) / max(doc.width_mm, doc.height_mm)
        if 0.8 < across < 1.25:
            mm_per_px = own
    return replace(doc, sketch=replace(sketch, mm_per_px=mm_per_px)), images, read.notes


def _kept(picture: Image.Image) -> tuple[Sketch, Images]:
    key, data = as_kept(picture)
    return Sketch(key, picture.width, picture.height, 1.0), {key: data}


def _sketch(doc: Commission) -> Sketch:
    if doc.sketch is None:
        raise EmblemaError("There is no sketch yet: bring one in first.")
    return doc.sketch


def scale_by_width(doc: Commission, width_mm: float) -> Commission:
    """Make the sketch so wide, its upper left corner kept."""
    sketch = _sketch(doc)
    if not 1.0 <= width_mm <= 100_000:
        raise EmblemaError(f"The sketch cannot be {width_mm:g} mm wide.")
    return replace(doc, sketch=replace(sketch, mm_per_px=width_mm / sketch.width_px))


def scale_by_points(doc: Commission, a_mm: Point, b_mm: Point, length_mm: float) -> Commission:
    """Make the distance between two places on the sketch a known length; the first place stays."""
    sketch = _sketch(doc)
    now = math.dist(a_mm, b_mm)
    if now < 1e-6:
        raise EmblemaError("Mark two different points on the sketch.")
    if not 0.1 <= length_mm <= 100_000:
        raise EmblemaError(f"A length of {length_mm:g} mm cannot be used.")
    by = length_mm / now
    ox, oy = sketch.origin_mm
    origin = (a_mm[0] + by * (ox - a_mm[0]), a_mm[1] + by * (oy - a_mm[1]))
    return replace(doc, sketch=replace(sketch, mm_per_px=sketch.mm_per_px * by, origin_mm=origin))


def place_sketch(
    doc: Commission, origin_mm: Point | None = None, turn_rad: float | None = None
) -> Commission:
    """Move the sketch's upper left corner, or turn the sketch about it."""
    sketch = _sketch(doc)
    if origin_mm is not None:
        sketch = replace(sketch, origin_mm=(float(origin_mm[0]), float(origin_mm[1])))
    if turn_rad is not None:
        sketch = replace(sketch, turn_rad=float(turn_rad))
    return replace(doc, sketch=sketch)


def straighten(
    doc: Commission,
    images: Mapping[str, bytes],
    corners_mm: Sequence[Point],
    width_mm: float,
    height_mm: float,
) -> tuple[Commission, Images]:
    """Take the view out of a sketch photographed at an angle.

    Parameters
    ----------
    corners_mm : four points
        Where the corners of a rectangle on the paper now lie: upper left, upper right, lower
        right, lower left.
    width_mm, height_mm : float
        That rectangle's true size. It becomes the whole sketch.

    Raises
    ------
    EmblemaError
        The corners do not enclose a convex figure.
    """
    from skimage.transform import ProjectiveTransform

    sketch = _sketch(doc)
    corners = np.asarray(corners_mm, float)
    edges = np.roll(corners, -1, 0) - corners
    turns = edges[:, 0] * np.roll(edges, -1, 0)[:, 1] - edges[:, 1] * np.roll(edges, -1, 0)[:, 0]
    if corners.shape != (4, 2) or not ((turns > 1e-6).all() or (turns < -1e-6).all()):
        raise EmblemaError("Mark the four corners one after the other, round the sheet.")
    if min(width_mm, height_mm) < 1:
        raise EmblemaError("The straightened sketch needs a width and a height.")
    pixels = read_image(images[sketch.image], "sketch")
    at = to_px(sketch, corners)
    sides = np.hypot(*(np.roll(at, -1, 0) - at).T)
    across = min(max(sides[0], sides[2], 16.0), KEPT_PX, KEPT_PX * width_mm / height_mm)
    size = (max(2, round(across * height_mm / width_mm)), max(2, round(across)))
    flat = np.array([[0, 0], [size[1], 0], [size[1], size[0]], [0, size[0]]], float)
    to_photo = ProjectiveTransform.from_estimate(flat, at)
    new, kept = _kept(Image.fromarray(_seen_through(pixels, to_photo, size)))
    new = replace(new, mm_per_px=width_mm / new.width_px)
    return replace(doc, sketch=new), kept


def _seen_through(
    pixels: NDArray[np.uint8],
    to_photo: Callable[[NDArray[np.float64]], NDArray[np.float64]],
    size: tuple[int, int],
) -> NDArray[np.uint8]:
    """Return a picture of so many rows and columns, taken from another one, in bands of rows."""
    from scipy import ndimage

    out = np.empty((*size, 3), np.uint8)
    for top in range(0, size[0], 256):
        rows, columns = np.mgrid[top : min(top + 256, size[0]), 0 : size[1]]
        x, y = to_photo(np.stack([columns.ravel(), rows.ravel()], axis=1).astype(float)).T
        for k in range(3):
            seen = ndimage.map_coordinates(
                pixels[..., k], [y, x], np.float64, order=1, mode="nearest"
            )
            out[top : top + 256, :, k] = np.rint(seen).reshape(rows.shape)
    return out


def to_px(sketch: Sketch, xy_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return pixel coordinates (n, 2) of places on the work (n, 2) mm."""
    c, s = math.cos(sketch.turn_rad), math.sin(sketch.turn_rad)
    step = np.asarray(xy_mm, float) - np.asarray(sketch.origin_mm)
    return np.asarray(step @ np.array([[c, -s], [s, c]]) / sketch.mm_per_px)


def to_mm(sketch: Sketch, xy_px: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return places on the work (n, 2) mm of pixel coordinates (n, 2)."""
    c, s = math.cos(sketch.turn_rad), math.sin(sketch.turn_rad)
    turned = np.asarray(xy_px, float) * sketch.mm_per_px @ np.array([[c, s], [-s, c]])
    return np.asarray(turned + np.asarray(sketch.origin_mm))
