"""``packpale fit``: eggs in the polygons of any file, a row for every feature, one line for every fault."""

import math
import subprocess
import sys
import warnings

import fiona
import geopandas
import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from made_drawings import drawing, polyline, text

UTM = "EPSG:32632"
HOME = (500_000.0, 5_400_000.0)


def packpale_fit(*arguments):
    command = [sys.executable, "-m", "packpale.cli", "fit", *map(str, arguments)]
    # Whatever it is given, it ends: nothing here takes a minute on a machine of its own.
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=600)


def file_of(tmp_path, shapes, *, crs=UTM, name="fields.gpkg", layer="fields"):
    """A vector file of named shapes, laid at a real place."""
    moved = [None if s is None else shapely.transform(s, lambda p: p + HOME) for s in shapes.values()]
    frame = geopandas.GeoDataFrame({"name": list(shapes)}, geometry=moved, crs=UTM)
    path = tmp_path / name
    frame = frame.to_crs(crs) if crs else frame.set_crs(None, allow_override=True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # the writer's, where a file without a CRS is wanted
        frame.to_file(path, layer=layer, engine="pyogrio")
    return path


def rows_of(path):
    with fiona.open(path, layer="fence_lines") as features:
        return features.crs, [(dict(f["properties"]), f["geometry"]) for f in features]


def without_number():
    with np.errstate(invalid="ignore"):
        return Polygon([(4000, 0), (4100, 0), (math.nan, 50), (4000, 100)])


SHAPES = {
    "field": box(0, 0, 300, 200),
    "sliver": box(0, 500, 400, 504),
    "two parts": MultiPolygon([box(1000, 0, 1100, 100), box(1200, 0, 1400, 200)]),
    "nothing": None,
    "a line": LineString([(0, 0), (10, 10)]),
    "crossed": Polygon([(2000, 0), (2200, 200), (2200, 0), (2000, 200)]),
    "no width": Polygon([(3000, 0), (3010, 0), (3020, 0)]),
    "no number": without_number(),
    "touching itself": Polygon([(5000, 0), (5200, 0), (5200, 200), (5100, 0), (5000, 200)]),
}


def test_every_feature_has_a_row_with_an_egg_or_a_reason(tmp_path):
    source = file_of(tmp_path, SHAPES)
    out = tmp_path / "new" / "eggs.gpkg"
    done = packpale_fit(source, "--out", out, "--id", "name")
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == f"{out}: eggs in 4 of 9 features"
    notes = done.stderr.strip().splitlines()
    for number in (6, 9):
        assert (
            sum(n.startswith(f"note: feature {number}: The boundary crossed itself and was repaired") for n in notes)
            == 1
        )
    assert "Warning" not in done.stderr
    crs, rows = rows_of(out)
    assert crs.to_epsg() == 32632
    assert [r["id"] for r, _ in rows] == list(SHAPES)
    assert [r["feature"] for r, _ in rows] == list(range(1, 10))
    by_name = {r["id"]: (r, g) for r, g in rows}
    assert by_name["nothing"][0]["reason"] == "has no geometry"
    assert by_name["a line"][0]["reason"] == "is a LineString, not a polygon"
    assert "has a ring that encloses no area" in by_name["no width"][0]["reason"]
    assert "has a coordinate that is not a finite number" in by_name["no number"][0]["reason"]
    # The larger of the two triangles that meet in a point.
    assert 0.3 * 10_000 / 2 < by_name["touching itself"][0]["area_m2"] < 10_000
    assert by_name["sliver"][0]["reason"].startswith(
        "no fence line fits that bends no tighter than a radius of 15 m: the largest"
    )
    assert by_name["sliver"][0]["area_m2"] is None
    assert by_name["sliver"][1] is None
    for name in ("field", "two parts"):
        row, geometry = by_name[name]
        egg = shapely.geometry.shape(geometry)
        land = shapely.transform(SHAPES[name], lambda p: p + HOME)
        assert egg.difference(land.buffer(1e-3)).area == 0
        # Chords at most 1 mm off the true arcs.
        assert egg.area == pytest.approx(row["area_m2"], abs=1e-3 * egg.length)
        assert row["area_m2"] <= row["area_bound_m2"]
        assert math.hypot(row["big_x"] - HOME[0], row["big_y"] - HOME[1]) < 2000


def test_area_packs_separation_and_clearance_are_kept(tmp_path):
    source = file_of(tmp_path, {"field": box(0, 0, 400, 300)})
    out = tmp_path / "eggs.gpkg"
    done = packpale_fit(
        source, "--out", out, "--packs", 2, "--separation", 25, "--area-ha", 1.5, "--clearance", 8, "--min-radius", 30
    )
    assert done.returncode == 0, done.stderr
    _, rows = rows_of(out)
    eggs = [shapely.geometry.shape(g) for _, g in rows]
    assert [r["pack"] for r, _ in rows] == [1, 2]
    assert [r["area_m2"] for r, _ in rows] == pytest.approx([15_000, 15_000])
    assert all(r["small_radius_m"] >= 30 - 1e-6 for r, _ in rows)
    assert eggs[0].distance(eggs[1]) >= 25 - 1e-3
    land = shapely.transform(box(0, 0, 400, 300), lambda p: p + HOME)
    assert all(land.exterior.distance(egg) >= 8 - 1e-3 for egg in eggs)
    assert all(r["id"] == "1" for r, _ in rows)


def test_degrees_are_moved_to_the_utm_zone_and_that_is_said(tmp_path):
    metres, degrees = tmp_path / "m.gpkg", tmp_path / "d.gpkg"
    source = file_of(tmp_path, {"field": box(0, 0, 300, 200)})
    moved = file_of(tmp_path, {"field": box(0, 0, 300, 200)}, crs="EPSG:4326", name="degrees.geojson")
    assert packpale_fit(source, "--out", metres).returncode == 0
    done = packpale_fit(moved, "--out", degrees)
    assert done.returncode == 0, done.stderr
    assert "degrees.geojson: EPSG:4326 is not in metres. All is computed and written in EPSG:32632." in done.stderr
    areas = [rows_of(p)[1][0][0]["area_m2"] for p in (metres, degrees)]
    assert areas[0] == pytest.approx(areas[1], rel=1e-4)


def test_same_polygons_same_bytes_but_for_the_time_taken(tmp_path):
    source = file_of(tmp_path, SHAPES)
    for name in ("a.gpkg", "b.gpkg"):
        assert packpale_fit(source, "--out", tmp_path / name).returncode == 0
    first, second = (rows_of(tmp_path / n)[1] for n in ("a.gpkg", "b.gpkg"))
    for (a, ga), (b, gb) in zip(first, second, strict=True):
        assert {k: v for k, v in a.items() if k != "fit_s"} == {k: v for k, v in b.items() if k != "fit_s"}
        assert ga == gb


def test_a_hundred_thousand_corners_end_in_bounded_time(tmp_path):
    angle = np.linspace(0, 2 * np.pi, 100_000, endpoint=False)
    radius = 200 + 3 * np.sin(997 * angle) + 20 * np.sin(3 * angle)
    source = file_of(tmp_path, {"rough": Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))})
    # About 10 s of work on a machine of its own; what matters is that it ends.
    done = packpale_fit(source, "--out", tmp_path / "eggs.gpkg")
    assert done.returncode == 0, done.stderr
    ((row, _),) = rows_of(tmp_path / "eggs.gpkg")[1]
    # The inscribed circle of 200 - 20 - 3 m is surely held by some egg's big end or beaten by it.
    assert 0.8 * math.pi * 177**2 < row["area_m2"] <= row["area_bound_m2"] < 1.02 * row["area_m2"]


FAULTS = {
    "no such file": (lambda p: p / "none.gpkg", [], "none.gpkg"),
    "no CRS": (lambda p: file_of(p, {"f": box(0, 0, 9, 9)}, crs=None), [], "has no coordinate reference system"),
    "no such column": (lambda p: file_of(p, {"f": box(0, 0, 9, 9)}), ["--id", "nam"], "did you mean"),
    "no such layer": (lambda p: file_of(p, {"f": box(0, 0, 9, 9)}), ["--layer", "field"], "did you mean 'fields'?"),
    "packs": (lambda p: file_of(p, {"f": box(0, 0, 9, 9)}), ["--packs", 4], "--packs: found 4; input should be less"),
    "radius": (lambda p: file_of(p, {"f": box(0, 0, 9, 9)}), ["--min-radius", -2], "--min-radius: found -2.0; input"),
    "area": (lambda p: file_of(p, {"f": box(0, 0, 9, 9)}), ["--area-ha", 0], "--area-ha: found 0.0; input should be"),
    "not a number": (lambda p: file_of(p, {"f": box(0, 0, 9, 9)}), ["--separation", "nan"], "--separation: found nan"),
}


@pytest.mark.parametrize(("make", "options", "message"), FAULTS.values(), ids=FAULTS)
def test_a_fault_is_one_line_and_nothing_is_written(tmp_path, make, options, message):
    out = tmp_path / "eggs.gpkg"
    done = packpale_fit(make(tmp_path), "--out", out, *options)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert message in done.stderr
    assert not out.exists()


def test_an_existing_file_is_not_overwritten_and_another_format_is_refused(tmp_path):
    source = file_of(tmp_path, {"f": Point(0, 0).buffer(100)})
    out = tmp_path / "eggs.gpkg"
    out.write_bytes(b"mine")
    done = packpale_fit(source, "--out", out)
    assert done.returncode == 2
    assert "exists and is not overwritten" in done.stderr
    assert out.read_bytes() == b"mine"
    done = packpale_fit(source, "--out", tmp_path / "eggs.shp")
    assert done.returncode == 2
    assert "ends in .gpkg" in done.stderr
    assert not list(tmp_path.glob(".*partial*"))


def test_holes_may_lie_inside(tmp_path):
    """A hole that the egg can hold changes nothing; where they may not lie inside, it halves the land."""
    pond = Point(150, 100).buffer(15)
    source = file_of(tmp_path, {"field": box(0, 0, 300, 200), "with pond": box(0, 0, 300, 200).difference(pond)})
    areas, eggs = {}, {}
    for name, options in {"off": [], "inside": ["--holes-inside"]}.items():
        out = tmp_path / f"{name}.gpkg"
        done = packpale_fit(source, "--out", out, "--id", "name", "--clearance", "4", *options)
        assert done.returncode == 0, done.stderr
        _, rows = rows_of(out)
        areas[name] = {r["id"]: r["area_m2"] for r, _ in rows}
        eggs[name] = {r["id"]: shapely.geometry.shape(g) for r, g in rows}
    assert areas["inside"]["field"] == areas["off"]["field"]
    assert areas["inside"]["with pond"] == pytest.approx(areas["off"]["field"], rel=1e-6)
    assert areas["off"]["with pond"] < 0.6 * areas["off"]["field"]
    pond = shapely.transform(pond, lambda p: p + HOME)
    assert eggs["inside"]["with pond"].contains(pond)
    assert eggs["inside"]["with pond"].exterior.distance(pond) > 0


def test_the_line_keeps_off_holes_that_lie_inside(tmp_path):
    """A ditch across the whole field: no line may cross it."""
    ditch = box(140, 1, 146, 199)
    source = file_of(tmp_path, {"halves": box(0, 0, 300, 200).difference(ditch)})
    out = tmp_path / "eggs.gpkg"
    done = packpale_fit(
        source, "--out", out, "--clearance", "3", "--holes-inside", "--packs", "2", "--separation", "10"
    )
    assert done.returncode == 0, done.stderr
    _, rows = rows_of(out)
    ditch = shapely.transform(ditch, lambda p: p + HOME)
    assert len(rows) == 2
    for row, geometry in rows:
        fence = shapely.geometry.shape(geometry)
        assert fence.distance(ditch) >= 3 - 1e-3
        assert row["area_m2"] > 10_000


def test_closed_lines_of_a_drawing_are_fitted_in_the_crs_that_is_named(tmp_path):
    x, y = HOME
    rings = [[(x, y), (x + 200, y), (x + 200, y + 200), (x, y + 200)], [(x, y), (x + 9, y), (x, y + 9)]]
    entities = [polyline("FIELDS", rings[0]), text(x + 99, y + 99, "Long meadow"), polyline("HOUSES", rings[1])]
    path = tmp_path / "fields.dxf"
    path.write_text(drawing(*entities), encoding="utf-8")
    out = tmp_path / "eggs.gpkg"
    for options, said in (
        (["--crs", UTM], "fields.dxf: has closed lines on the layers 'FIELDS', 'HOUSES'; name one of them as --layer"),
        (["--layer", "FIELDS"], "on the Earth; start again with --crs, such as --crs EPSG:25832"),
        (["--layer", "FIELDS", "--crs", "EPSG:1"], '--crs: "EPSG:1" is no CRS; write an EPSG code such as'),
    ):
        done = packpale_fit(path, "--out", out, *options)
        assert (done.returncode, len(done.stderr.splitlines())) == (2, 1), done.stderr
        assert said in done.stderr
    done = packpale_fit(path, "--out", out, "--layer", "FIELDS", "--crs", UTM, "--id", "Text")
    assert done.returncode == 0, done.stderr
    crs, ((row, _),) = rows_of(out)
    assert (crs, row["id"]) == (UTM, "Long meadow")
    # The largest egg in a square holds at least the circle drawn into one some tenth smaller.
    assert math.pi * 90**2 < row["area_m2"] < 200**2


def test_a_crs_beside_the_file_s_own_is_told(tmp_path):
    done = packpale_fit(file_of(tmp_path, {"a": box(0, 0, 90, 90)}), "--out", tmp_path / "e.gpkg", "--crs", UTM)
    assert done.returncode == 2
    assert done.stderr == f"--crs: has no effect, fields.gpkg says that it is in {UTM}; leave it out\n"
