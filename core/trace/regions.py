"""The areas of a picture: its colours, and what is too small or thin for an area of its own."""

from __future__ import annotations

import heapq
from collections import defaultdict

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from core.colour.difference import ciede2000

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_COLOURS = 16
ENOUGH = 3.0  # mean CIEDE2000 of the picture to its colours at which there are enough of them,
FAR = 9.0  # where no more than
SIDE_PX = 4  # to either side of a border, where its step is looked for
FEW = 0.01  # of it lies further off than FAR


def clustered(lab: Array, colours: int | None, smooth: float) -> Ints:
    """Return each pixel's colour number; borders lie where two colours are equally near."""
    from scipy.cluster.vq import kmeans2

    rng = np.random.default_rng(1)
    flat = lab.reshape(-1, 3)
    sample = flat[rng.choice(len(flat), min(len(flat), 12_000), replace=False)]
    spread = float(np.sqrt(sample.var(axis=0).sum()))
    if spread < 1.0:
        return np.zeros(lab.shape[:2], np.int64)
    tries = [colours] if colours else range(3, MOST_COLOURS + 1)
    centres = sample[:1]
    for k in tries:
        found = min(
            (kmeans2(sample, k, minit="++", seed=s, missing="warn", iter=20) for s in (1, 2)),
            key=lambda r: float(((sample - r[0][r[1]]) ** 2).sum()),
        )
        centres = found[0][np.unique(found[1])]
        off = ciede2000(sample, found[0][found[1]])
        if float(off.mean()) < ENOUGH and float((off > FAR).mean()) < FEW:
            break
    centres = _unlike(centres)
    best = np.full(lab.shape[:2], np.inf)
    label = np.zeros(lab.shape[:2], np.int64)
    for n, centre in enumerate(centres):
        # how ill the colour fits around here, not only at the pixel: grain does not decide
        misfit = np.minimum(((lab - centre) ** 2).sum(-1), 900.0)
        misfit = ndimage.gaussian_filter(misfit, 1.0 + smooth)
        better = misfit < best
        label[better], best[better] = n, misfit[better]
    return label


def _unlike(centres: Array, least: float = 3.0) -> Array:
    """Leave out colours that the eye would hardly tell from one already there."""
    kept: list[Array] = []
    for c in centres:
        if not kept or float(ciede2000(c, np.array(kept)).min()) > least:
            kept.append(c)
    return np.array(kept)


def connected(labels: Ints) -> Ints:
    """Return the number of each connected region of one label, from 0."""
    from skimage.measure import label

    return np.asarray(label(labels, background=-1, connectivity=1) - 1, np.int64)


def without_faint_borders(
    regions: Ints, lab: Array, least: float, parts: Ints | None = None
) -> Ints:
    """Return regions joined where the picture shows no edge between them.

    A wash that runs from light to dark is parted by its colours where nobody sees a line. The step
    between two regions is the mean CIEDE2000 between places a few pixels to either side of their
    border; the faintest is joined first. Where `parts` are given, regions in two of them stay so.
    """
    length: dict[int, dict[int, float]] = defaultdict(dict)
    sum_of: dict[int, dict[int, float]] = defaultdict(dict)
    soft = np.stack([ndimage.uniform_filter(lab[..., k], 3) for k in range(3)], 2)
    for axis in (0, 1):
        one, other = np.moveaxis(regions, axis, 0)[:-1], np.moveaxis(regions, axis, 0)[1:]
        r, c = np.nonzero(one != other)
        seen = np.moveaxis(soft, axis, 0)
        step = ciede2000(
            seen[np.maximum(r - SIDE_PX, 0), c], seen[np.minimum(r + 1 + SIDE_PX, len(seen) - 1), c]
        )
        step = np.minimum(step, 2 * least)  # most of a border decides, not a strong bit of it
        if parts is not None:
            part = np.moveaxis(parts, axis, 0)
            step += np.where(part[r, c] != part[r + 1, c], 1e3, 0.0)
        pair = np.sort(np.stack([one[r, c], other[r, c]]), axis=0)
        pairs, which = np.unique(pair, axis=1, return_inverse=True)
        sums, counts = np.bincount(which.ravel(), step), np.bincount(which.ravel())
        for (i, j), total, n in zip(pairs.T.tolist(), sums.tolist(), counts.tolist(), strict=True):
            for a, b in ((i, j), (j, i)):
                sum_of[a][b] = sum_of[a].get(b, 0.0) + total
                length[a][b] = length[a].get(b, 0.0) + n
    owner = np.arange(int(regions.max()) + 1)
    queue = [(sum_of[i][j] / length[i][j], i, j) for i in sum_of for j in sum_of[i] if i < j]
    heapq.heapify(queue)
    while queue and queue[0][0] < least:
        step_of, i, j = heapq.heappop(queue)
        if owner[i] != i or owner[j] != j or step_of != sum_of[i][j] / length[i][j]:
            continue
        owner[i] = j
        for k in sum_of.pop(i):
            total, n = sum_of[k].pop(i), length[k].pop(i)
            if k == j:
                continue
            for a, b in ((j, k), (k, j)):
                sum_of[a][b] = sum_of[a].get(b, 0.0) + total
                length[a][b] = length[a].get(b, 0.0) + n
            a, b = min(j, k), max(j, k)
            heapq.heappush(queue, (sum_of[a][b] / length[a][b], a, b))
    return _owned(owner)[regions]


def _owned(owner: Ints) -> Ints:
    """Return who owns each in the end, where an owner may be owned by another."""
    while (owner != owner[owner]).any():
        owner = owner[owner]
    return owner


def without_specks(regions: Ints, lab: Array, smallest_px: float) -> Ints:
    """Return region numbers; small or thin regions are given to the neighbour most like them."""
    n = int(regions.max()) + 1
    area = np.bincount(regions.ravel(), minlength=n).astype(float)
    mean = np.stack(
        [np.bincount(regions.ravel(), lab[..., k].ravel(), n) / area for k in range(3)], axis=1
    )
    shared: dict[int, dict[int, int]] = defaultdict(dict)
    perimeter = np.zeros(n)
    for a, b in ((regions[:, :-1], regions[:, 1:]), (regions[:-1], regions[1:])):
        apart = a != b
        pairs, count = np.unique(np.stack([a[apart], b[apart]]), axis=1, return_counts=True)
        for (i, j), c in zip(pairs.T, count, strict=True):
            shared[int(i)][int(j)] = shared[int(i)].get(int(j), 0) + int(c)
            shared[int(j)][int(i)] = shared[int(j)].get(int(i), 0) + int(c)
    for i, near in shared.items():
        perimeter[i] = sum(near.values())
    thin = 0.18 * np.sqrt(smallest_px)

    def small(i: int) -> bool:
        narrow = 2 * area[i] / max(perimeter[i], 1.0) < thin
        return bool(area[i] < smallest_px or (narrow and area[i] < 20 * smallest_px))

    owner = np.arange(n)
    queue = [(area[i], i) for i in range(n) if small(i)]
    heapq.heapify(queue)
    while queue:
        size, i = heapq.heappop(queue)
        if owner[i] != i or size != area[i] or not shared[i] or not small(i):
            continue
        beside = list(shared[i])
        unlike = ciede2000(mean[i], mean[beside])
        j = beside[
            int(np.argmax([shared[i][k] / (4.0 + d) for k, d in zip(beside, unlike, strict=True)]))
        ]
        mean[j] = (mean[j] * area[j] + mean[i] * area[i]) / (area[j] + area[i])
        area[j] += area[i]
        owner[i] = j
        for k, c in shared.pop(i).items():
            shared[k].pop(i)
            if k != j:
                shared[j][k] = shared[j].get(k, 0) + c
                shared[k][j] = shared[k].get(j, 0) + c
        perimeter[j] = sum(shared[j].values())
        if small(j):
            heapq.heappush(queue, (area[j], j))
    return _owned(owner)[regions]
