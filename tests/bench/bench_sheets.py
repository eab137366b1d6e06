"""Division into sheets beside a straight grid snapped to joints, on brickwork and a flowing wall.

python tests/bench/bench_sheets.py [PIECES ...]: 5,000 and 20,000 pieces where no size is given.
`straight` is the share of a seam that lies within a quarter of a tessera of a straight line for
eight tesserae or more, and so is seen; `contrast` the mean CIEDE2000 difference across a seam of
the demo's pieces over that across all joints (1: seams lie where anything lies); `uneven` the
spread of the sheets' areas over their mean.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TESTS = ("core/sheets", "core/laying", "bench")
sys.path[:0] = [str(ROOT), *(str(ROOT / "tests" / folder) for folder in TESTS)]

import numpy as np
from baseline_fields import many_fields
from scipy.spatial import cKDTree
from sheet_rig import wall

from core import archive
from core.colour.difference import ciede2000
from core.colour.wanted import stocked_lab
from core.commission import Commission, Sheeting
from core.pieces import Layout
from core.plan import Planner
from core.resources import asset
from core.sheets.divide import divide
from core.sheets.graph import Ints, JointGraph, joint_graph

REACH = 4.0  # tesserae to either side of a place of the seam
OFF = 0.25  # tesserae from a straight line


def straight_grid(graph: JointGraph, sheeting: Sheeting) -> Ints:
    """Return a grid of even cells, each piece in the cell that its middle lies in."""
    centre = graph.centre_mm
    low, size = centre.min(axis=0), np.ptp(graph.centre_mm, axis=0)
    drawn = np.ceil(size / (sheeting.width_mm, sheeting.height_mm))
    turned = np.ceil(size / (sheeting.height_mm, sheeting.width_mm))
    cells = min(drawn, turned, key=np.prod)
    at = np.minimum((centre - low) * cells / size, cells - 1).astype(np.int64)
    return np.unique(at[:, 0] * 10_000 + at[:, 1], return_inverse=True)[1]


def measured(graph: JointGraph, label: Ints, lab: np.ndarray | None) -> dict[str, float]:
    seam = (label[graph.a] != label[graph.b]) & (graph.length_mm > 0)
    at, length = graph.middle_mm[seam], graph.length_mm[seam]
    tessera = float(np.sqrt(np.median(graph.area_mm2)))
    near = cKDTree(at).query_ball_point(at, REACH * tessera)
    straight = 0.0
    for mine, mm in zip(near, length, strict=True):
        xy = at[mine] - at[mine].mean(axis=0)
        _, _, way = np.linalg.svd(xy, full_matrices=False)
        along, off = xy @ way[0], np.abs(xy @ way[-1])
        straight += mm * (np.ptp(along) > 1.7 * REACH * tessera and off.max() < OFF * tessera)
    area = np.bincount(label, graph.area_mm2)
    box = [
        np.ptp(graph.bounds[label == k].reshape(-1, 2, 2), axis=(0, 1)) for k in range(len(area))
    ]
    out = {
        "sheets": len(area),
        "seam m": length.sum() / 1000,
        "straight": straight / length.sum(),
        "uneven": area.std() / area.mean(),
        "largest mm": max(max(b) for b in box),
        "parts": int(graph.parts(label).max()) + 1,
    }
    if lab is not None:
        off = ciede2000(lab[graph.a], lab[graph.b])
        out["contrast"] = np.average(off[seam], weights=length) / np.average(
            off, weights=graph.length_mm
        )
    return out


def shown(name: str, doc: Commission, layout: Layout, lab: np.ndarray | None = None) -> None:
    begun = time.perf_counter()
    graph = joint_graph(doc, layout)
    joints = time.perf_counter() - begun
    begun = time.perf_counter()
    label = divide(graph, doc.sheeting, doc.seed)
    took = time.perf_counter() - begun
    print(f"{name}: {len(graph):,} pieces, joints found in {joints:.2f} s, divided in {took:.2f} s")
    for what, found in (
        ("along joints", label),
        ("straight grid", straight_grid(graph, doc.sheeting)),
    ):
        row = "  ".join(f"{k} {v:.3g}" for k, v in measured(graph, found, lab).items())
        print(f"  {what:14} {row}", flush=True)


def main() -> None:
    for pieces in [int(a) for a in sys.argv[1:]] or [5000, 20000]:
        side = float(np.sqrt(pieces) * 11.5)
        shown("Brickwork", *wall(side, side))
        doc = many_fields(9, pieces)
        planner = Planner()
        layout = planner.layout(doc, {})
        planner.close()
        shown("Flowing", doc, layout)
    work = archive.open_work(asset("demo/heron.emblema"))
    planner = Planner()
    layout = planner.layout(work.doc, work.images, kept=work.kept)
    planner.close()
    lab = np.nan_to_num(stocked_lab(work.doc.materials), nan=50.0)
    stock = np.concatenate([f.stock for f in layout.fields])
    shown("Demo", work.doc, layout, lab[stock])


if __name__ == "__main__":
    main()
