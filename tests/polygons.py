"""Invented pieces of land for the tests of the fit: simple ones, awkward ones, and such as come out of rasters."""

import math

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import MultiPolygon, Point, Polygon, box


def waves(rng, count, low, high):
    """A smooth random field as a function of x and y in units of the land's size."""
    angle, number = rng.uniform(0, 2 * np.pi, count), rng.uniform(low, high, count)
    phase, height = rng.uniform(0, 2 * np.pi, count), rng.uniform(0.3, 1.0, count)
    kx, ky = number * np.cos(angle), number * np.sin(angle)

    def field(x, y):
        x, y = np.asarray(x)[..., None], np.asarray(y)[..., None]
        return (height * np.cos(2 * np.pi * (kx * x + ky * y) + phase)).sum(axis=-1) / math.sqrt(count)

    return field


def from_raster(seed, cells, *, level=0.25, low=0.8, high=3.5, size=400.0):
    """Stair-step land: cells on which a smooth field exceeds a level, all parts and holes."""
    from affine import Affine
    from rasterio.features import shapes

    field = waves(np.random.default_rng(seed), 14, low, high)
    at = (np.arange(cells) + 0.5) / cells
    mask = field(at[None, :], at[:, None]) < level
    transform = Affine(size / cells, 0, 0, 0, -size / cells, size)
    found = [shapely.geometry.shape(s) for s, _ in shapes(mask.astype("uint8"), mask=mask, transform=transform)]
    return shapely.union_all(found)


def blob(seed, corners, *, roughness=0.02, size=100.0):
    """Star-shaped land with bays and a rough outline."""
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, corners))
    radius = np.ones(corners)
    for n in (2, 3, 5, 9):
        radius += 0.55 / n * rng.uniform(0, 1) * np.cos(n * angle + rng.uniform(0, 2 * np.pi))
    radius = size * (0.3 + np.abs(radius)) * (1 + roughness * rng.normal(size=corners))
    return largest_part(Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])).buffer(0))


def largest_part(land):
    return max(land.geoms, key=lambda p: p.area) if isinstance(land, MultiPolygon) else land


def with_ponds(land, seed, count):
    """The same with round ponds cut out."""
    rng = np.random.default_rng(seed)
    x0, y0, x1, y1 = land.bounds
    reach = 0.06 * math.sqrt(land.area)
    ponds = [
        Point(rng.uniform(x0, x1), rng.uniform(y0, y1)).buffer(rng.uniform(0.2, 1) * reach, quad_segs=6)
        for _ in range(count)
    ]
    return shapely.difference(land, shapely.union_all(ponds))


def star(points, inner=0.45, size=100.0):
    angle = np.arange(2 * points) * math.pi / points
    radius = np.where(np.arange(2 * points) % 2, inner * size, size)
    return Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))


def comb(teeth):
    """A back with teeth whose gaps differ a little in width."""
    parts = [box(0, 0, 14.0 * teeth, 25)]
    parts += [box(14 * i, 20, 14 * i + 9 + 0.5 * ((7 * i) % 5), 70 + (11 * i) % 13) for i in range(teeth)]
    return shapely.union_all(parts)


def neck():
    """Two rooms of nearly the same size, joined by a passage."""
    return shapely.union_all(
        [Point(0, 0).buffer(50), box(0, -6, 160, 6), affinity.rotate(box(120, -44, 230, 44), 21, origin=(160, 0))]
    )


def ring(outer=100.0, inner=50.0, quad_segs=60):
    return Point(0, 0).buffer(outer, quad_segs=quad_segs).difference(Point(0, 0).buffer(inner, quad_segs=quad_segs))


def spiral(turns=3.0, width=24.0, points=400):
    angle = np.linspace(0.6, 2 * math.pi * turns, points)
    radius = 14 + 8 * angle
    line = shapely.LineString(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    return line.buffer(width / 2, quad_segs=4)


def u_shape():
    return shapely.union_all([box(0, 0, 36, 120), box(84, 0, 122, 120), box(0, 0, 122, 33)])


def lands():
    """Everything above by name: 3 to about 5,000 corners, holes, necks, combs, steps, rings, several parts."""
    return {
        "triangle": Polygon([(0, 0), (100, 0), (30, 80)]),
        "square": box(0, 0, 100, 100),
        "strip": box(0, 0, 1000, 40),
        "turned rectangle": affinity.rotate(box(0, 0, 180, 70), 33),
        "kite": Polygon([(0, 0), (60, -35), (160, 0), (60, 35)]),
        "L": shapely.union_all([box(0, 0, 100, 40), box(0, 0, 40, 100)]),
        "U": u_shape(),
        "cross": shapely.union_all([box(-100, -30, 100, 30), box(-30, -100, 30, 100)]),
        "rectangle with hole": box(0, 0, 200, 120).difference(box(90, 50, 110, 70)),
        "star": star(7),
        "comb": comb(12),
        "neck": neck(),
        "ring": ring(),
        "spiral": spiral(),
        "two parts": shapely.union_all([box(0, 0, 80, 60), affinity.rotate(box(100, 0, 190, 62), 10)]),
        "blob 40": blob(3, 40),
        "blob 300": blob(5, 300),
        "blob 2500": blob(8, 2500),
        "blob 5000 rough": blob(11, 5000, roughness=0.05),
        "ponds": with_ponds(blob(21, 200), 4, 12),
        "many ponds": with_ponds(box(0, 0, 300, 200), 9, 120),
        "steps 60": from_raster(1, 60),
        "steps 150": from_raster(2, 150),
        "steps 300": from_raster(6, 300, low=2.0, high=7.0),
        "steps 400 fine": from_raster(12, 400, low=4.0, high=12.0, level=0.4),
        "thin wedge": Polygon([(0, 0), (400, 10), (400, 60), (0, 2)]),
    }
