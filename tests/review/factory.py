"""A small invented plot taken through the computing rooms: a tilted plane with a hill and a hollow."""

import dataclasses
from pathlib import Path

import numpy as np
from shapely.geometry import LineString, MultiPolygon, Point, Polygon

from packpale.review.model import PlotResult
from packpale.review.words import Wording, plain
from packpale.settings import Project
from packpale.site import Grid, Pit, Site, Soil
from packpale.values.notes import Note, phrase
from packpale.values.quantity import given

CRS = "EPSG:32632"
HOSTILE = "<img src=x onerror=alert(1)></script><script>alert(2)</script>\"'&{{7*7}}{%x"
MENDED = Note("boundary repaired", "the plot's boundary crossed itself and was mended")
OF_THE_RUN = Note("coordinates", "a warning")
FORMULA = '=HYPERLINK("http://example.org")'


SCHEMAS = Path(__file__).parents[1] / "schemas"


class Plainly:
    """A wording whose figures have the plain signs that a page's text is compared in."""

    def __init__(self, wording):
        self._wording = wording

    def __getattr__(self, name):
        found = getattr(self._wording, name)

        def said(*values):
            text = found(*values)
            return plain(text) if isinstance(text, str) else text

        return said if callable(found) else found


SAID = Plainly(Wording(imperial=False, currency="EUR"))


def project(**sections):
    """Settings with the given sections; the input files are named but never opened here."""
    inputs = {"elevation": ["ground.tif"], "plots": "plots.gpkg", "plot_id": "name"}
    inputs |= {k: f"{k}.gpkg" for k in ("watercourses", "dwellings", "services", "woodland", "access")}
    return Project.model_validate({"title": "Invented estate", "inputs": inputs, **sections})


def site(
    plot_id="north field", *, west=500_000.0, north=5_500_000.0, side=220.0, cell=2.0, crs=CRS, more=None, standing=()
):
    """A square plot of ``side`` metres in the middle of a window with 40 m of ground round it.

    ``more`` holds further surroundings by kind, ``standing`` trees and boulders.
    """
    cells = round((side + 80) / cell)
    grid = Grid(west, north, cell, cells, cells)
    x, y = np.meshgrid(*grid.centres())
    u, v = x - west - side / 2 - 40, y - north + side / 2 + 40
    hill = 9 * np.exp(-((u - 60) ** 2 + (v - 50) ** 2) / 500)
    hollow = 2.5 * np.exp(-((u + 70) ** 2 + (v + 60) ** 2) / 220)
    corner = (west + 40, north - 40 - side)
    outline = Polygon(
        [corner, (corner[0] + side, corner[1]), (corner[0] + side, corner[1] + side), (corner[0], corner[1] + side)]
    )
    depth = np.full(grid.shape, 2.0)
    depth[:, : cells // 4] = 0.7
    soil = Soil(
        depth_to_rock=depth,
        rock_is_hard=np.ones(grid.shape, bool),
        water_table=np.full(grid.shape, 1.1),
        clay=np.full(grid.shape, 30.0),
        stones=np.full(grid.shape, 10.0),
        drainage_class=np.full(grid.shape, 3, np.int8),
        pit_distance=np.full(grid.shape, np.inf),
    )
    return Site(
        plot_id=plot_id,
        crs=crs,
        outline=MultiPolygon([outline]),
        grid=grid,
        elevation=300 + 0.06 * u + 0.03 * v + hill - hollow,
        inside=(np.abs(u) < side / 2) & (np.abs(v) < side / 2),
        soil=soil,
        features={
            "watercourses": (
                LineString([(corner[0] - 20, corner[1] + 20), (corner[0] + side + 20, corner[1] + 5)]),
                # It ends inside the fence.
                LineString([(corner[0] + 0.4 * side, corner[1] - 20), (corner[0] + 0.45 * side, corner[1] + side / 2)]),
            ),
            "dwellings": (Point(corner[0] + side + 30, corner[1] + side + 30),),
            "services": (),
            "woodland": (Point(corner[0] + 20, corner[1] + side).buffer(35),),
            "access": (LineString([(corner[0] - 30, corner[1] - 10), (corner[0] - 10, corner[1] + side)]),),
            **(more or {}),
        },
        standing=tuple(standing),
        notes=(MENDED,),
        pits=(
            Pit(corner[0] + 60, corner[1] + 90, {"depth_to_rock_m": 0.42, "stones_percent": 12.5}),
            Pit(corner[0] + 150, corner[1] + 40, {"drainage_class": "poorly", "water_table_m": 0.3}),
        ),
    )


def pack(ground, settings, line=None, number=1):
    """A line, by default an egg of 2.07 ha, staked out; no search, so that these tests hang on none."""
    from packpale.enclosure.alignment import length_on_ground, stations
    from packpale.enclosure.egg import Egg
    from packpale.enclosure.fence import posts
    from packpale.enclosure.gate_places import place_gates
    from packpale.enclosure.model import Fit, Pack

    grid, elevation = ground.grid, ground.elevation
    line = line or Egg(grid.west + 114.0, grid.north - 141.5, 123.0, 64.9, 32.5, 110.0)
    egg = isinstance(line, Egg)
    return Pack(
        number=number,
        fit=Fit(line, area_bound_m2=1.05 * line.area, fit_s=0.25) if egg else None,
        given=None if egg else line,
        alignment=stations(line, step=settings.trench.station_m, elevation=elevation, grid=grid),
        posts=posts(line, settings.fence.post_spacing_m, elevation, grid),
        # The first gate stands where the ground is gentlest, not nearest to the access.
        gates=place_gates(line, dataclasses.replace(ground, features={}), settings),
        length_3d=length_on_ground(line, elevation=elevation, grid=grid),
        mean_suitability=0.81,
        mean_slope=0.07,
        touches=touches(line) if egg else (),
    )


def touches(egg):
    """Invented places, 5 m outside the line; the last limit has a name that wants to be markup."""
    from packpale.enclosure.model import Touch

    setback = phrase("plot boundary setback of {distance}", distance=given(3.0, "dimension"))
    names = ((setback,), (setback,), (phrase("steeper than 20 degrees"), phrase("{name}", name=HOSTILE)))
    chainages = np.array([12.0, 150.0, 301.0])
    points = egg.points_at(chainages)
    x, y = np.stack([points.x, points.y]) + 5.0 * points.outward.T
    place = zip(chainages.tolist(), points.x.tolist(), points.y.tolist(), x.tolist(), y.tolist(), names, strict=True)
    return tuple(Touch(*one, spare=0.0) for one in place)


def over(placed, land, settings):
    """The pack with its stretches over limits."""
    from packpale.enclosure.over_limits import stretches, union_length

    strips = {"inside": settings.trench.inside_strip_m, "outside": settings.trench.outside_strip_m}
    found = stretches(placed.line, land.soft, **strips)
    return dataclasses.replace(placed, over_limits=found, over_limits_m=union_length(found, placed.line.perimeter))


def result(plot_id="north field", *, settings=None, lines=(None,), **place):
    """A plot with one enclosure, or one for each line, taken through the other rooms."""
    from packpale.care.assess import assess as assess_care
    from packpale.earthworks.work_out import work_out
    from packpale.enclosure.model import Enclosure
    from packpale.land.assess import assess as assess_land

    settings = settings or project()
    ground = site(plot_id, **place)
    land = assess_land(ground, settings)
    packs = (over(pack(ground, settings, line, number), land, settings) for number, line in enumerate(lines, 1))
    enclosure = Enclosure(tuple(packs), None)
    return PlotResult(
        ground,
        land,
        enclosure,
        work_out(ground, enclosure, settings),
        assess_care(ground, land, enclosure, settings),
    )


def nothing_fits(plot_id="south field", **place):
    """A plot without an enclosure."""
    from packpale.enclosure.model import Enclosure
    from packpale.land.assess import assess as assess_land

    ground = site(plot_id, **place)
    most = "steeper than 20 degrees (18 %)"
    reason = f"no fence line fits. The largest usable patch has 0.31 ha. What may not be enclosed: {most}"
    return PlotResult(ground, assess_land(ground, project()), Enclosure((), phrase(reason)), None, None)


def source(plot, settings=None, wording=None):
    """What the sections of the plot's report are made from; its folder is plot-0."""
    from packpale.review.report.source import PlotSource
    from packpale.review.words import Wording

    settings = settings or project()
    wording = wording or Wording(imperial=settings.units == "imperial", currency=settings.currency)
    return PlotSource(plot, settings, wording, "plot-0")


def map_source(plot, settings=None, wording=None):
    """What the layers of the plot's map are made from."""
    from packpale.review.maps.source import MapSource

    return MapSource(plot, settings or project(), wording or SAID)


def words_of(block):
    """All words of a block of the report, with common spaces and signs."""
    from packpale.review.report.blocks import text_of
    from packpale.review.words import plain

    return plain(text_of(block))


def renamed(plot, plot_id):
    """The same plot under another id."""
    return dataclasses.replace(plot, site=dataclasses.replace(plot.site, plot_id=plot_id))


def finished(summaries):
    """Plots whose whole summaries are in memory."""
    from packpale.review.model import FinishedPlots

    whole = {s.plot_id: s for s in summaries}
    return FinishedPlots({s.plot_id: s.brief for s in summaries}, whole.__getitem__, (OF_THE_RUN,))


def write_layers(folder: Path, plots, settings=None):
    """The layers of plots, as their workers leave them in ``folder``."""
    from packpale.review.layers.geopackage import write_plot_layers
    from packpale.review.plot_layers import PLOT_LAYERS
    from packpale.review.summary import layer_rows

    for k, plot in enumerate(plots):
        home = folder / f"plot-{k}"
        home.mkdir(parents=True)
        write_plot_layers(layer_rows(plot, settings or project()), plot.site.crs, home / PLOT_LAYERS)
    return folder


def run_folder(folder: Path, plots, settings=None):
    """All files of a run of the given plots, as the run itself lays them out; returns the ranking."""
    from packpale.review.plot import write_plot
    from packpale.review.run import write_run
    from packpale.review.summary import DRAWS, read_draws
    from packpale.run.ranking import rank

    settings = settings or project()
    summaries = []
    for k, plot in enumerate(plots):
        home = folder / "plots" / f"plot-{k}"
        home.mkdir(parents=True)
        summaries.append(write_plot(plot, settings, home))
    folders = {s.plot_id: folder / "plots" / s.folder for s in summaries}
    ranking = rank(
        summaries,
        settings.ranking.weights,
        draws=200,
        seed=1,
        drawn=lambda plot_id, most: read_draws(folders[plot_id] / DRAWS, most),
    )
    record = {
        "version": "0.0",
        "settings_hash": "0" * 64,
        "crs": CRS,
        "input_hashes": {"ground.tif": "1" * 64},
        "seed": 1,
        "plots": {},
    }
    write_run(finished(summaries), ranking, settings, record, folder)
    return ranking
