"""The GeoPackage, read back by another library than the one that wrote it."""

import math

import fiona
import pytest
from pyproj import CRS
from shapely.geometry import box, shape

from packpale.review.layers.geopackage import write_geopackage, write_plot_layers, write_screened_layers
from packpale.review.plot_layers import read_layer, read_layers
from packpale.review.summary import read_summary
from review import factory
from told import say

LAYERS = [
    "plots",
    "usable_land",
    "limits",
    "fence_lines",
    "alternatives",
    "aprons",
    "stations",
    "posts",
    "gates",
    "airlocks",
    "gate_leaves",
    "stakes",
    "touches",
    "over_limits",
    "trench_stretches",
    "dig_stretches",
    "climb_stretches",
    "climbing_aids",
    "crossings",
    "inside",
    "advised_pits",
    "dens",
    "patrol",
    "patrol_checks",
    "howl_reach",
    "howl_levels",
    "viewpoints",
    "neighbours",
]
FENCE_LINE = [
    "plot_id",
    "pack",
    "big_x",
    "big_y",
    "axis_bearing_deg",
    "big_radius_m",
    "small_radius_m",
    "flank_radius_m",
    "centre_spacing_m",
    "area_m2",
    "perimeter_m",
    "area_bound_m2",
    "fit_s",
    "origin",
    "length_3d_m",
    "corners",
]


def features(run, layer):
    with fiona.open(run.folder / "packpale.gpkg", layer=layer) as file:
        return list(file)


def test_layers_and_crs(run):
    path = run.folder / "packpale.gpkg"
    assert sorted(fiona.listlayers(path)) == sorted(LAYERS)
    for layer in LAYERS:
        with fiona.open(path, layer=layer) as file:
            assert CRS.from_wkt(file.crs_wkt) == CRS.from_user_input(factory.CRS)


def test_fence_line_is_the_egg_within_its_chord_error(run):
    (first, *_) = features(run, "fence_lines")
    egg = run.plots[0].enclosure.packs[0].fit.egg
    assert list(first.properties) == FENCE_LINE
    outline = shape(first.geometry)
    # An inscribed polygon loses less than chord error times length.
    assert 0 <= egg.area - outline.area < 0.001 * egg.perimeter
    assert 0 <= egg.perimeter - outline.length < 1e-4 * egg.perimeter
    for name in ("big_x", "big_y", "axis_bearing_deg"):
        assert first.properties[name] == getattr(egg, name)
    for name in ("big_radius", "small_radius", "flank_radius", "centre_spacing", "perimeter"):
        assert first.properties[f"{name}_m"] == getattr(egg, name)
    assert first.properties["area_m2"] == egg.area
    assert first.properties["origin"] == "fitted"
    assert first.properties["length_3d_m"] == run.plots[0].enclosure.packs[0].length_3d


def test_apron_is_the_strip_beside_the_fence(run):
    (first, *_) = features(run, "aprons")
    egg = run.plots[0].enclosure.packs[0].fit.egg
    reach = run.settings.trench.apron_reach_m
    # Steiner's formula for a parallel body of a convex figure: L d + pi d^2.
    assert shape(first.geometry).area == pytest.approx(egg.perimeter * reach + 3.141592653589793 * reach**2, rel=1e-4)


def test_points_are_those_of_the_rooms(run):
    pack = run.plots[0].enclosure.packs[0]
    for layer, x in (("stations", pack.alignment.x), ("posts", pack.posts.x), ("gates", pack.gates.x)):
        found = [f for f in features(run, layer) if f.properties["plot_id"] == "north field"]
        on_line = [f for f in found if "airlock" not in str(f.properties.get("kind"))]
        assert [f.geometry.coordinates[0] for f in on_line] == x.tolist()


def test_posts_say_what_each_is_for(run):
    pack = run.plots[0].enclosure.packs[0]
    found = [f for f in features(run, "posts") if f.properties["plot_id"] == "north field"]
    kinds = [f.properties["kind"] for f in found]
    own = [kind for kind in kinds if "airlock" not in kind]
    assert own == list(pack.posts.kind)
    assert {kind: own.count(kind) for kind in ("bend", "gate")} == {"bend": 4, "gate": 0}
    assert [f.properties["post"] for f in found] == list(range(1, len(kinds) + 1))


def test_airlocks_are_rooms_with_their_posts_on_the_edge(run):
    rooms = features(run, "airlocks")
    posts = features(run, "posts")
    assert rooms
    for room in rooms:
        name = {key: room.properties[key] for key in ("plot_id", "pack")}
        area = shape(room.geometry)
        kind = f"of airlock {room.properties['gate']}"
        mine = [f for f in posts if f.properties["kind"].endswith(kind) and name.items() <= dict(f.properties).items()]
        assert mine
        assert all(area.exterior.distance(shape(f.geometry)) < 1e-6 for f in mine)
        assert area.area == pytest.approx(room.properties["length_m"] * room.properties["width_m"])
        assert area.area == pytest.approx(room.properties["area_m2"])
        (lot,) = (f for f in features(run, "fence_lines") if name.items() <= dict(f.properties).items())
        assert area.difference(shape(lot.geometry)).area < 0.01 * area.area


def test_touches_lie_on_the_limits_and_name_them(run):
    touches = run.plots[0].enclosure.packs[0].touches
    found = [f for f in features(run, "touches") if f.properties["plot_id"] == "north field"]
    assert [f.geometry.coordinates for f in found] == [(t.limit_x, t.limit_y) for t in touches]
    assert [dict(f.properties) for f in found] == [
        {
            "plot_id": "north field",
            "pack": 1,
            "chainage_m": t.chainage,
            "distance_m": pytest.approx(math.dist((t.x, t.y), (t.limit_x, t.limit_y))),
            "limit": " and ".join(map(say, t.limits)),
        }
        for t in touches
    ]


def test_limits_and_the_line_over_them(run):
    plot = run.plots[0]
    found = [f for f in features(run, "limits") if f.properties["plot_id"] == "north field"]
    assert [(f.properties["kind"], f.properties["name"], f.properties["may_lie_inside"]) for f in found] == [
        (limit.kind, say(limit.name), limit.may_lie_inside) for limit in plot.land.limits
    ]
    for feature, limit in zip(found, plot.land.limits, strict=True):
        assert shape(feature.geometry).symmetric_difference(limit.area).area < 1e-6
    (pack,) = plot.enclosure.packs
    assert pack.over_limits, "the plot's stream is meant to pass under its fence line"
    over = [f for f in features(run, "over_limits") if f.properties["plot_id"] == "north field"]
    assert [(f.properties["kind"], f.properties["from_m"], f.properties["to_m"]) for f in over] == [
        (s.kind, s.from_m, s.to_m) for s in pack.over_limits
    ]
    soft = {limit.kind: limit.area for limit in plot.land.limits}
    for feature in over:
        line = shape(feature.geometry)
        # Chords of 1 m on the smallest radius, 32.5 m, are short by 4 parts in 100,000.
        assert line.length == pytest.approx(feature.properties["to_m"] - feature.properties["from_m"], rel=1e-4)
        assert line.distance(soft[feature.properties["kind"]]) < 5.2


def test_plots_carry_their_place(run):
    plots = {f.properties["plot_id"]: f.properties for f in features(run, "plots")}
    assert plots.keys() == {"north field", factory.HOSTILE, factory.FORMULA}
    # The two are the same plot under two names: equal scores stand in the order of their names.
    assert [plots[factory.HOSTILE]["rank"], plots["north field"]["rank"]] == [1, 2]
    assert plots[factory.FORMULA]["rank"] is None
    assert plots[factory.FORMULA]["reason"].startswith("no fence line")


def test_same_run_gives_the_same_bytes(run, tmp_path):
    summaries = [read_summary(run.folder / f"plots/plot-{k}/result.json") for k in range(3)]
    path = tmp_path / "packpale.gpkg"
    write_geopackage(factory.finished(summaries), run.ranking, factory.CRS, path, plots=run.folder / "plots")
    assert (tmp_path / "packpale.gpkg").read_bytes() == (run.folder / "packpale.gpkg").read_bytes()


def test_layers_without_rows_are_there(run, tmp_path):
    summary = read_summary(run.folder / "plots/plot-2/result.json")
    (row,) = [r for r in run.ranking.rows if r.plot_id == summary.plot_id]
    path, ranking = tmp_path / "packpale.gpkg", type(run.ranking)((row,))
    write_geopackage(factory.finished([summary]), ranking, factory.CRS, path, plots=run.folder / "plots")
    with fiona.open(tmp_path / "packpale.gpkg", layer="fence_lines") as file:
        assert len(file) == 0
        assert list(file.schema["properties"]) == FENCE_LINE


def of_first(run, layer):
    return [f for f in features(run, layer) if f.properties["plot_id"] == run.plots[0].site.plot_id]


def test_stretches_of_trench_lie_on_the_fence_line(run):
    line = shape(features(run, "fence_lines")[0].geometry).exterior
    found = of_first(run, "trench_stretches")
    works = run.plots[0].earthworks
    # Rock and water of the invented plot: 1.2 m deep with water at 1.1 m, dug at most 0.05 m deeper than drawn.
    kinds = {f.properties["kind"] for f in found}
    assert {"in water", "way out if over-dug"} <= kinds
    # On its slopes the higher edge of the cut stands more than 5 ft over the bottom in places.
    assert "walls protected" in kinds
    assert all(f.properties["worst_m"] >= 1.524 for f in found if f.properties["kind"] == "walls protected")
    for f in found:
        where = shape(f.geometry)
        assert where.length == pytest.approx(f.properties["length_m"], rel=1e-3)
        assert line.hausdorff_distance(where) < 0.02 or where.within(line.buffer(0.02))
    (wet,) = [f for f in found if f.properties["kind"] == "in water"]
    assert wet.properties["length_m"] == pytest.approx(works.plant.wet_length)
    assert wet.properties["worst_m"] == pytest.approx(0.1)
    # All the way round: closed.
    assert shape(wet.geometry).coords[0] == pytest.approx(shape(wet.geometry).coords[-1])


def test_advised_pits_stand_on_the_fence_line(run):
    line = shape(features(run, "fence_lines")[0].geometry).exterior
    pits = of_first(run, "advised_pits")
    advised = run.plots[0].earthworks.uncertainty.pits
    assert [(f.properties["pit"], f.properties["flank"]) for f in pits] == [
        (k, p.flank) for k, p in enumerate(advised, start=1)
    ]
    assert all(line.distance(shape(f.geometry)) < 0.01 for f in pits)


def test_the_layers_of_a_plot_are_those_of_the_run(run):
    """Each plot's own file opens in a GIS, with the same rows and figures as the file of all plots."""
    own = run.folder / "plots/plot-0/layers.gpkg"
    there = fiona.listlayers(own)
    assert {"plots", "fence_lines", "stations", "posts", "gates", "patrol", "dens"} <= set(there) <= set(LAYERS)
    for layer in there:
        with fiona.open(own, layer=layer) as file:
            assert CRS.from_wkt(file.crs_wkt) == CRS.from_user_input(factory.CRS)
            mine = [(dict(f.properties), f.geometry) for f in file]
        assert mine
        whole = [(f.properties, f.geometry) for f in of_first(run, layer)]
        assert [g for _, g in mine] == [g for _, g in whole], layer
        assert [p for p, _ in mine] == [{k: p[k] for k in mine[0][0]} for p, _ in whole], layer
    barren = run.folder / "plots/plot-2/layers.gpkg"
    assert sorted(fiona.listlayers(barren)) == ["limits", "plots", "usable_land"]


def test_a_layer_that_is_not_there_has_no_rows(run):
    assert len(read_layer(run.folder / "plots/plot-2/layers.gpkg", "fence_lines")) == 0
    assert len(read_layer(run.folder / "plots/plot-0/layers.gpkg", "fence_lines")) == 1


def test_layers_are_read_back_as_another_library_reads_them(run):
    path = run.folder / "plots/plot-0/layers.gpkg"
    there = read_layers(path)
    assert sorted(there) == sorted(fiona.listlayers(path))
    kinds = set()
    for name, layer in there.items():
        with fiona.open(path, layer=name) as file:
            rows = list(file)
        assert len(layer) == len(rows) > 0
        for told, row in zip(layer.rows(), rows, strict=True):
            geometry = told.pop("geometry")
            assert told == dict(row.properties)
            assert [type(v) for v in told.values()] == [type(v) for v in row.properties.values()]
            kinds |= {type(v) for v in told.values()}
            assert (geometry is None) == (row.geometry is None)
            assert geometry is None or geometry.equals_exact(shape(row.geometry), 0.0)
    assert kinds == {str, int, float, bool, type(None)}


def test_layers_of_a_plot_keep_a_crs_without_a_number_and_what_is_not_known(tmp_path):
    own = CRS.from_proj4("+proj=tmerc +lat_0=47 +lon_0=11 +k=1 +x_0=500000 +y_0=0 +ellps=bessel +units=m")
    known = {"plot_id": "here", "rank": None, "area_m2": None}
    rows = {"plots": [known | {"geometry": box(0, 0, 10, 10)}]}
    for write in (write_plot_layers, write_screened_layers):
        write(rows, own.to_wkt(), tmp_path / "layers.gpkg")
    for name in ("layers.gpkg", "plots.fgb"):
        with fiona.open(tmp_path / name) as file:
            assert CRS.from_wkt(file.crs_wkt) == own
            assert [dict(row.properties) for row in file] == [known]
