"""plan.dxf and points.csv read back: the drawing by ezdxf's own reader and audit, and once more by GDAL's."""

import csv
import dataclasses
import math
import os
import pickle
import subprocess
import sys
from collections import Counter, namedtuple

import ezdxf
import numpy as np
import pyogrio.raw
import pytest
import shapely
from shapely.geometry import LineString, Polygon

from packpale.earthworks.section import TrenchSection
from packpale.enclosure.drawn import DrawnLine
from packpale.enclosure.egg import Egg
from packpale.review import contours as contours_module
from packpale.review.contours import contour_step, contours
from packpale.review.subjects.setting_out import POINTS, peg_rows, stakes
from packpale.review.survey.plan_dxf import LAYERS, write_plan_dxf
from packpale.review.tables import write_table
from review import factory

MM = 0.001
Drawn = namedtuple("Drawn", "result settings path drawing")


def drawn(result, settings, folder):
    path = folder / "plan.dxf"
    write_plan_dxf(result, settings, path)
    return Drawn(result, settings, path, ezdxf.readfile(path))


@pytest.fixture(scope="module")
def egg(fitting, tmp_path_factory):
    return drawn(fitting, factory.project(), tmp_path_factory.mktemp("egg"))


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    """Two packs with the apron inside, under a name that wants to be more than a name."""
    settings = factory.project(trench={"side": "inside", "side_slope": 0.75})
    west, north = 500_000.0, 5_500_000.0
    eggs = (
        Egg(west + 110.0, north - 90.0, 95.0, 40.0, 26.0, 60.0),
        Egg(west + 200.0, north - 200.0, 300.0, 40.0, 25.0, 70.0),
    )
    plot = factory.result(f"{factory.HOSTILE}\n%%d", settings=settings, lines=eggs)
    return drawn(plot, settings, tmp_path_factory.mktemp("two"))


@pytest.fixture(scope="module")
def by_hand(tmp_path_factory):
    """A drawn line with five corners, one of them turning inward."""
    corners = [(60, 60), (60, 190), (120, 150), (200, 190), (200, 60)]
    polygon = Polygon([(500_000 + x, 5_499_720 + y) for x, y in corners])
    settings = factory.project()
    line = DrawnLine.from_polygon(polygon, corner_deg=10.0)
    plot = factory.result(settings=settings, lines=(line,))
    return drawn(plot, settings, tmp_path_factory.mktemp("drawn"))


@pytest.fixture(params=["egg", "two", "by_hand"])
def case(request):
    return request.getfixturevalue(request.param)


def on(case, layer, kind="*"):
    return list(case.drawing.modelspace().query(f'{kind}[layer=="{layer}"]'))


def points_of(entity):
    points = [(x, y) for x, y, *_ in entity.get_points()]
    return points + points[:1] if entity.closed else points


def test_the_drawing_passes_the_audit_and_is_in_metres(case):
    audit = case.drawing.audit()
    assert [error.message for error in audit.errors] == []
    assert [fix.message for fix in audit.fixes] == []
    assert case.drawing.header["$INSUNITS"] == 6
    used = {entity.dxf.layer for entity in case.drawing.modelspace()}
    assert used <= set(LAYERS)
    assert {"fence line", "skirt", "trench edges", "apron edge", "gates", "airlocks", "pegs", "plot boundary"} <= used
    assert {"no-go ground", "watercourses", "notes"} <= used
    text = " ".join(e.dxf.text for e in on(case, "notes"))
    assert "EPSG:32632" in text
    assert "not for construction" in text


def test_radii_are_those_of_the_egg_to_a_millimetre(egg, two):
    for case in (egg, two):
        eggs = [pack.fit.egg for pack in case.result.enclosure.packs]
        wanted = sorted(r for e in eggs for r in (e.big_radius, e.small_radius, e.flank_radius, e.flank_radius))
        for layer in ("fence line", "skirt"):
            arcs = on(case, layer, "ARC")
            assert sorted(arc.dxf.radius for arc in arcs) == pytest.approx(wanted, abs=MM / 1000)
            assert len(on(case, layer)) == len(arcs)


def test_arcs_join_to_the_fence_line(egg, two):
    """Ends meet, directions too; the length is the perimeter, and every point lies on the egg."""
    for case in (egg, two):
        arcs = on(case, "fence line", "ARC")
        ends = Counter(
            tuple(round(v, 4) for v in point)[:2] for arc in arcs for point in (arc.start_point, arc.end_point)
        )
        packs = case.result.enclosure.packs
        assert len(ends) == 4 * len(packs)
        assert set(ends.values()) == {2}
        length = sum(arc.dxf.radius * math.radians((arc.dxf.end_angle - arc.dxf.start_angle) % 360) for arc in arcs)
        assert length == pytest.approx(sum(p.fit.egg.perimeter for p in packs), abs=MM)
        for arc in arcs:
            x, y, _ = np.array([tuple(v) for v in arc.flattening(0.001)]).T
            assert np.min([np.abs(p.fit.egg.distance(x, y)).max() for p in packs]) < MM


def test_edges_are_parallel_to_the_line_at_their_distance(egg, two):
    for case in (egg, two):
        trench = case.settings.trench
        out = 1 if trench.side == "outside" else -1
        section = TrenchSection(
            trench.depth_m, trench.bottom_width_m, trench.apron_reach_m, trench.apron_cover_m, trench.side_slope
        )
        for layer, offsets in (("apron edge", [trench.apron_reach_m]), ("trench edges", section.edges)):
            big = sorted(p.fit.egg.big_radius + out * d for p in case.result.enclosure.packs for d in offsets)
            radii = [arc.dxf.radius for arc in on(case, layer, "ARC")]
            for radius in big:
                assert min(abs(r - radius) for r in radii) < MM / 1000
            assert len(radii) == 4 * len(big)


def test_a_drawn_line_is_a_closed_polyline_of_its_corners(by_hand):
    (line,) = on(by_hand, "fence line")
    assert line.closed
    polygon = Polygon(points_of(line))
    wanted = by_hand.result.enclosure.packs[0].line.polygon()
    assert polygon.symmetric_difference(wanted).area < MM


def test_pegs_stakes_gates_and_airlocks_stand_where_they_should(case):
    table = list(peg_rows(case.result, case.settings))
    at = np.array([tuple(p.dxf.location) for p in on(case, "pegs", "POINT")])
    assert at == pytest.approx(np.array([(r["x"], r["y"], r["ground_m"]) for r in table]), abs=MM / 1000)
    assert [t.dxf.text for t in on(case, "peg numbers", "TEXT")] == [str(r["peg"]) for r in table]
    packs = case.result.enclosure.packs
    at = np.array([tuple(p.dxf.location)[:2] for p in on(case, "stakes", "POINT")])
    assert at == pytest.approx(np.array([(s.x, s.y) for p in packs for s in stakes(p)]), abs=MM / 1000)
    # Of several packs each stake says whose it is, as in points.csv.
    names = [t.dxf.text.split(":")[0] for t in on(case, "stakes", "TEXT")]
    assert names == [f"{p.number}-{s.name}" if len(packs) > 1 else s.name for p in packs for s in stakes(p)]
    gates = [LineString(points_of(e)) for e in on(case, "gates", "LWPOLYLINE")]
    rooms = [Polygon(points_of(e)) for e in on(case, "airlocks", "LWPOLYLINE")]
    fence = case.settings.fence
    assert len(rooms) == fence.gates * len(packs)
    assert len(gates) == 2 * len(rooms)
    for room in rooms:
        assert room.area == pytest.approx(fence.airlock_length_m * fence.airlock_width_m, rel=0.01)
        # One gate at each end of the room.
        assert sum(room.buffer(0.3).contains(gate) for gate in gates) == 2


def test_boundary_limits_and_surroundings_are_those_of_the_plot(case):
    site, land = case.result.site, case.result.land
    rings = [Polygon(points_of(e)) for e in on(case, "plot boundary", "LWPOLYLINE")]
    assert shapely.union_all(rings).symmetric_difference(site.outline).area < MM
    lengths = {
        "no-go ground": sum(x.area.boundary.length for x in land.limits if not x.may_lie_inside),
        "ground past a limit": sum(x.area.boundary.length for x in land.limits if x.may_lie_inside),
        "watercourses": sum(g.length for g in site.features["watercourses"]),
    }
    for layer, length in lengths.items():
        drawn = sum(LineString(points_of(e)).length for e in on(case, layer, "LWPOLYLINE"))
        assert drawn == pytest.approx(length, abs=MM)


def test_contours_lie_on_the_ground_at_their_level(egg):
    """The ground between cells' centres, read bilinearly, differs from the level by what its bend leaves."""
    site = egg.result.site
    lines = on(egg, "contours", "LWPOLYLINE")
    assert len(lines) > 5
    for line in lines:
        x, y = np.array(points_of(line)).T
        level = site.grid.bilinear(site.elevation, x, y)
        assert np.nanmax(np.abs(level - line.dxf.elevation)) < 0.05
        assert line.dxf.elevation % contour_step(site) == pytest.approx(0.0, abs=1e-9)


def test_contours_of_large_ground_go_through_the_means_of_squares(egg, monkeypatch):
    site = egg.result.site
    monkeypatch.setattr(contours_module, "MOST_CELLS", site.grid.rows * site.grid.cols // 9)
    lines = list(contours(site, site.outline.bounds))
    assert len({level for level, _ in lines}) > 2
    for level, points in lines:
        # Means of squares three cells wide lie near the ground in their middle.
        ground = site.grid.bilinear(site.elevation, *points.T)
        assert np.nanmax(abs(ground - level)) < 0.3
    monkeypatch.undo()
    assert sum(len(p) for _, p in contours(site, site.outline.bounds)) > 1.2 * sum(len(p) for _, p in lines)


def test_contours_of_a_plane_are_straight_and_evenly_apart(egg):
    site = egg.result.site
    x, _ = np.meshgrid(*site.grid.centres())
    tilted = dataclasses.replace(site, elevation=200 + 0.1 * (x - x.min()))
    found = dict(contours(tilted, site.outline.bounds))
    step = contour_step(tilted)
    assert len(found) > 5
    for level, points in found.items():
        assert points[:, 0] == pytest.approx(x.min() + (level - 200) / 0.1, abs=1e-6)
    assert np.diff(sorted(found)) == pytest.approx(step)


def test_gdal_reads_the_same_layers(case):
    """An independent reader: arcs come back as lines of points on the fence."""
    meta, _, wkb, columns = pyogrio.raw.read(case.path)
    layer = dict(zip(meta["fields"], columns, strict=True))["Layer"]
    shapes = shapely.from_wkb(wkb)
    line = shapely.union_all(shapes[layer == "fence line"])
    wanted = shapely.union_all([p.line.polygon(0.001).exterior for p in case.result.enclosure.packs])
    # GDAL breaks arcs into chords of four degrees.
    radii = [arc.radius for p in case.result.enclosure.packs for arc in p.line.arcs() if math.isfinite(arc.radius)]
    assert line.hausdorff_distance(wanted) < max(radii, default=0.0) * (1 - math.cos(math.radians(2))) + 2 * MM
    assert Counter(layer)["pegs"] == len(list(peg_rows(case.result, case.settings)))


def test_same_plot_same_bytes(case, tmp_path):
    before = ezdxf.options.write_fixed_meta_data_for_testing
    write_plan_dxf(case.result, case.settings, tmp_path / "again.dxf")
    assert (tmp_path / "again.dxf").read_bytes() == case.path.read_bytes()
    assert ezdxf.options.write_fixed_meta_data_for_testing is before


def test_every_process_gives_the_same_bytes(egg, tmp_path):
    """Processes differ in the order in which they walk through sets."""
    (tmp_path / "plot.pickle").write_bytes(pickle.dumps((egg.result, egg.settings)))
    script = (
        "import pathlib, pickle, sys; from packpale.review.survey.plan_dxf import write_plan_dxf; "
        "plot = pickle.loads(pathlib.Path(sys.argv[1]).read_bytes()); write_plan_dxf(*plot, pathlib.Path(sys.argv[2]))"
    )
    for seed in "12345":
        path = tmp_path / f"{seed}.dxf"
        with_seed = os.environ | {"PYTHONHASHSEED": seed}
        subprocess.run([sys.executable, "-c", script, tmp_path / "plot.pickle", path], env=with_seed, check=True)
        assert path.read_bytes() == egg.path.read_bytes()


def test_points_are_stakes_and_pegs_with_their_ground(case, tmp_path):
    write_table(tmp_path / "points.csv", POINTS.columns, POINTS.rows(case.result, case.settings))
    text = (tmp_path / "points.csv").read_text(encoding="utf-8")
    assert text.startswith("name,E,N,Z,code\n")
    table = list(csv.DictReader(text.splitlines()))
    assert len({row["name"] for row in table}) == len(table)
    pegs = list(peg_rows(case.result, case.settings))
    mine = [row for row in table if row["code"] != "stake"]
    for row, peg in zip(mine, pegs, strict=True):
        assert row["name"] == f"{peg['pack']}-peg-{peg['peg']}"
        assert [float(row[k]) for k in "ENZ"] == pytest.approx([peg["x"], peg["y"], peg["ground_m"]], abs=0.6 * MM)
        assert row["code"] == peg["kind"].replace(" ", "_")
    named = {row["name"]: row for row in table if row["code"] == "stake"}
    for pack in case.result.enclosure.packs:
        for stake in stakes(pack):
            row = named[f"{pack.number}-{stake.name}"]
            assert (float(row["E"]), float(row["N"])) == pytest.approx((stake.x, stake.y), abs=0.6 * MM)
    assert not [row["name"] for row in table if any(sign in row["name"] + row["code"] for sign in ' ,;"')]


def test_no_crossing_of_a_level_lies_off_its_contour(egg):
    """Between two cells' centres the level is reached where a straight line says; long lines wind past many of them."""
    site = egg.result.site
    xs, ys = site.grid.centres()
    x, y = np.meshgrid(xs, ys)
    wavy = dataclasses.replace(site, elevation=200 + 0.1 * (x - x.min()) + 0.2 * np.sin(y / 3) * np.sin(x / 5))
    lines = list(contours(wavy, site.grid.bounds))
    assert max(len(points) for _, points in lines) > 100
    for level in {level for level, _ in lines}:
        drawn = shapely.MultiLineString([points for other, points in lines if other == level])
        above = wavy.elevation - level
        row, col = np.nonzero(above[:, :-1] * above[:, 1:] < 0)
        share = above[row, col] / (above[row, col] - above[row, col + 1])
        crossings = shapely.points(xs[col] + share * site.grid.cell, ys[row])
        assert len(crossings) > 50
        assert shapely.distance(crossings, drawn).max() < 0.0101
