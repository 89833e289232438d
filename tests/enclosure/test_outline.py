"""The land's outline as the proof reads it, against plain walks along the rings and the hull's own corners."""

import numpy as np
import pytest
import shapely

from packpale.enclosure.proof.outline import outline
from polygons import blob, from_raster, with_ponds

SMALL = 9.0
SLACK, CAP = 1e-8 * SMALL, 0.5 * SMALL


def rings_of(edges):
    """Row numbers of each ring: an edge ends where the next of its ring starts."""
    ends = edges[:, :2] + edges[:, 2:4] * edges[:, 4:5]
    rings, first = [], 0
    for i in range(len(edges)):
        if np.allclose(ends[i], edges[first, :2], atol=1e-9):
            rings.append(range(first, i + 1))
            first = i + 1
    return rings


def plain_reach(edges, ring, i, way):
    """How far the line of an edge goes on beside the outline one way, and the height that takes, step by step."""
    x, y, tx, ty, length = edges[i, :5]
    begin = along = length if way > 0 else 0.0
    highest = 0.0
    at = ring.index(i)
    for step in range(1, min(len(ring), 400)):
        corner = edges[ring[(at + 1 + step if way > 0 else at - step) % len(ring)], :2]
        new = (corner[0] - x) * tx + (corner[1] - y) * ty
        height = (corner[1] - y) * tx - (corner[0] - x) * ty
        if (new - along) * way < 0 or not -SLACK <= height <= CAP:
            break
        along, highest = new, max(highest, height)
    return abs(along - begin), highest


@pytest.mark.parametrize(
    "land", [blob(5, 60), with_ponds(blob(21, 90), 4, 8), from_raster(1, 20), shapely.box(0, 0, 90, 70)]
)
def test_lines_reach_as_far_as_a_walk_along_the_ring(land):
    edges = outline(land, small=SMALL).edges
    rings = rings_of(edges)
    assert sum(map(len, rings)) == len(edges)
    farthest = 0.0
    for ring in rings:
        for i in ring:
            (back, deep), (on, high) = plain_reach(edges, ring, i, -1), plain_reach(edges, ring, i, 1)
            assert edges[i, 5:7] == pytest.approx([back, on], abs=1e-9)
            assert edges[i, 7] == pytest.approx(max(deep, high) + SLACK, abs=1e-12)
            farthest = max(farthest, back, on)
    # Along a ring of right angles no corner follows that is not far above the line or below it.
    assert farthest > SMALL or (edges[:, 2] * edges[:, 3] == 0).all()


@pytest.mark.parametrize("land", [blob(5, 60), from_raster(1, 20), shapely.box(0, 0, 90, 70)])
def test_lines_that_bound_all_land_are_those_with_no_corner_beyond(land):
    edges = outline(land, small=SMALL).edges
    to = edges[None, :, :2] - edges[:, None, :2]
    beyond = (to[:, :, 0] * edges[:, None, 3] - to[:, :, 1] * edges[:, None, 2]).max(axis=1)
    assert edges[:, 10].astype(bool).tolist() == (beyond <= SLACK).tolist()
    assert edges[:, 10].any()
