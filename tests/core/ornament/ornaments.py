"""Bands of each kind and size for the tests of the ornaments."""

import shapely

from core.coverage import polygons_of
from core.ornament.bands import chequer, dentils, lozenges, meander, scales, triangles, wave
from core.ornament.strands import guilloche

BANDS = {
    "meander of one turn": meander(2, 1),
    "meander of two turns": meander(1, 2),
    "meander of three turns": meander(2, 3),
    "dentils": dentils(2),
    "chequer of two": chequer(2, 2),
    "chequer of three": chequer(1, 3),
    "triangles": triangles(4),
    "lozenges": lozenges(3),
    "scales": scales(3, 2),
    "wave": wave(3),
    "guilloche of two": guilloche(2, 2),
    "guilloche of two, bare": guilloche(3, 2, False),
    "guilloche of three": guilloche(2, 3),
    "guilloche of three, bare": guilloche(1, 3, False),
}

SLIT = 0.1  # pitches by which strands are thinned, so that it is seen which passes over


def roles(band, repeats=3, ends=False):
    """Return the band's shapes by role, the strands taken alike, with the ground."""
    whole = shapely.box(0, 0, band.length(repeats, ends), band.width)
    found = {}
    for f in (f for f in band.draw(repeats, ends) if f.role != "ground"):
        strand = f.role.startswith("strand")
        shape = shapely.buffer(f.shape, -SLIT) if strand else f.shape
        role = "strand" if strand else f.role
        found[role] = shapely.union(found.get(role, shapely.Polygon()), shape)
    found["ground"] = shapely.difference(whole, shapely.union_all(list(found.values())))
    return found


def differ(a, b):
    """Return the area by which shapes differ, lines left out."""
    return shapely.symmetric_difference(polygons_of(a), polygons_of(b), grid_size=1e-7).area
