"""Figures hang on the ground alone: not on gaps elsewhere, order, tiles, the raster's extent or units of elevation.

Every room is run; only the pages are left out.
"""

import dataclasses
import math

import numpy as np
import pytest
from shapely.geometry import Point, box

from made_inputs import NORTH, NORTH_PLOT, SOUTH_PLOT, WEST, Made, centres, plane, write_raster, write_vector
from made_soil import soil_of
from packpale.care.assess import assess as assess_care
from packpale.earthworks.work_out import work_out
from packpale.enclosure.place import place
from packpale.faults import Faults
from packpale.land.assess import assess as assess_land
from packpale.review.model import PlotResult
from packpale.review.summary import layer_rows, summarise
from packpale.run.ranking import rank
from packpale.site.inputs import open_inputs, read_site
from told import say

MISSING = "ground level missing here or next to here"
LINE = box(WEST + 38, NORTH - 66, WEST + 72, NORTH - 36).buffer(8)
"""A drawn fence line with round corners in the northern plot."""
US_FOOT, FOOT = 1200 / 3937, 0.3048
"""US survey foot by the Mendenhall Order's 1200/3937 m; international foot of 1959. [m]"""


def rolling(x, y):
    """Hills without two cells alike, so that no rounding turns a flow direction."""
    return plane(x, y) + 1.5 * np.sin((x - WEST) / 17.3) * np.cos((NORTH - y) / 23.7)


def inputs_in(folder):
    """Rolling ground, a house, a viewpoint and a wood."""
    made = Made(folder)
    made.raster(rolling(*centres(200, 200)), file="whole.tif")
    for kind, shape in (
        ("dwellings", Point(WEST + 10, NORTH - 190)),
        ("viewpoints", Point(WEST + 15, NORTH - 10)),
        ("woodland", box(WEST, NORTH - 100, WEST + 30, NORTH - 70)),
    ):
        made.inputs[kind] = write_vector(folder / f"{kind}.gpkg", [({"name": "one"}, shape)])
    made.settings["run"] = {"draws": 200}
    return made


def with_line(made):
    """The same with a drawn fence line, which stays where it is whatever the ground."""
    path = write_vector(made.folder / "line.gpkg", [({"name": "north"}, LINE)])
    made.settings["enclosure"] = {"fence_line": path}
    return made


@pytest.fixture
def made(tmp_path):
    return inputs_in(tmp_path)


@pytest.fixture
def drawn(tmp_path):
    return with_line(inputs_in(tmp_path))


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """What is told of the northern plot."""
    return summary(*read(inputs_in(tmp_path_factory.mktemp("fitted"))))


@pytest.fixture(scope="module")
def whole_drawn(tmp_path_factory):
    """The same with the drawn line; site and settings with it."""
    site, project = read(with_line(inputs_in(tmp_path_factory.mktemp("drawn"))))
    return summary(site, project), site, project


def read(made, plot="north"):
    project = made.project()
    return read_site(open_inputs(project), plot, project), project


@dataclasses.dataclass(frozen=True)
class Told:
    """What a run tells of a plot, in its tables, on its pages and in its layers."""

    plot_id: str
    figures: dict
    earthworks: tuple
    items: tuple
    bill: dict
    notes: tuple
    details: dict
    layers: dict


def _known(value):
    """A figure that is none as what files make of it."""
    return None if isinstance(value, float) and not math.isfinite(value) else value


def summary(site, project):
    """What a run tells of a plot, from all rooms."""
    land = assess_land(site, project)
    enclosure = place(site, land, project)
    works = work_out(site, enclosure, project)
    mounds = works.haul.den_mounds if works.haul else 0
    care = assess_care(site, land, enclosure, project, den_mounds=mounds)
    result = PlotResult(site, land, enclosure, works, care)
    found = summarise(result, project, "folder", None)
    # What pages tell beyond the figures.
    told = {
        "limits": [{"name": say(limit.name), "share": limit.share} for limit in land.limits],
        "dig_out": [{"shortest": d.shortest, "rate": d.dig_rate, "without_lap": d.without_lap} for d in care.dig_out],
        "climbs": [{"least": c.least, "where": c.weakest_chainage} for c in care.climbs],
        "crossings": [{"area": c.area, "chainage": c.chainage} for c in care.crossings],
        "rounds": [{"length": r.length, "climb": r.climb, "walking_s": r.walking_s} for r in care.rounds],
        "fences": [{"hung": f.hung_length, "holes": f.holes, "concrete": f.concrete} for f in works.fences],
    }
    rows = {
        layer: [{k: _known(v) for k, v in row.items() if k != "geometry"} for row in of_layer]
        for layer, of_layer in layer_rows(result, project).items()
    }
    return Told(site.plot_id, found.figures, found.earthworks, found.items, found.bill, found.notes, told, rows)


def summary_or_faults(site, project):
    try:
        return summary(site, project)
    except Faults as faults:
        return faults


def figures(found):
    """Every number and text of a summary by its path, layers included; how long a fit took is no result."""

    def walk(value, path):
        if isinstance(value, dict):
            for key, inner in value.items():
                yield from walk(inner, f"{path}.{key}")
        elif isinstance(value, list | tuple):
            for key, inner in enumerate(value):
                yield from walk(inner, f"{path}.{key}")
        elif not path.endswith((".geometry", ".fit_s")):
            yield path, value

    return dict(walk(dataclasses.asdict(found), ""))


def same(first, second, **within):
    """Whether two summaries tell the same, numbers ``within`` a tolerance of pytest.approx."""
    a, b = figures(first), figures(second)
    assert a.keys() == b.keys()
    numbers = [k for k, v in a.items() if isinstance(v, float)]
    assert len(numbers) > 500
    assert {k: v for k, v in a.items() if k not in numbers} == {k: v for k, v in b.items() if k not in numbers}
    assert [b[k] for k in numbers] == pytest.approx([a[k] for k in numbers], **within)


@pytest.mark.parametrize("seed", range(3))
def test_a_gap_anywhere_leaves_a_figure_as_it_is_or_missing_or_is_told(whole_drawn, seed):
    whole, site, project = whole_drawn
    rng = np.random.default_rng(seed)
    elevation = site.elevation.copy()
    elevation[rng.integers(0, site.grid.rows, 3), rng.integers(0, site.grid.cols, 3)] = np.nan
    assert np.isnan(elevation).any()
    found = summary_or_faults(dataclasses.replace(site, elevation=elevation), project)
    if isinstance(found, Faults):
        assert all("no elevation" in line for line in found.lines)
        return
    told = [note for note in found.notes if note not in whole.notes]
    told += [limit["name"] for limit in found.details["limits"] if limit["name"] == MISSING]
    before, after = figures(whole), figures(found)
    # What the fence, the trench and their price are made of lies under the line: nothing of it may change.
    fixed = [k for k in before if k.startswith((".earthworks", ".items", ".bill", ".details.fences"))]
    assert len(fixed) > 100
    assert {k: after[k] for k in fixed} == {k: before[k] for k in fixed}
    others = [k for k in before if k in after and k.startswith((".figures", ".details")) and k not in fixed]
    changed = [k for k in others if after[k] not in (before[k], None)]
    assert told or not changed


def test_a_gap_in_the_margin_changes_no_figure_of_the_land(whole_drawn):
    whole, site, project = whole_drawn
    gap = site.elevation.copy()
    gap[-1, -1] = np.nan
    found = summary(dataclasses.replace(site, elevation=gap), project)
    assert found.figures == whole.figures
    assert not {MISSING} & {limit["name"] for limit in found.details["limits"]}


@pytest.mark.parametrize("station_m", [1.0, 25.0], ids=["at a station", "between stations"])
def test_a_gap_under_the_fence_line_is_a_fault_wherever_stations_stand(drawn, station_m):
    drawn.settings["trench"] = {"station_m": station_m}
    site, project = read(drawn)
    x, y = site.grid.centres()
    # On the straight western side, 30 m long.
    elevation = site.elevation.copy()
    elevation[np.abs(y - (NORTH - 47.3)).argmin(), np.abs(x - (WEST + 30)).argmin()] = np.nan
    with pytest.raises(Faults, match=r'plot "north", pack 1: no elevation .* the whole trench needs ground'):
        summary(dataclasses.replace(site, elevation=elevation), project)


@pytest.mark.parametrize("name", ["depth_to_rock", "water_table", "clay", "stones", "pit_distance"])
def test_soil_is_never_missing(name):
    values = np.full((4, 5), 2.0)
    values[3, 4] = math.nan
    with pytest.raises(ValueError, match=f"soil is missing in some cells: {name} holds NaN"):
        soil_of((4, 5), **{name: values})


def test_numpy_finds_nothing_to_warn_of(drawn):
    site, project = read(drawn)
    site.elevation[0, :3] = np.nan
    # What underflows is a decayed exponential, and zero is its value.
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        assert summary(site, project).figures["cost_p50"] > 0


def test_the_order_of_plots_is_no_matter(made):
    rows = [({"name": "north"}, NORTH_PLOT), ({"name": "south"}, SOUTH_PLOT)]
    found = {}
    for order in (1, -1):
        made.inputs["plots"] = write_vector(made.folder / f"plots{order}.gpkg", rows[::order])
        project = made.project()
        inputs = open_inputs(project)
        assert [p.plot_id for p in inputs.plots] == ["north", "south"][::order]
        found[order] = [summary(read_site(inputs, p.plot_id, project), project) for p in inputs.plots]
    for one, other in zip(found[1], found[-1][::-1], strict=True):
        same(one, other, rel=0, abs=0)
    ranked = [rank(found[o], project.ranking.weights, draws=200, seed=1).rows for o in (1, -1)]
    assert ranked[0] == ranked[1]


def test_a_raster_in_tiles_gives_the_same_to_the_last_digit(made, whole):
    values = rolling(*centres(200, 200))
    # Through both plots and not through the middle.
    parts = [(slice(0, 51), slice(0, 57)), (slice(0, 51), slice(57, 200)), (slice(51, 200), slice(0, 57))]
    parts.append((slice(51, 200), slice(57, 200)))
    made.inputs["elevation"] = [
        write_raster(made.folder / f"tile{n}.tif", values[r, c], west=WEST + c.start, north=NORTH - r.start)
        for n, (r, c) in enumerate(parts)
    ]
    same(whole, summary(*read(made)), rel=0, abs=0)


@pytest.mark.parametrize("cell", [None, 1.7], ids=["cells of the raster", "cells of the run's own"])
def test_where_the_raster_begins_is_no_matter(made, whole, cell):
    if cell is not None:
        made.settings["land"]["cell_m"] = cell
        whole = summary(*read(made))
    # One cell without data in the north and the west, three in the south and the east, on the same lattice.
    padded = np.pad(rolling(*centres(200, 200)), (1, 3), constant_values=np.nan)
    made.raster(padded, file="more.tif", west=WEST - 1, north=NORTH + 1)
    more = summary(*read(made))
    notes = {"notes": ()}
    same(dataclasses.replace(whole, **notes), dataclasses.replace(more, **notes), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(("unit", "metres"), [("ft", FOOT), ("us-ft", US_FOOT)])
def test_the_unit_of_elevations_is_no_matter(made, whole, unit, metres):
    made.raster(rolling(*centres(200, 200)) / metres, file=f"{unit}.tif")
    made.inputs["elevation_unit"] = unit
    same(whole, summary(*read(made)), rel=1e-6, abs=1e-6)
