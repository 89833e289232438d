"""Fence lines, ground and packs for the tests of trenches, made without the rooms that make them in a run."""

import math

import numpy as np
from shapely.geometry import MultiPolygon, box

from packpale.earthworks.bulking import bulk
from packpale.earthworks.model import Volumes
from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Alignment, Enclosure, Fit, Gates, Pack, Posts
from packpale.settings import BulkingSettings, Project
from packpale.site import Grid, Site, Soil


def arcs_line(arcs, *, x, y, bearing_deg, step, elevation=None, start=0.0):
    """Stations on right-hand arcs [(radius, turn in degrees), ...] walked from a point in a direction.

    ``elevation`` is a function of x and y. Station 0 stands at chainage ``start``.
    """
    lengths = [radius * math.radians(turn) for radius, turn in arcs]
    n = math.ceil(sum(lengths) / step)
    step = sum(lengths) / n
    chainage = start + np.arange(n) * step
    columns = {name: np.zeros(n) for name in ("x", "y", "bearing", "radius", "arc")}
    begin, b0 = 0.0, math.radians(bearing_deg)
    for index, ((radius, turn), length) in enumerate(zip(arcs, lengths, strict=True)):
        # To the right of bearing b is (cos b, -sin b); the centre lies there.
        cx, cy = x + radius * math.cos(b0), y - radius * math.sin(b0)
        on = (chainage >= begin) & (chainage < begin + length)
        b = b0 + (chainage[on] - begin) / radius
        columns["x"][on], columns["y"][on] = cx - radius * np.cos(b), cy + radius * np.sin(b)
        columns["bearing"][on] = np.rad2deg(b) % 360
        columns["radius"][on], columns["arc"][on] = radius, index
        begin, b0 = begin + length, b0 + math.radians(turn)
        x, y = cx - radius * math.cos(b0), cy + radius * math.sin(b0)
    bearing = np.deg2rad(columns["bearing"])
    ground = elevation(columns["x"], columns["y"]) if elevation else np.zeros(n)
    return Alignment(
        chainage=chainage,
        step=step,
        x=columns["x"],
        y=columns["y"],
        bearing_deg=columns["bearing"],
        outward=np.column_stack([-np.cos(bearing), np.sin(bearing)]),
        arc=columns["arc"].astype(np.int8),
        radius=columns["radius"],
        ground=ground,
    )


def circle_line(radius, *, step, x=0.0, y=0.0, elevation=None):
    """A circle round (x, y), walked clockwise from its southern tip."""
    return arcs_line([(radius, 360.0)], x=x, y=y - radius, bearing_deg=270.0, step=step, elevation=elevation)


def egg_arcs(egg):
    """Radius and turn in degrees of the egg's arcs from the tip of the big end."""
    R, r, d = egg.big_radius, egg.small_radius, egg.centre_spacing
    F = (R**2 + d**2 - r**2) / (2 * (R - r))
    phi = math.degrees(math.atan2(d, F - R))
    return [(R, 90.0), (F, phi), (r, 180 - 2 * phi), (F, phi), (R, 90.0)]


def egg_line(egg, *, step, elevation=None, start=0.0):
    """Stations on an egg, walked clockwise from the tip of its big end."""
    axis = math.radians(egg.axis_bearing_deg)
    return arcs_line(
        egg_arcs(egg),
        x=egg.big_x - egg.big_radius * math.sin(axis),
        y=egg.big_y - egg.big_radius * math.cos(axis),
        bearing_deg=egg.axis_bearing_deg + 270.0,
        step=step,
        elevation=elevation,
        start=start,
    )


def length_of(line):
    return line.step * line.chainage.size


def site_of(elevation, *, half=100.0, cell=1.0, rock=100.0, water=100.0, centre=(0.0, 0.0)):
    """A site with cell centres on a square round ``centre``; each layer is a number or a function of x and y."""
    n = round(2 * half / cell)
    return site_on(Grid(centre[0] - half, centre[1] + half, cell, n, n), elevation, rock=rock, water=water)


def site_on(grid, elevation, *, rock=100.0, water=100.0, **features):
    """A site whose plot is all of a grid; each layer is a number, an array or a function of x and y."""
    x, y = np.meshgrid(*grid.centres())

    def layer(value):
        return np.broadcast_to(value(x, y) if callable(value) else value, grid.shape).astype(float)

    soil = Soil(
        depth_to_rock=layer(rock),
        rock_is_hard=np.ones(grid.shape, bool),
        water_table=layer(water),
        clay=layer(25.0),
        stones=layer(10.0),
        drainage_class=np.full(grid.shape, 2, np.int8),
        pit_distance=layer(np.inf),
    )
    return Site(
        plot_id="field",
        crs="EPSG:25832",
        outline=MultiPolygon([box(*grid.bounds)]),
        grid=grid,
        elevation=layer(elevation),
        inside=np.ones(grid.shape, bool),
        soil=soil,
        features=features,
    )


def plane(east=0.0, north=0.0, level=100.0):
    """Elevation of an inclined plane."""
    return lambda x, y: level + east * x + north * y


def pack_of(line, *, number=1, length_3d=None, posts=40, gates=2):
    """A pack round a line; its egg plays no part in what is tested with it."""
    zeros = np.zeros(posts)
    return Pack(
        number=number,
        fit=Fit(Egg(0.0, 0.0, 0.0, 20.0, 12.0, 18.0), 2000.0, 0.0),
        alignment=line,
        posts=Posts(zeros, zeros, zeros, zeros, zeros),
        gates=Gates(np.zeros(gates), np.zeros(gates), np.zeros(gates), 4.0),
        length_3d=length_of(line) if length_3d is None else length_3d,
        mean_suitability=0.5,
        mean_slope=0.0,
    )


def enclosure_of(*packs):
    return Enclosure(packs=packs, reason=None)


def project_of(**sections):
    """Settings with defaults but for the sections given as tables."""
    inputs = {"elevation": ["dem.tif"], "plots": "plots.gpkg", "plot_id": "name"}
    return Project.model_validate({"inputs": inputs, **sections})


def volumes_of(cut=100.0, *, soft=0.0, hard=0.0, wet=0.0, pack=1, bulking=None):
    """Volumes of a trench balanced as a run balances it."""
    bulking = bulking or BulkingSettings()
    rock = soft + hard
    b = bulk(
        cut=cut,
        rock=rock,
        soft_rock=soft,
        soil_swell=bulking.soil_swell,
        soil_shrink=bulking.soil_shrink,
        rock_swell=bulking.rock_swell,
        soft_rock_swell=bulking.soft_rock_swell,
    )
    return Volumes(
        pack=pack,
        fence_length=100.0,
        section_area=cut / 100,
        cut=cut,
        rock=rock,
        wet=wet,
        average_end_area=cut,
        backfill_compacted=b.backfill_compacted,
        import_compacted=b.import_compacted,
        cut_loose=b.cut_loose,
        surplus_loose=b.surplus_loose,
        stripped_area=0.0,
        cut_at_station=np.zeros(3),
        invert=np.zeros(3),
        soft_rock=soft,
        hard_rock=hard,
        surplus_soil_loose=b.surplus_soil_loose,
    )
