"""Paints the demo's sketch: wash, granulation, pencil and paper grain, by our own hand."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image, ImageDraw
from scipy import ndimage
from shapes import HEIGHT, WIDTH, Shape

PX, MARGIN = 2.0, 30.0  # pixels a mm, and the paper left round the work, mm
PAPER = np.array([247.0, 243.0, 233.0])


def noise(rng: np.random.Generator, shape: tuple[int, int], px: float) -> np.ndarray:
    """Return smooth noise of about one, features `px` wide."""
    small = rng.normal(size=(int(shape[0] / px) + 4, int(shape[1] / px) + 4))
    big = ndimage.zoom(small, px, order=3)[: shape[0], : shape[1]]
    return big / big.std()


def at(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    return [((x + MARGIN) * PX, (y + MARGIN) * PX) for x, y in points]


def draw(shapes: list[Shape]) -> bytes:
    """Return the sketch as JPEG."""
    rng = np.random.default_rng(7)
    h, w = int((HEIGHT + 2 * MARGIN) * PX), int((WIDTH + 2 * MARGIN) * PX)
    tooth = 0.6 * noise(rng, (h, w), 2.3) + 0.4 * noise(rng, (h, w), 5.0)
    cloud = noise(rng, (h, w), 120.0)
    bloom = noise(rng, (h, w), 38.0)
    wander = [1.3 * noise(rng, (h, w), 60.0) for _ in range(2)]
    y, x = np.mgrid[:h, :w].astype(float)
    paint = np.broadcast_to(PAPER, (h, w, 3)).copy()
    for n, s in enumerate(shapes):
        mask = Image.new("L", (w, h))
        ImageDraw.Draw(mask).polygon(at(s.outline), fill=255)
        # the brush does not quite follow the pencil
        sure = ndimage.map_coordinates(
            np.asarray(mask, float) / 255, [y + wander[0], x + wander[1]], order=1, mode="nearest"
        )
        sure = ndimage.gaussian_filter(sure, 0.9)
        rows, cols = np.nonzero(sure > 0.01)
        if not len(rows):
            continue
        y0, y1, x0, x1 = rows.min(), rows.max() + 1, cols.min(), cols.max() + 1
        part = (slice(y0, y1), slice(x0, x1))
        m = sure[part]
        run = np.linspace(0, 1, y1 - y0)[:, None] if not s.across else np.linspace(0, 1, x1 - x0)
        run = np.clip(run + 0.07 * bloom[part], 0, 1)
        stops = np.linspace(0, 1, len(s.wash)) if len(s.wash) > 1 else np.array([0.0])
        wash = np.array(s.wash, float)
        colour = np.stack([np.interp(run, stops, wash[:, k]) for k in range(3)], -1)
        colour = np.broadcast_to(colour, (*m.shape, 3))
        depth = ndimage.distance_transform_edt(m > 0.5)
        pigment = 1 + 0.06 * cloud[part] + 0.045 * bloom[part] + 0.05 * tooth[part]
        pigment = pigment + 0.16 * np.exp(-depth / 3.5)  # the wash dries darker at its edge
        thin = (255 - colour) * np.clip(pigment, 0.55, 1.5)[..., None]
        cover = (0.97 * m)[..., None]
        paint[part] = paint[part] * (1 - cover) + (255 - thin) * cover
        del n
    paint *= 1 + 0.012 * tooth[..., None]
    lead = Image.new("L", (w, h))
    pen = ImageDraw.Draw(lead)
    for s in shapes:
        # a shape in front rubs out the line behind it
        pen.polygon(at(s.outline), fill=0)
        line = np.array(at([*s.outline, s.outline[0]]))
        line = line + ndimage.gaussian_filter1d(rng.normal(0, 2.2, line.shape), 3, axis=0)
        pen.line([tuple(p) for p in line], fill=255, width=2)
    pressure = np.clip(0.42 + 0.14 * bloom + 0.22 * tooth, 0.08, 0.8)
    mark = ndimage.gaussian_filter(np.asarray(lead, float) / 255, 0.7) * pressure
    paint = paint * (1 - mark[..., None]) + 74 * mark[..., None]
    out = io.BytesIO()
    Image.fromarray(paint.clip(0, 255).astype(np.uint8)).save(out, "PNG", optimize=True)
    return out.getvalue()
