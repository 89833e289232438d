"""What goes wrong first with real data: each told at once, on real files, with what to do."""

import math
import os
import warnings

import numpy as np
import pyproj
import pytest
import rasterio
from shapely.affinity import translate
from shapely.geometry import MultiPolygon, Point, box

from made_inputs import (
    CRS,
    NORTH,
    NORTH_PLOT,
    SOUTH_PLOT,
    WEST,
    Made,
    centres,
    in_crs,
    plane,
    write_vector,
)
from packpale.enclosure.egg import Egg
from packpale.faults import Faults
from packpale.review.words.notes import for_files
from packpale.settings import Project
from packpale.site.inputs import open_inputs, read_site
from packpale.site.plot_shapes import least_circle, widest_circle
from packpale.site.quality import Lowest, Signs
from told import told

GROUND = plane(*centres(200, 200)).astype("float32")


@pytest.fixture
def made(tmp_path):
    return Made(tmp_path)


def notes(made):
    inputs = open_inputs(made.project())
    return for_files(inputs.notes, {p.plot_id: p.notes for p in inputs.plots})


def faults(made):
    with pytest.raises(Faults) as caught:
        open_inputs(made.project())
    return caught.value.lines


# --- the elevation -------------------------------------------------------------------------------------------------


def with_trees(ground, cell=1.0):
    """Crowns of 5 x 5 cells, 4 to 15 m high, on a tenth of the ground."""
    rng = np.random.default_rng(7)
    ground = ground.copy()
    for _ in range(160):
        row, col = rng.integers(3, 197, 2)
        ground[row - 2 : row + 3, col - 2 : col + 3] += rng.uniform(4, 15)
    return ground


def test_a_surface_with_trees_is_told(made):
    made.raster(with_trees(GROUND))
    (note,) = [n for n in notes(made) if "trees" in n]
    assert note.startswith("own.tif looks like a surface with trees and roofs, not like bare earth. ")
    assert note.endswith("use the bare-earth model (DTM) of the same place.")


def test_coarse_cells_cannot_tell_trees_from_steep_ground(made):
    made.raster(with_trees(GROUND))
    made.settings["land"]["cell_m"] = 6.0
    assert not [n for n in notes(made) if "trees" in n]


def test_pits_and_spikes_are_counted(made):
    ground = GROUND.copy()
    ground[50, 50] -= 3
    ground[60, 60] += 3
    ground[150, 140] -= 1.5
    ground[40, 40] -= 0.5
    ground[100, 100] -= 9  # in no plot
    made.raster(ground)
    (note,) = [n for n in notes(made) if "stick out" in n]
    assert note.startswith(
        "Single cells of own.tif stick out of the ground. 3 cells lie more than 1 m below or above all"
    )


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("width", [1, 3])
def test_stripes_are_told_with_their_height(made, axis, width):
    stripes = 0.2 * ((np.arange(200) // width) % 2)
    made.raster((GROUND + (stripes[:, None] if axis == 0 else stripes)).astype("float32"))
    (note,) = [n for n in notes(made) if "stripes" in n]
    assert note.startswith(
        "Rows or columns of own.tif lie up and down in turn, as stripes of scanning do. They do by about 0."
    )


def test_honest_ground_has_none_of_these_signs():
    rng = np.random.default_rng(1)
    x, y = centres(300, 300)
    hills = 20 * np.sin((x - WEST) / 30) * np.cos((y - NORTH) / 45)
    terraces = 5 * np.round((x - WEST) / 60)  # walls of 5 m, 60 m apart
    for ground in (hills, hills + rng.normal(0, 0.05, x.shape), terraces + hills, np.round(hills, 1)):
        signs = Signs(1.0)
        signs.look(ground)
        found = told(signs.notes("x"))
        assert not [n for n in found if "stripes" in n or "stick" in n]
    for seed in range(20):
        # Rough and narrow: neighbouring rows differ by chance alone.
        signs = Signs(1.0)
        signs.look(hills[:, :45] + np.random.default_rng(seed).normal(0, 0.3, (300, 45)))
        assert signs.stripes == 0
    signs = Signs(1.0)
    signs.look(hills + rng.normal(0, 0.05, x.shape))
    assert list(signs.notes("x")) == []
    with rasterio.open("data_samples/real/lidar_1m_utm15n.tif") as real:
        signs.look(real.read(1, masked=True).astype(float).filled(np.nan))
    assert list(signs.notes("x")) == []


@pytest.mark.parametrize("unit", ["m", "ft"])
def test_a_plateau_of_one_odd_value_is_missing_ground(made, unit):
    ground = GROUND.copy()
    ground[30:34, 30:40] = 0
    made.raster(ground, file="zero.tif")
    made.inputs["elevation_unit"] = unit
    (line,) = faults(made)
    below = (ground[ground > 0][np.isin(ground[ground > 0], ground[20:80, 20:90])]).min() * (
        1 if unit == "m" else 0.3048
    )
    assert line.startswith(f'zero.tif has 40 cells at exactly 0 m in plot "north", {below:.3g} m below all others')
    assert "set inputs.elevation_nodata to that value in the raster's own unit" in line
    made.inputs["elevation_nodata"] = 0.0
    (line,) = faults(made)
    assert line.startswith("zero.tif covers 99")


def test_a_plateau_in_the_margin_is_left_out_and_said(made):
    ground = GROUND.copy()
    ground[12:15, 30:40] = 0
    made.raster(ground)
    site = read_site(open_inputs(made.project()), "north", made.project())
    assert np.isnan(site.elevation).sum() == 30
    assert any(
        "30 cells of the margin were left out because no land has their elevation" in n for n in told(site.notes)
    )


def test_the_lowest_value_is_the_same_in_any_pieces():
    values = np.array([5.0, 0.0, 70.0, 0.0, 61.0])
    whole = Lowest()
    whole.look(values)
    for cut in range(6):
        pieces = Lowest()
        pieces.look(values[:cut])
        pieces.look(values[cut:])
        assert pieces == whole
    assert (whole.value, whole.count, whole.next, whole.is_plateau) == (0.0, 2, 5.0, False)
    one = Lowest()
    one.look(np.zeros(9))
    assert not one.is_plateau  # flat land


def test_heights_in_feet_by_the_vertical_crs_against_the_settings(made):
    # EPSG:6360 is NAVD88 height in US survey feet.
    made.raster(GROUND, crs=f"{CRS}+6360", file="feet.tif")
    (line,) = faults(made)
    assert line.startswith('feet.tif: says its elevations are in "US survey foot", inputs.elevation')
    assert 'set elevation_unit = "us-ft"' in line
    made.inputs["elevation_unit"] = "us-ft"
    site = read_site(open_inputs(made.project()), "north", made.project())
    assert np.nanmax(site.elevation) == pytest.approx(float(GROUND.max()) * 1200 / 3937, rel=0.1)


def test_the_vertical_crs_beside_a_format_without_units(made):
    made.raster(GROUND, file="feet.asc", driver="AAIGrid")
    # EPSG:8228 is NAVD88 height in feet.
    prj = pyproj.CRS(f"{CRS}+8228").to_wkt("WKT1_GDAL")
    (made.folder / "feet.prj").write_text(prj, encoding="utf-8")
    (made.folder / "feet.asc.aux.xml").unlink(missing_ok=True)
    (line,) = faults(made)
    assert line.startswith('feet.asc: says its elevations are in "foot, NAVD88 height (ft)", inputs.elevation_unit is')


# --- coordinates ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("crs", ["EPSG:4326", CRS])
def test_swapped_coordinates_are_told_as_such(made, crs):
    shape = in_crs(NORTH_PLOT, crs) if crs != CRS else NORTH_PLOT
    swapped = [(y, x) for x, y in shape.exterior.coords]
    head = "name,lon,lat" if crs != CRS else "name,x,y"
    # An x of 5,600,000 m lies beyond what the CRS is made for, a y of 600,000 m too.
    made.plots_text(head + "\n" + "".join(f"north,{x:.9f},{y:.9f}\n" for x, y in swapped[:-1]), "swapped.csv")
    assert any("its coordinates are swapped" in line for line in faults(made)), faults(made)


def test_a_better_change_of_datum_that_is_not_installed_is_told(tmp_path):
    # NAD27 to NAD83 needs a grid; without it the registry's best has an accuracy of metres (EPSG dataset).
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        group = pyproj.transformer.TransformerGroup("EPSG:26715", "EPSG:26915")
    missing = [o for o in group.unavailable_operations if o.accuracy >= 0]
    if not missing:
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail("the grids of NAD27 are installed; this check must run here, without them")
        pytest.skip("the grids of NAD27 are installed here: nothing is missing that could be told")
    made = Made(tmp_path)
    del made.settings["crs"]
    west, north = 430_000.0, 5_150_000.0
    made.raster(GROUND, west=west, north=north, crs="EPSG:26915")
    made.inputs["plots"] = write_vector(
        tmp_path / "old.gpkg", [({"name": "a"}, box(west + 50, north - 310, west + 120, north - 250))], crs="EPSG:26715"
    )
    (note,) = [n for n in notes(made) if n.startswith("Plots were moved from EPSG:26715 to EPSG:26915")]
    assert "needs the file" in note
    assert ".tif" in note
    assert "install it, or give all inputs in one CRS" in note


# --- outlines ------------------------------------------------------------------------------------------------------


def test_plots_that_overlap_are_told_and_those_that_touch_are_not(made):
    made.plots(("a", NORTH_PLOT), ("b", translate(NORTH_PLOT, 70, 0)))
    assert not [n for n in notes(made) if "over each other" in n or "slivers" in n]
    made.plots(("a", NORTH_PLOT), ("b", translate(NORTH_PLOT, 60, 0)), ("c", SOUTH_PLOT), file="over.gpkg")
    (note,) = [n for n in notes(made) if "over each other" in n]
    assert note.startswith('Plots lie over each other, by 0.06 ha in all. They are "a" and "b"; each is computed as if')
    made.plots(("a", NORTH_PLOT), ("b", translate(NORTH_PLOT, 69.6, 0)), file="sliver.gpkg")
    (note,) = [n for n in notes(made) if "slivers" in n]
    assert note.startswith('Plots overlap by slivers up to 0.40 m wide. They are "a" and "b"; ')


def test_slivers_among_the_parts_of_a_plot_are_told(made):
    sliver = box(WEST + 150, NORTH - 80, WEST + 150.2, NORTH - 20)
    made.plots(("a", MultiPolygon([NORTH_PLOT, sliver])))
    assert (
        "a: 1 of 2 parts of the plot are slivers, 12.00 m² in all. No fence fits on them: drop them where they are"
        in "".join(notes(made))
    )


def test_thousands_of_corners_are_told(made):
    made.plots(("round", Point(WEST + 100, NORTH - 100).buffer(60, quad_segs=2000)))
    (note,) = [n for n in notes(made) if "corners" in n]
    assert note.startswith("round: The outline has 8,001 corners, which takes longer to fit")


def test_a_plot_too_small_for_any_egg_is_told_at_once(made):
    made.plots(("small", Point(WEST + 100, NORTH - 100).buffer(24)), ("large", Point(WEST + 60, NORTH - 60).buffer(30)))
    # Big end 15 / 0.9, strip 1.8 + 0.3 + 3, setback 3: defaults of the settings.
    assert least_circle(made.project()) == pytest.approx(15 / 0.9 + 5.1 + 3.0)
    (note,) = [n for n in notes(made) if "No enclosure can fit" in n]
    assert note.startswith("small: No enclosure can fit: the widest circle in the plot has a radius of 23.98 m")
    made.settings["enclosure"] = {"min_radius_m": 10.0}
    assert not [n for n in notes(made) if "No enclosure can fit" in n]


@pytest.mark.parametrize("area_ha", ["largest", 0.7])
def test_no_egg_that_the_settings_allow_is_smaller_than_told(area_ha):
    project = Project.model_validate(
        {
            "inputs": {"elevation": "e", "plots": "p", "plot_id": "n"},
            "land": {"setback_m": 0.0},
            "enclosure": {"min_radius_m": 20.0, "area_ha": area_ha},
        }
    )
    tightest = math.inf
    for taper in np.linspace(*project.enclosure.taper, 5):
        for aspect in np.linspace(*project.enclosure.aspect, 5):
            sized = {"big_radius": 20.0 / taper} if area_ha == "largest" else {"area": area_ha * 1e4}
            egg = Egg.from_shape(taper, aspect, **sized)
            outline = MultiPolygon([egg.polygon(0.001).buffer(project.trench.outside_strip_m, quad_segs=200)])
            tightest = min(tightest, widest_circle(outline))
    assert least_circle(project) <= tightest
    if area_ha == "largest":
        # Nothing larger could be asked for: the egg with the largest taper is just as wide.
        assert least_circle(project) == pytest.approx(tightest, abs=0.1)


def test_cells_too_coarse_for_a_plot_are_told(tmp_path):
    made = Made(tmp_path)
    made.settings["land"]["cell_m"] = 4.0
    (note, *_) = [n for n in notes(made) if "coarse" in n]
    assert note.startswith("north: Cells of 4 m are coarse for the plot, which is 60.0")
