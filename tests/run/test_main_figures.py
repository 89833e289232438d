"""Whole runs on real ground, their main figures worked out again from the files by other code.

Nothing of the package computes here: scipy, shapely, fiona, rasterio and numpy work on the inputs and on what the run
wrote.
"""

import csv
import json
import tomllib
from pathlib import Path

import fiona
import numpy as np
import pytest
import rasterio
import shapely
from rasterio.warp import reproject
from scipy import ndimage
from shapely.geometry import shape

ROOT = Path(__file__).parents[2]
RUNS = ("real_ground", "highland_screening")
DEFAULTS = {
    "setback_m": 3.0,
    "max_slope_deg": 20.0,
    "footprint_m": 4.0,
    "max_ponding_m": 0.3,
    "margin_m": 100.0,
    "depth_m": 1.2,
    "bottom_width_m": 0.6,
    "apron_reach_m": 1.8,
    "apron_cover_m": 0.3,
    "side_slope": 1.0,
    "working_strip_m": 3.0,
    "line_over_limits": 0.1,
}
"""Typed from config/SETTINGS.md: what holds where the settings file is silent."""


@pytest.fixture(params=RUNS)
def whole(request):
    """Output folder, settings and rows of ranking.csv of one run."""
    folder = request.getfixturevalue({"real_ground": "real_ground", "highland_screening": "screening"}[request.param])
    raw = tomllib.loads((ROOT / "config" / f"{request.param}.toml").read_text(encoding="utf-8"))
    given = DEFAULTS | raw.get("land", {}) | raw.get("enclosure", {}) | raw.get("trench", {})
    return folder, given, rows_of(folder / "ranking.csv")


def rows_of(file):
    with file.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def is_real(folder):
    """The run on native 1 m cells, not the one whose elevation is warped."""
    return "real_ground" in str(folder)


def layer(folder, name):
    with fiona.open(folder / "packpale.gpkg", layer=name) as features:
        return [(dict(f["properties"]), shape(f["geometry"])) for f in features]


def outside_strip(given):
    """From the fence line to the edge of the apron's bench or of the skirt's trench, and the working strip. [m]"""
    bench = given["apron_reach_m"] + given["side_slope"] * given["apron_cover_m"]
    skirt = given["bottom_width_m"] / 2 + given["side_slope"] * given["depth_m"]
    return max(bench, skirt) + given["working_strip_m"]


def inside_strip(given):
    """From the fence line to the edge of the skirt's trench, and the working strip. [m]"""
    return given["bottom_width_m"] / 2 + given["side_slope"] * given["depth_m"] + given["working_strip_m"]


def feasible(rows):
    found = [r for r in rows if r["feasible"] == "true"]
    assert found, "no plot of this run is feasible, so that nothing would be checked"
    return found


def plot_raster(folder, plot_id, name):
    with rasterio.open(folder / "plots" / plot_id / name) as raster:
        return raster.read(1, masked=True).astype(float).filled(np.nan), raster.transform, raster.crs


def elevation_on(folder, plot_id):
    """The run's input elevation on the grid of the plot's own rasters, warped by GDAL where the CRS differs."""
    values, transform, crs = plot_raster(folder, plot_id, "slope_deg.tif")
    name = "real_ground" if is_real(folder) else "highland_screening"
    raw = tomllib.loads((ROOT / "config" / f"{name}.toml").read_text(encoding="utf-8"))
    path = raw["inputs"]["elevation"]
    target = np.full(values.shape, np.nan)
    with rasterio.open(ROOT / "config" / (path if isinstance(path, str) else path[0])) as raster:
        reproject(
            rasterio.band(raster, 1),
            target,
            dst_transform=transform,
            dst_crs=crs,
            dst_nodata=np.nan,
            resampling=rasterio.enums.Resampling.bilinear,
        )
    return target, transform


def horn_degrees(elevation, cell):
    """Slope by scipy's Sobel operator, which has Horn's weights."""
    east = ndimage.sobel(elevation, axis=1) / (8 * cell)
    south = ndimage.sobel(elevation, axis=0) / (8 * cell)
    return np.degrees(np.arctan(np.hypot(east, south)))


def degrees_under_a_machine(elevation, own, cell, footprint):
    """Slope of the plane of least squares over the cells of a footprint; each cell's ``own`` where it holds one."""
    half = int(footprint / 2 / cell + 1e-9)
    if half == 0:
        return own
    steps = np.arange(-half, half + 1.0)
    ways = np.tile(steps, (steps.size, 1))
    east, south = (ndimage.correlate(elevation, way) / (ways**2).sum() / cell for way in (ways, ways.T))
    return np.degrees(np.arctan(np.hypot(east, south)))


def centres(transform, shape_):
    rows, cols = np.mgrid[: shape_[0], : shape_[1]]
    return transform.c + (cols + 0.5) * transform.a, transform.f + (rows + 0.5) * transform.e


def test_slope_of_every_cell(whole):
    folder, _, rows = whole
    for row in rows:
        elevation, transform = elevation_on(folder, row["plot_id"])
        slope, _, _ = plot_raster(folder, row["plot_id"], "slope_deg.tif")
        expected = horn_degrees(elevation, transform.a)
        # scipy mirrors the outermost ring, which has no slope of its own.
        inner = np.zeros(slope.shape, bool)
        inner[2:-2, 2:-2] = True
        inner &= np.isfinite(slope) & np.isfinite(expected)
        assert inner.sum() > 1000
        # Native cells agree to float32. Where the input is warped, GDAL's warper and ours place the same bilinear
        # surface a little differently; on cells of 90 m that moves a slope by well under a degree.
        difference = np.abs(slope - expected)[inner]
        assert np.median(difference) < (1e-5 if is_real(folder) else 0.3)
        assert difference.max() < (1e-4 if is_real(folder) else 2.0)


def test_enclosed_area_and_length_from_the_polygons_in_the_geopackage(whole):
    folder, _, rows = whole
    fences = layer(folder, "fence_lines")
    for row in feasible(rows):
        own = [(p, g) for p, g in fences if p["plot_id"] == row["plot_id"]]
        # A polygon inscribed with chords at most 1 mm off: its area falls short by at most 1 mm times its length.
        length = sum(g.length for _, g in own)
        assert float(row["enclosed_area_m2"]) == pytest.approx(sum(g.area for _, g in own), abs=0.001 * length + 0.06)
        assert float(row["fence_length_m"]) == pytest.approx(length, rel=2e-5)
        assert min(p["area_m2"] for p, _ in own) == pytest.approx(float(row["smallest_enclosure_m2"]), abs=0.06)
        for properties, _ in own:
            assert properties["area_m2"] <= properties["area_bound_m2"] * (1 + 1e-9)


def enclosable(folder):
    """By plot, the plot less the ground of every limit that may not lie inside."""
    plots = {p["plot_id"]: g for p, g in layer(folder, "plots")}
    for properties, area in layer(folder, "limits"):
        if not properties["may_lie_inside"]:
            plots[properties["plot_id"]] = plots[properties["plot_id"]].difference(area)
    return plots


def test_fence_and_its_strip_keep_off_no_go_ground(whole):
    folder, given, rows = whole
    usable = {p["plot_id"]: g for p, g in layer(folder, "usable_land")}
    plots = {p["plot_id"]: g for p, g in layer(folder, "plots")}
    free = enclosable(folder)
    strip = outside_strip(given)
    for properties, fence in layer(folder, "fence_lines"):
        plot_id = properties["plot_id"]
        # shapely's arcs are chords inside the true offset: shrink by a millimetre for that and for the fence's chords.
        assert fence.buffer(strip - 0.002, quad_segs=64).difference(free[plot_id]).area < 1e-6
        assert free[plot_id].difference(plots[plot_id].buffer(-given["setback_m"] + 0.01)).area < 1.0
    for row in rows:
        plot_id = row["plot_id"]
        assert float(row["plot_area_m2"]) == pytest.approx(plots[plot_id].area, abs=0.06)
        left = plots[plot_id].difference(
            shapely.union_all([g for p, g in layer(folder, "limits") if p["plot_id"] == plot_id])
        )
        # Patches smaller than a cell are dropped.
        assert usable[plot_id].difference(left).area < 0.01
        assert float(row["usable_area_m2"]) == pytest.approx(usable[plot_id].area, abs=0.06)
        assert left.area - usable[plot_id].area < 0.02 * plots[plot_id].area


def test_length_over_limits_by_cross_sections(whole):
    """Every quarter of a metre (or 2,000th of the line) a straight piece across it, against the soft ground."""
    folder, given, rows = whole
    soft = {}
    for properties, area in layer(folder, "limits"):
        if properties["may_lie_inside"]:
            soft.setdefault(properties["plot_id"], []).append(area)
    seen = 0.0
    for row in feasible(rows):
        plot_id = row["plot_id"]
        ground = shapely.union_all(soft.get(plot_id, []))
        shapely.prepare(ground)
        over, edges = 0.0, 0
        for fence in (g for p, g in layer(folder, "fence_lines") if p["plot_id"] == plot_id):
            ring = fence.exterior
            step = max(0.25, ring.length / 2000)
            count = int(ring.length / step)
            at = (np.arange(count) + 0.5) * (ring.length / count)
            ahead, behind = (
                shapely.get_coordinates(shapely.line_interpolate_point(ring, at + d)) for d in (0.05, -0.05)
            )
            along = (ahead - behind) / np.linalg.norm(ahead - behind, axis=1, keepdims=True)
            middle = (ahead + behind) / 2
            # The ring runs clockwise: outside lies to its left.
            left = np.column_stack([-along[:, 1], along[:, 0]])
            ends = middle + outside_strip(given) * left, middle - inside_strip(given) * left
            touched = shapely.intersects(ground, shapely.linestrings(np.stack(ends, axis=1)))
            over += touched.sum() * (ring.length / count)
            edges += int((touched != np.roll(touched, 1)).sum())
        # Each end of a stretch lies between two cross-sections.
        assert float(row["over_limits_m"]) == pytest.approx(over, abs=0.1 + 0.5 * step * edges)
        assert float(row["over_limits_m"]) <= given["line_over_limits"] * float(row["fence_length_m"]) + 0.01
        stretches = [p for p, _ in layer(folder, "over_limits") if p["plot_id"] == plot_id]
        assert sum(p["to_m"] - p["from_m"] for p in stretches) >= float(row["over_limits_m"]) - 0.06
        seen += over
    assert seen > 0


def test_every_fence_line_is_held_where_the_run_says_so(whole):
    folder, given, rows = whole
    free = enclosable(folder)
    plots = {p["plot_id"]: area for p, area in layer(folder, "plots")}
    touches = layer(folder, "touches")
    strip = outside_strip(given)
    for row in feasible(rows):
        plot = row["plot_id"]
        (fence,) = (line for p, line in layer(folder, "fence_lines") if p["plot_id"] == plot)
        here = [(p, point) for p, point in touches if p["plot_id"] == plot]
        # With fewer than two the line could slide away and grow, unless it runs over limits as far as it may.
        spent = float(row["over_limits_m"]) > 0.9 * given["line_over_limits"] * float(row["fence_length_m"])
        assert len(here) >= 2 or spent
        # The setback is drawn a little wider than asked for, so that the chords of its arcs keep the distance too.
        inside = plots[plot].buffer(-1.01 * given["setback_m"])
        for properties, point in here:
            assert point.distance(free[plot].boundary) < 1e-3
            # A centimetre, or for large eggs five parts in a hundred thousand of a radius under a third of the length.
            assert point.distance(fence) == pytest.approx(strip, abs=0.011 + 2e-5 * fence.length)
            # The polygon starts at the tip of the big end and runs clockwise, as the chainage does.
            apart = fence.exterior.project(point) - properties["chainage_m"]
            assert abs((apart + fence.length / 2) % fence.length - fence.length / 2) < 0.05
            assert ("plot boundary" in properties["limit"]) == (not inside.contains(point)), properties
    assert {p["plot_id"] for p, _ in touches} <= {row["plot_id"] for row in feasible(rows)}
    assert touches


def test_no_usable_cell_is_too_steep_or_stands_under_water(whole):
    folder, given, rows = whole
    usable = {p["plot_id"]: g for p, g in layer(folder, "usable_land")}
    for row in feasible(rows):
        slope, transform, _ = plot_raster(folder, row["plot_id"], "slope_deg.tif")
        ponding, _, _ = plot_raster(folder, row["plot_id"], "ponding_m.tif")
        elevation, _ = elevation_on(folder, row["plot_id"])
        slope = degrees_under_a_machine(elevation, slope, transform.a, given["footprint_m"])
        x, y = centres(transform, slope.shape)
        inside = shapely.contains_xy(usable[row["plot_id"]], x, y)
        assert inside.any()
        assert slope[inside].max() <= given["max_slope_deg"] + 1e-4
        assert ponding[inside].max() <= given["max_ponding_m"] + 1e-4
        # And what is not usable has a reason: cells well inside the plot that meet every limit are usable.
        plot = next(g for p, g in layer(folder, "plots") if p["plot_id"] == row["plot_id"])
        free = shapely.contains_xy(plot.buffer(-given["setback_m"] - transform.a), x, y)
        free &= (slope < given["max_slope_deg"] - 1e-4) & (ponding < given["max_ponding_m"] - 1e-4)
        assert inside[free].mean() > 0.97


def test_mean_slope_and_suitability_inside_the_fence(whole):
    folder, _, rows = whole
    fences = layer(folder, "fence_lines")
    for row in feasible(rows):
        fence = shapely.union_all([g for p, g in fences if p["plot_id"] == row["plot_id"]])
        suitability, transform, _ = plot_raster(folder, row["plot_id"], "suitability.tif")
        elevation, _ = elevation_on(folder, row["plot_id"])
        x, y = centres(transform, suitability.shape)
        inside = shapely.contains_xy(fence, x, y)
        assert float(row["mean_suitability"]) == pytest.approx(suitability[inside].mean(), abs=2e-3)
        slope = np.degrees(np.arctan(np.tan(np.radians(horn_degrees(elevation, transform.a)[inside])).mean()))
        assert float(row["mean_slope_deg"]) == pytest.approx(slope, abs=0.02 if is_real(folder) else 0.3)


def test_length_on_the_ground(whole):
    folder, _, rows = whole
    fences = layer(folder, "fence_lines")
    for row in feasible(rows):
        elevation, transform = elevation_on(folder, row["plot_id"])
        total = 0.0
        for fence in [g for p, g in fences if p["plot_id"] == row["plot_id"]]:
            line = fence.exterior
            steps = np.linspace(0, line.length, int(line.length / (transform.a / 8)))
            points = shapely.get_coordinates(shapely.line_interpolate_point(line, steps))
            at = [(points[:, 1] - transform.f) / transform.e - 0.5, (points[:, 0] - transform.c) / transform.a - 0.5]
            ground = ndimage.map_coordinates(elevation, at, order=1)
            total += np.hypot(np.hypot(*np.diff(points, axis=0).T), np.diff(ground)).sum()
        assert float(row["fence_length_3d_m"]) == pytest.approx(total, rel=1e-3)
        assert float(row["fence_length_3d_m"]) >= float(row["fence_length_m"])


def section(given, step=1e-4):
    """Cut area and first moment about the fence line by plain summation over the section of two trapezoids."""
    reach = given["apron_reach_m"] + given["bottom_width_m"] + given["side_slope"] * given["depth_m"]
    offset = np.arange(-reach, reach, step) + step / 2

    def trapezoid(left, right, depth):
        beyond = np.maximum(np.maximum(left - offset, offset - right), 0)
        if given["side_slope"] == 0:
            return np.where(beyond == 0, depth, 0.0)
        return np.maximum(depth - beyond / given["side_slope"], 0)

    half = given["bottom_width_m"] / 2
    cut = np.maximum(
        trapezoid(-half, half, given["depth_m"]), trapezoid(0, given["apron_reach_m"], given["apron_cover_m"])
    )
    return cut.sum() * step, (cut * offset).sum() * step


def test_cut_follows_pappus_theorem(demo):
    """With the formation following the ground the section is the same everywhere; a closed convex line turns once."""
    area, moment = section(DEFAULTS)
    rows = rows_of(demo / "earthworks.csv")
    assert len(rows) >= 4
    for row in rows:
        expected = area * float(row["fence_length_m"]) + 2 * np.pi * moment
        assert float(row["cut_bank_m3"]) == pytest.approx(expected, rel=2e-4)
        assert float(row["average_end_area_m3"]) == pytest.approx(area * float(row["fence_length_m"]), rel=2e-4)


def test_level_cut_by_a_plain_sum_over_the_ground(real_ground):
    """Bottoms level with the ground at the fence line, walls up to the ground: summed over 2 cm by 0.25 m."""
    raw = tomllib.loads((ROOT / "config" / "real_ground.toml").read_text(encoding="utf-8"))
    assert raw["trench"]["formation"] == "level"
    given = DEFAULTS | raw["trench"]
    cuts = {r["plot_id"]: float(r["cut_bank_m3"]) for r in rows_of(real_ground / "earthworks.csv")}
    assert len(cuts) == 3
    for properties, fence in layer(real_ground, "fence_lines"):
        elevation, transform = elevation_on(real_ground, properties["plot_id"])
        assert level_cut(fence, elevation, transform, given) == pytest.approx(cuts[properties["plot_id"]], rel=5e-4)


def level_cut(fence, elevation, transform, given, *, step=0.25, across=0.02):
    """Cut of a level trench along a closed polygon whose apron lies outside. [m3]"""
    line = shapely.geometry.polygon.orient(fence, sign=-1).exterior  # clockwise: outside lies to the left
    count = int(line.length / step)
    along = (np.arange(count) + 0.5) * line.length / count
    points = shapely.get_coordinates(shapely.line_interpolate_point(line, along))
    ahead = shapely.get_coordinates(shapely.line_interpolate_point(line, (along + 1.0) % line.length))
    behind = shapely.get_coordinates(shapely.line_interpolate_point(line, (along - 1.0) % line.length))
    tangent = (ahead - behind) / np.linalg.norm(ahead - behind, axis=1, keepdims=True)
    outward = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    heading = np.unwrap(np.arctan2(tangent[:, 1], tangent[:, 0]))
    curvature = -np.gradient(heading, line.length / count)
    curvature *= 2 * np.pi / (curvature.sum() * line.length / count)
    offset = np.arange(-8, 8, across) + across / 2
    x = points[:, :1] + outward[:, :1] * offset
    y = points[:, 1:] + outward[:, 1:] * offset
    at = [(y - transform.f) / transform.e - 0.5, (x - transform.c) / transform.a - 0.5]
    ground = ndimage.map_coordinates(elevation, at, order=1)
    datum = ndimage.map_coordinates(
        elevation,
        [(points[:, 1] - transform.f) / transform.e - 0.5, (points[:, 0] - transform.c) / transform.a - 0.5],
        order=1,
    )[:, None]
    half = given["bottom_width_m"] / 2
    floor = np.full(ground.shape, np.inf)
    for left, right, depth in (
        (-half, half, given["depth_m"]),
        (0, given["apron_reach_m"], given["apron_cover_m"]),
    ):
        beyond = np.maximum(np.maximum(left - offset, offset - right), 0)
        floor = np.minimum(floor, datum - depth + beyond / given["side_slope"])
    cut = np.maximum(ground - floor, 0)
    return float((cut * (1 + offset * curvature[:, None])).sum() * across * line.length / count)


def test_cut_of_a_plot_is_the_sum_over_its_packs(whole):
    folder, _, rows = whole
    for row in feasible(rows):
        own = [r for r in rows_of(folder / "earthworks.csv") if r["plot_id"] == row["plot_id"]]
        assert float(row["cut_bank_m3"]) == pytest.approx(sum(float(r["cut_bank_m3"]) for r in own), abs=0.2)


def test_price_spreads_at_least_as_triangular_rates_do_alone(whole):
    folder, _, rows = whole
    for row in feasible(rows):
        items = json.loads((folder / "plots" / row["plot_id"] / "result.json").read_text(encoding="utf-8"))["items"]
        low, likely, high = (np.array([i["rate"][k] for i in items]) for k in range(3))
        quantity = np.array([i["quantity"] for i in items])
        random = np.random.default_rng(20261125)
        spread = np.maximum(high - low, 1e-12)
        drawn = random.triangular(low, likely, low + spread, size=(200_000, len(items))) @ quantity
        p10, p50, p90 = (float(row[f"cost_p{share}"]) for share in (10, 50, 90))
        # Errors of the ground come on top, and a machine that digs deeper than drawn only ever digs more.
        assert p90 - p10 > 0.98 * (np.percentile(drawn, 90) - np.percentile(drawn, 10))
        assert p50 > 0.99 * np.percentile(drawn, 50)
        assert p50 < 1.35 * np.percentile(drawn, 50)


def test_ranking_is_the_weighted_mean_of_land_space_and_price(whole):
    rows = whole[2]
    fitting = feasible(rows)
    land = np.array([float(r["mean_suitability"]) for r in fitting])
    area = np.array([float(r["enclosed_area_m2"]) for r in fitting])
    price = np.array([float(r["cost_p50"]) for r in fitting]) / area
    score = 100 * (3 * land + 3 * area / area.max() + 2 * price.min() / price) / 8
    assert [float(r["score"]) for r in fitting] == pytest.approx(score, abs=0.02)
    assert [int(r["rank"]) for r in fitting] == list(range(1, len(fitting) + 1))
    assert list(score) == sorted(score, reverse=True)
    assert sum(float(r["first_place_share"]) for r in rows) == pytest.approx(1.0, abs=1e-3)


def test_the_tunnel_is_about_as_long_as_on_level_ground(whole):
    """On level ground: down the skirt, straight to the apron's edge, up through its cover; slopes change it little."""
    _, given, rows = whole
    down, reach, cover = given["depth_m"], given["apron_reach_m"], given["apron_cover_m"]
    level = down + np.hypot(reach, down - cover) + cover
    for row in feasible(rows):
        assert 0.55 * level / 13 < float(row["escape_dig_rate_m_per_h"]) <= 1.0001 * level / 13


def test_a_plot_where_nothing_fits_says_what_stands_in_the_way(whole, demo):
    rows = whole[2]
    refused = [r for r in [*rows, *rows_of(demo / "ranking.csv")] if r["feasible"] != "true"]
    assert refused
    for row in refused:
        assert "ha" in row["reason"]
        assert row["rank"] == row["score"] == row["cost_p50"] == ""
