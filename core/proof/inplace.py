"""Shows a work in its place: in a photograph of the wall or on a plain one, a figure beside it.

The photograph is taken for a picture of a flat wall: four corners tell how the work's plane is
seen (a homography), and what the wall shows of the room's light falls on the work too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from core.colour.convert import LINEAR_OF_BYTE, srgb_from_linear
from core.proof.asked import WALLS, InPlace, Point, check_corners

Floats = NDArray[np.float64]
Pixels = NDArray[np.uint8]

FIGURE_MM: Final = 1700.0
STANDS_OFF_MM: Final = 8.0  # bed and tessera: what throws the shadow
ASPECT: Final = 1.66  # of the plain wall, as it stands on a lying page
PLAIN_PX: Final = 2000  # its width
FLOOR_MM: Final = 350.0  # of floor below it at least
_SEE: Final = 2  # samples a pixel, across and down


def to_photograph(size_mm: tuple[float, float], place: InPlace) -> Floats:
    """Return the homography (3, 3) that takes mm of the work to pixels of the photograph."""
    from skimage.transform import ProjectiveTransform

    check_corners(place.corners_px)
    wide, high = size_mm
    flat = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], float)
    seen = ProjectiveTransform.from_estimate(flat, np.array(place.corners_px))
    return np.asarray(seen.params, np.float64)


def carried(h: Floats, points: Floats) -> Floats:
    """Return points (n, 2) carried by a homography."""
    out = np.column_stack([points, np.ones(len(points))]) @ h.T
    return np.asarray(out[:, :2] / out[:, 2:])


def px_per_mm(size_mm: tuple[float, float], place: InPlace) -> float:
    """Return how finely a work is best drawn for the photograph: as fine as it is seen nearest."""
    c = np.asarray(place.corners_px, float)
    sides = np.hypot(*(np.roll(c, -1, 0) - c).T)
    return float(max(max(sides[0], sides[2]) / size_mm[0], max(sides[1], sides[3]) / size_mm[1]))


def placed(
    photograph: Pixels,
    work: Pixels,
    size_mm: tuple[float, float],
    place: InPlace,
    outline: shapely.Geometry | None = None,
) -> Pixels:
    """Return the photograph with the work on its wall.

    Parameters
    ----------
    photograph, work : uint8 (h, w, 3), sRGB
        The work's picture shows its finished size from edge to edge.
    outline : polygon in mm, optional
        Where there is anything of the work; the whole of it where left out.

    Raises
    ------
    EmblemaError
        The corners do not go round a convex figure.
    """
    out = _linear(photograph)
    h = to_photograph(size_mm, place)
    shape = shapely.box(0, 0, *size_mm) if outline is None else outline
    _darken(out, _shadow(size_mm, place, shape), h, size_mm)
    if place.figure:
        _stand(out, h, size_mm, place)
    light = _light_of(photograph, place)
    _lay_on(out, work, shape, h, size_mm, light)
    return _bytes(out)


def plain_px_per_mm(size_mm: tuple[float, float], floor_mm: float = 900.0) -> float:
    """Return how finely a work is seen on the plain wall, which has room for it and a figure."""
    high = max(floor_mm + size_mm[1] + 350.0, FIGURE_MM + 450.0) + FLOOR_MM
    return PLAIN_PX / max(size_mm[0] + 2 * 800.0, high * ASPECT)


def on_plain_wall(
    work: Pixels,
    size_mm: tuple[float, float],
    outline: shapely.Geometry | None = None,
    *,
    floor_mm: float = 900.0,
    light_deg: float = -45.0,
) -> Pixels:
    """Return the work on a plain wall above a floor, as seen from straight before it."""
    wide, high = size_mm
    by = plain_px_per_mm(size_mm, floor_mm)
    columns = PLAIN_PX
    rows = round(columns / ASPECT)
    floor = round(rows - max(0.12 * rows, FLOOR_MM * by))
    room_wide, room_high = columns / by, floor / by
    wall = np.linspace(0.97, 0.90, rows)[:, None] * np.linspace(0.96, 1.0, columns)[None, :]
    photograph = np.clip(np.stack([wall * c for c in (0.935, 0.925, 0.90)], 2), 0, 1)
    photograph[floor:] *= np.array([0.80, 0.74, 0.66])
    photograph[floor - 2 : floor + 1] *= 0.8
    left = (room_wide - wide) / 2 * by
    top = (room_high - floor_mm - high) * by
    right, bottom = left + wide * by, top + high * by
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    plain = InPlace("", corners, "white", light_deg, 0.0, floor_mm)
    return placed(np.rint(255 * photograph).astype(np.uint8), work, size_mm, plain, outline)


# Both ways by table: a photograph has millions of pixels, but few levels.
_LEVELS: Final = 65_535
_SRGB: Final = np.asarray(
    np.rint(255 * srgb_from_linear(np.arange(_LEVELS + 1) / _LEVELS)), np.uint8
)


def _linear(pixels: Pixels) -> Floats:
    return np.asarray(LINEAR_OF_BYTE[pixels], np.float64)


def _bytes(linear: Floats) -> Pixels:
    levels = np.clip(linear * _LEVELS + 0.5, 0, _LEVELS).astype(np.uint16)
    return np.asarray(_SRGB[levels], np.uint8)


def _light_of(photograph: Pixels, place: InPlace) -> Floats:
    """Return what falls on the work, (h, w, 3) linear, 1 for plain daylight.

    What the wall shows where the work will lie, without its fine detail, over how much of the
    light such a wall throws back.
    """
    from skimage.filters import gaussian
    from skimage.transform import resize

    high, wide = photograph.shape[:2]
    small = max(1, round(max(high, wide) / 400))
    seen = _linear(photograph[::small, ::small])
    mask = Image.new("L", (seen.shape[1], seen.shape[0]))
    corners = [(x / small, y / small) for x, y in place.corners_px]
    ImageDraw.Draw(mask).polygon(corners, fill=255)
    inside = np.asarray(mask, bool)
    if not inside.any():
        return np.ones((high, wide, 3))
    # sockets and joints of old tiles are not light: what is darkest and brightest is left out
    grey = seen.mean(2)
    low, up = np.percentile(grey[inside], [20, 95])
    weight = (inside & (grey >= low) & (grey <= up)).astype(float) + 1e-6 * inside
    spread = 0.15 * math.sqrt(float(inside.sum()))
    held = gaussian(weight, spread, mode="constant") + 1e-12
    light = np.stack(
        [gaussian(seen[..., k] * weight, spread, mode="constant") / held for k in range(3)], 2
    )
    light = np.clip(light / WALLS[place.wall], 0.02, 3.0)
    light = 1 + place.room_light * (light - 1)
    return np.asarray(resize(light, (high, wide, 3), order=1, mode="edge", anti_aliasing=False))


def _window(h: Floats, mm: Floats, shape: tuple[int, ...]) -> tuple[slice, slice] | None:
    """Return the part of a photograph that a rectangle of the work's plane is seen in."""
    seen = carried(h, mm)
    x0, y0 = np.floor(seen.min(0)).astype(int) - 1
    x1, y1 = np.ceil(seen.max(0)).astype(int) + 2
    rows, columns = slice(max(y0, 0), min(y1, shape[0])), slice(max(x0, 0), min(x1, shape[1]))
    if rows.start >= rows.stop or columns.start >= columns.stop:
        return None
    return rows, columns


def _seen(
    of: Sequence[Floats],
    origin_mm: Point,
    per_mm: float,
    h: Floats,
    rows: slice,
    columns: slice,
) -> list[Floats]:
    """Return rasters of the work's plane, each (h, w), as a part of the photograph shows them:
    each pixel the mean of some samples, nought outside.
    """
    from scipy import ndimage

    back = np.asarray(np.linalg.inv(h), np.float64)
    step = (np.arange(_SEE) + 0.5) / _SEE
    v, u = np.mgrid[rows, columns]
    out = [np.zeros(u.shape) for _ in of]
    for dy in step:
        for dx in step:
            mm = carried(back, np.column_stack([u.ravel() + dx, v.ravel() + dy]))
            at = ((mm - origin_mm) * per_mm - 0.5).T[::-1]
            for total, raster in zip(out, of, strict=True):
                total += ndimage.map_coordinates(raster, at, order=1).reshape(u.shape)
    return [total / _SEE**2 for total in out]


def _mask(
    shape: shapely.Geometry, origin_mm: Point, size_px: tuple[int, int], per_mm: float
) -> Floats:
    """Return where a shape in mm lies, 0 to 1, as a raster of so many columns and rows."""
    fine = 4
    image = Image.new("L", (size_px[0] * fine, size_px[1] * fine))
    draw = ImageDraw.Draw(image)
    for part in shapely.get_parts(shape):
        if part.geom_type != "Polygon":
            continue
        for ring, fill in [(part.exterior, 255), *((r, 0) for r in part.interiors)]:
            xy = (np.asarray(ring.coords)[:, :2] - origin_mm) * per_mm * fine
            draw.polygon([(x, y) for x, y in xy.tolist()], fill=fill)
    reduced = image.reduce(fine)
    return np.asarray(reduced, float) / 255.0


def _shadow(size_mm: tuple[float, float], place: InPlace, shape: shapely.Geometry) -> Floats:
    """Return how much darker the wall is about the work, as a raster of 1 pixel in 4 mm or more."""
    from scipy import ndimage

    per_mm = _shadow_per_mm(size_mm)
    margin = _MARGIN_MM
    size = (
        math.ceil((size_mm[0] + 2 * margin) * per_mm),
        math.ceil((size_mm[1] + 2 * margin) * per_mm),
    )
    away = math.radians(place.light_deg)
    cast = (-math.sin(away) * 1.2 * STANDS_OFF_MM, math.cos(away) * 1.2 * STANDS_OFF_MM)
    near = _mask(shape, (-margin - cast[0], -margin - cast[1]), size, per_mm)
    tight = ndimage.gaussian_filter(near, 5.0 * per_mm)
    wide = ndimage.gaussian_filter(near, 22.0 * per_mm)
    return 0.34 * tight + 0.16 * wide


_MARGIN_MM: Final = 90.0


def _shadow_per_mm(size_mm: tuple[float, float]) -> float:
    return min(0.5, 900.0 / max(size_mm))


def _darken(out: Floats, shadow: Floats, h: Floats, size_mm: tuple[float, float]) -> None:
    m = _MARGIN_MM
    wide, high = size_mm
    corners = np.array([[-m, -m], [wide + m, -m], [wide + m, high + m], [-m, high + m]])
    window = _window(h, corners, out.shape)
    if window is None:
        return
    (seen,) = _seen([shadow], (-m, -m), _shadow_per_mm(size_mm), h, *window)
    out[window] *= (1 - seen)[..., None]


def _lay_on(
    out: Floats,
    work: Pixels,
    shape: shapely.Geometry,
    h: Floats,
    size_mm: tuple[float, float],
    light: Floats,
) -> None:
    wide, high = size_mm
    window = _window(h, np.array([[0, 0], [wide, 0], [wide, high], [0, high]], float), out.shape)
    if window is None:
        return
    per_mm = work.shape[1] / wide
    alpha = _mask(shape, (0.0, 0.0), (work.shape[1], work.shape[0]), per_mm)
    linear = _linear(work)
    inked = [linear[..., k] * alpha for k in range(3)]
    share, *seen = _seen([alpha, *inked], (0.0, 0.0), per_mm, h, *window)
    for k in range(3):
        out[(*window, k)] *= 1 - share
        out[(*window, k)] += seen[k] * light[(*window, k)]


def figure(height_mm: float = FIGURE_MM) -> shapely.Geometry:
    """Return a standing figure, its soles at y = 0 and its middle at x = 0, y downwards.

    Heights are the usual eighths of the drawing school: the head is one, the shoulders lie at
    six and two thirds, the hips at four (common practice).
    """
    e = height_mm / 8
    half = np.array(
        [
            *((0.0, 7.1), (0.17, 7.06), (0.19, 6.76), (0.3, 6.66), (0.8, 6.52), (0.98, 6.3)),
            *((1.02, 5.6), (1.05, 4.9), (1.14, 4.1), (1.16, 3.72), (1.08, 3.5), (1.0, 3.62)),
            *((0.94, 4.0), (0.84, 4.8), (0.78, 5.5), (0.74, 5.72), (0.7, 5.5), (0.6, 4.9)),
            *((0.66, 4.35), (0.7, 3.8), (0.66, 2.9), (0.54, 2.0), (0.56, 1.5), (0.4, 0.4)),
            *((0.46, 0.14), (0.62, 0.0), (0.14, 0.0), (0.13, 0.4), (0.16, 1.5), (0.12, 2.2)),
            *((0.04, 3.6), (0.0, 3.7)),
        ]
    )
    outline = np.vstack([half, (half * (-1, 1))[::-1]])
    for _ in range(3):  # corners cut by quarters come near a smooth curve (Chaikin 1974)
        on = np.roll(outline, -1, 0)
        outline = np.stack([0.75 * outline + 0.25 * on, 0.25 * outline + 0.75 * on], 1)
        outline = outline.reshape(-1, 2)
    turn = np.linspace(0, 2 * math.pi, 64, endpoint=False)
    head = np.column_stack([0.34 * np.sin(turn), 7.46 + 0.5 * np.cos(turn)])
    shapes = [shapely.Polygon(np.asarray(ring) * (e, -e)).buffer(0) for ring in (outline, head)]
    return shapely.union_all(shapes)


def _stand(out: Floats, h: Floats, size_mm: tuple[float, float], place: InPlace) -> None:
    """Stand a figure beside the work, on its right where there is room, else on its left."""
    wide, high = size_mm
    floor = high + place.floor_mm
    for x in (wide + 480.0, -480.0):
        body = shapely.affinity.translate(figure(), x, floor)
        x0, y0, x1, y1 = shapely.bounds(body).tolist()
        corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
        at = np.column_stack([corners, np.ones(4)]) @ h.T
        if (at[:, 2] <= 0).any():
            continue  # behind the eye
        seen = carried(h, corners)
        if seen[:, 0].min() >= 0 and seen[:, 0].max() <= out.shape[1]:
            break
    else:
        return
    window = _window(h, corners, out.shape)
    if window is None:
        return
    per_mm = 0.5
    size = (math.ceil((x1 - x0) * per_mm) + 1, math.ceil((y1 - y0) * per_mm) + 1)
    (seen_body,) = _seen([_mask(body, (x0, y0), size, per_mm)], (x0, y0), per_mm, h, *window)
    share = 0.5 * seen_body
    grey = np.array([0.16, 0.17, 0.19])
    out[window] = out[window] * (1 - share)[..., None] + grey * share[..., None]
