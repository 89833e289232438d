"""Setting-out files read back by readers that know nothing of our code, and compared to a millimetre."""

import copy
import csv
import itertools
import math
import re
from collections import Counter, namedtuple

import fiona
import numpy as np
import pyogrio.raw
import pytest
import shapely
from lxml import etree
from pyproj import Transformer
from shapely.geometry import LineString, Polygon, shape

from packpale.enclosure.drawn import DrawnLine
from packpale.review.subjects.setting_out import ARCS, PEGS, SETTING_OUT
from packpale.review.summary import layer_rows
from packpale.review.survey.gpx import write_gpx
from packpale.review.survey.landxml import write_landxml
from packpale.review.survey.pegging import write_pegging
from packpale.review.tables import write_table
from review import factory
from review.factory import SCHEMAS

MM = 0.001
LAND = "{http://www.landxml.org/schema/LandXML-1.2}"
Files = namedtuple("Files", "folder result polygons")


def drawn_line(ground):
    """Eleven corners, one of them inward, and a stretch drawn as a curve."""
    west, north = ground.grid.west, ground.grid.north
    corners = [(70, 200), (60, 120), (95, 70), (150, 60), (210, 85), (205, 120), (165, 130), (215, 160), (200, 210)]
    curve = [(150 + 30 * math.sin(t), 210 + 25 * math.cos(t)) for t in np.linspace(1.3, -1.3, 40)]
    return DrawnLine.from_polygon(Polygon([(west + e, north - n) for e, n in corners + curve]), corner_deg=10.0)


def files_of(result, folder, settings):
    for table in (PEGS, ARCS, SETTING_OUT):
        write_table(folder / table.name, table.columns, table.rows(result, settings))
    write_pegging(result, settings, folder / "pegging.txt")
    write_gpx(result, settings, folder / "fence_line.gpx")
    write_landxml(result, settings, folder / "alignment.xml")


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    settings = factory.project()
    result = factory.result("old fence & field", settings=settings, lines=(drawn_line(factory.site()),))
    folder = tmp_path_factory.mktemp("drawn")
    files_of(result, folder, settings)
    layers = layer_rows(result, settings)
    return Files(folder, result, [row["geometry"] for row in layers["fence_lines"]])


@pytest.fixture(scope="module")
def fitted(run):
    """The plot of the shared run: its files, and the fence line as the GeoPackage has it."""
    with fiona.open(run.folder / "packpale.gpkg", layer="fence_lines") as layer:
        polygons = [shape(f.geometry) for f in layer if f.properties["plot_id"] == "north field"]
    return Files(run.folder / "plots/plot-0", run.plots[0], polygons)


@pytest.fixture(params=["fitted", "drawn"])
def files(request):
    return request.getfixturevalue(request.param)


def rows(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def tree_of(path, schema):
    """The parsed file, checked against a schema."""
    tree = etree.parse(path)
    checker = etree.XMLSchema(etree.parse(SCHEMAS / schema))
    assert checker.validate(tree), checker.error_log
    return tree


# GPX, read by GDAL


def gpx_points(path, layer):
    """Coordinates in the run's CRS and columns of a GPX layer, by GDAL's reader and pyproj."""
    meta, _, wkb, columns = pyogrio.raw.read(path, layer=layer)
    lon, lat = shapely.get_coordinates(shapely.from_wkb(wkb)).T
    x, y = Transformer.from_crs("EPSG:4326", factory.CRS, always_xy=True).transform(lon, lat)
    return np.column_stack([x, y]), dict(zip(meta["fields"], columns, strict=True))


def test_gpx_is_valid(files):
    tree_of(files.folder / "fence_line.gpx", "gpx_1_1.xsd")


def test_the_schema_of_gpx_refuses_what_it_should(files):
    tree = etree.parse(files.folder / "fence_line.gpx")
    checker = etree.XMLSchema(etree.parse(SCHEMAS / "gpx_1_1.xsd"))
    track = tree.getroot().find("{*}trk")
    tree.getroot().insert(0, track)
    assert not checker.validate(tree)


def test_gpx_track_is_the_fence_line(files):
    at, columns = gpx_points(files.folder / "fence_line.gpx", "track_points")
    at = at[columns["track_fid"] == 0]
    (polygon,) = files.polygons
    assert np.hypot(*(at[0] - at[-1])) < MM
    assert shapely.distance(polygon.exterior, shapely.points(at)).max() < MM
    assert polygon.exterior.hausdorff_distance(LineString(at)) < MM
    assert Polygon(at).area == pytest.approx(polygon.area, abs=MM * polygon.length)


def test_gpx_posts_gates_and_stakes_stand_where_they_should(files):
    (pack,) = files.result.enclosure.packs
    at, columns = gpx_points(files.folder / "fence_line.gpx", "route_points")
    line = columns["route_fid"] == 0
    assert np.hypot(*(at[line] - np.column_stack([pack.posts.x, pack.posts.y])).T).max() < MM
    assert columns["type"][line].tolist() == [f"{kind} post" for kind in pack.posts.kind]
    assert columns["ele"][line] == pytest.approx(pack.posts.ground, abs=MM)
    at, columns = gpx_points(files.folder / "fence_line.gpx", "waypoints")
    gates = columns["type"] == "gate"
    assert np.hypot(*(at[gates] - np.column_stack([pack.gates.x, pack.gates.y])).T).max() < MM
    a = at[columns["name"] == "1-A"][0]
    if pack.fit:
        assert a == pytest.approx([pack.fit.egg.big_x, pack.fit.egg.big_y], abs=MM)
    else:
        assert shapely.distance(files.polygons[0].exterior, shapely.Point(a)) < MM


def test_gpx_elevation_is_the_ground_of_the_input(files):
    _, columns = gpx_points(files.folder / "fence_line.gpx", "track_points")
    site = files.result.site
    x, y = np.asarray(files.polygons[0].exterior.coords).T
    assert columns["ele"][columns["track_fid"] == 0] == pytest.approx(site.grid.bilinear(site.elevation, x, y), abs=MM)


# LandXML, read by its schema's own definitions and nothing else


def numbers(element):
    return [float(word) for word in element.text.split()]


def sampled(piece, most=0.05):
    """Points along a Line or Curve as the schema defines it: north east; the radius is Start to Center."""
    (n0, e0), (n1, e1) = (numbers(piece.find(LAND + tag))[:2] for tag in ("Start", "End"))
    if piece.tag == LAND + "Line":
        return [(e0, n0), (e1, n1)], math.hypot(e1 - e0, n1 - n0)
    nc, ec = numbers(piece.find(LAND + "Center"))
    radius = math.hypot(n0 - nc, e0 - ec)
    assert math.hypot(n1 - nc, e1 - ec) == pytest.approx(radius, abs=1e-5)
    begin, end = math.atan2(n0 - nc, e0 - ec), math.atan2(n1 - nc, e1 - ec)
    turn = (begin - end if piece.get("rot") == "cw" else end - begin) % (2 * math.pi)
    sign = -1 if piece.get("rot") == "cw" else 1
    n = math.ceil(radius * turn / most)
    angles = begin + sign * np.linspace(0, turn, n + 1)
    return list(zip(ec + radius * np.cos(angles), nc + radius * np.sin(angles), strict=True)), radius * turn


def test_landxml_alignment_is_the_fence_line(files):
    tree = tree_of(files.folder / "alignment.xml", "landxml_1_2_part.xsd")
    (alignment,) = tree.iter(LAND + "Alignment")
    points, station = [], 0.0
    for piece in alignment.find(LAND + "CoordGeom"):
        more, length = sampled(piece)
        if points:
            assert math.dist(points[-1], more[0]) < 1e-5
        assert float(piece.get("staStart")) == pytest.approx(station, abs=1e-4)
        assert float(piece.get("length")) == pytest.approx(length, abs=1e-4)
        assert not [name for name in piece.attrib if name.startswith("dir")]
        points, station = points + more, station + length
    (polygon,) = files.polygons
    assert math.dist(points[0], points[-1]) < 1e-5
    assert float(alignment.get("length")) == pytest.approx(station, abs=1e-4)
    # The polygon's chords leave the arcs by up to a millimetre, always inward.
    assert shapely.distance(polygon.exterior, shapely.points(points)).max() < 1.01 * MM
    corners = np.asarray(polygon.exterior.coords)
    assert shapely.distance(LineString(points), shapely.points(corners)).max() < MM


def test_landxml_arcs_are_true_arcs(fitted, drawn):
    (alignment,) = etree.parse(fitted.folder / "alignment.xml").iter(LAND + "Alignment")
    egg = fitted.result.enclosure.packs[0].fit.egg
    curves = list(alignment.iter(LAND + "Curve"))
    radii = [egg.big_radius, egg.flank_radius, egg.small_radius, egg.flank_radius, egg.big_radius]
    assert [float(c.get("radius")) for c in curves] == pytest.approx(radii, abs=1e-6)
    assert not list(alignment.iter(LAND + "Line"))
    (alignment,) = etree.parse(drawn.folder / "alignment.xml").iter(LAND + "Alignment")
    assert len(list(alignment.iter(LAND + "Line"))) == len(drawn.result.enclosure.packs[0].drawn.points)
    assert not list(alignment.iter(LAND + "Curve"))


def test_landxml_profile_is_that_of_setting_out(files):
    table = rows(files.folder / "setting_out.csv")
    (alignment,) = etree.parse(files.folder / "alignment.xml").iter(LAND + "Alignment")
    ground = np.reshape(numbers(alignment.find(f".//{LAND}PntList2D")), (-1, 2))
    bottom = np.array([numbers(pvi) for pvi in alignment.iter(LAND + "PVI")])
    for found, column in ((ground, "ground_m"), (bottom, "invert_m")):
        assert len(found) == len(table) + 1
        assert found[:-1, 0] == pytest.approx([float(r["chainage_m"]) for r in table], abs=MM)
        assert found[:-1, 1] == pytest.approx([float(r[column]) for r in table], abs=MM)
        # Closed: the start once more at the end.
        assert found[-1].tolist() == [float(alignment.get("length")), found[0, 1]]


def test_landxml_says_where_it_is_and_holds_the_posts(files):
    tree = etree.parse(files.folder / "alignment.xml")
    assert tree.find(LAND + "CoordinateSystem").get("epsgCode") == factory.CRS.split(":")[1]
    assert tree.find(LAND + "Project").get("name") == files.result.site.plot_id
    (pack,) = files.result.enclosure.packs
    posts = [p for p in tree.iter(LAND + "CgPoint") if p.get("desc").endswith("post")]
    gates = [numbers(p)[:2] for p in tree.iter(LAND + "CgPoint") if p.get("desc").startswith("middle of gate")]
    assert np.array(gates) == pytest.approx(np.column_stack([pack.gates.y, pack.gates.x]), abs=MM)
    places = np.array([numbers(p) for p in posts])
    assert places == pytest.approx(np.column_stack([pack.posts.y, pack.posts.x, pack.posts.ground]), abs=MM)


def first(tree, name):
    return next(tree.iter(LAND + name))


def twice(element):
    element.addnext(copy.deepcopy(element))


LANDXML_FAULTS = {
    "an element that is none": lambda tree: etree.SubElement(tree.getroot(), LAND + "Fence"),
    "an element of no namespace": lambda tree: etree.SubElement(tree.getroot(), "Units"),
    "an attribute that is none": lambda tree: first(tree, "Curve").set("rotation", "cw"),
    "no date": lambda tree: tree.getroot().attrib.pop("date"),
    "a date that is none": lambda tree: tree.getroot().set("date", "1 January 2000"),
    "no sense of rotation": lambda tree: first(tree, "Curve").attrib.pop("rot"),
    "a sense of rotation that is none": lambda tree: first(tree, "Curve").set("rot", "right"),
    "a curve of two points": lambda tree: first(tree, "Curve").remove(first(tree, "Center")),
    "a unit of the other kind": lambda tree: first(tree, "Metric").set("linearUnit", "foot"),
    "no unit of volume": lambda tree: first(tree, "Metric").attrib.pop("volumeUnit"),
    "two kinds of units": lambda tree: twice(first(tree, "Metric")),
    "four coordinates": lambda tree: setattr(first(tree, "Start"), "text", "1 2 3 4"),
    "coordinates with a comma": lambda tree: setattr(first(tree, "Center"), "text", "1.5, 2.5"),
    "a length that is no number": lambda tree: first(tree, "Alignment").set("length", "600 m"),
    "no chainage of the start": lambda tree: first(tree, "Alignment").attrib.pop("staStart"),
    "two alignments of one name": lambda tree: twice(first(tree, "Alignment")),
    "no alignment in the list": lambda tree: first(tree, "Alignments").remove(first(tree, "Alignment")),
    "a profile in the geometry": lambda tree: first(tree, "CoordGeom").append(first(tree, "Profile")),
    "a point of the profile without its level": lambda tree: setattr(first(tree, "PVI"), "text", "12.5"),
    "a surface without points": lambda tree: first(tree, "ProfSurf").remove(first(tree, "PntList2D")),
    "a surface without name": lambda tree: first(tree, "ProfSurf").attrib.pop("name"),
    "two posts of one name": lambda tree: twice(first(tree, "CgPoint")),
    "a state that is none": lambda tree: first(tree, "CgPoint").set("state", "planned"),
}  # fmt: skip


@pytest.mark.parametrize("fault", LANDXML_FAULTS)
def test_the_schema_of_landxml_refuses(fault, fitted):
    checker = etree.XMLSchema(etree.parse(SCHEMAS / "landxml_1_2_part.xsd"))
    tree = etree.parse(fitted.folder / "alignment.xml")
    assert checker.validate(tree)
    LANDXML_FAULTS[fault](tree)
    assert not checker.validate(tree)


def test_the_schema_of_landxml_refuses_a_line_that_ends_before_it_starts(drawn):
    checker = etree.XMLSchema(etree.parse(SCHEMAS / "landxml_1_2_part.xsd"))
    tree = etree.parse(drawn.folder / "alignment.xml")
    line = first(tree, "Line")
    line.append(line[0])
    assert not checker.validate(tree)


REQUIRED = {
    "LandXML": "date time version",
    "Metric": "areaUnit linearUnit volumeUnit temperatureUnit pressureUnit",
    "Project": "name",
    "Application": "name",
    "Alignment": "name length staStart",
    "Curve": "rot",
    "ProfSurf": "name",
    "ProfAlign": "name",
}
ONCE = {"Units": "Metric", "Line": "Start End"}
"""Attributes without which, and parts without or with two of which, LandXML 1.2 takes no element."""


def test_the_schema_of_landxml_refuses_what_is_not_whole(drawn, fitted):
    checker = etree.XMLSchema(etree.parse(SCHEMAS / "landxml_1_2_part.xsd"))
    for files in (drawn, fitted):
        tree = etree.parse(files.folder / "alignment.xml")
        assert checker.validate(tree)
        for name in {*REQUIRED, *ONCE} & {e.tag.removeprefix(LAND) for e in tree.iter()}:
            element = first(tree, name)
            for attribute in REQUIRED.get(name, "").split():
                value = element.attrib.pop(attribute)
                assert not checker.validate(tree), (name, attribute)
                element.set(attribute, value)
            for part in ONCE.get(name, "").split():
                (found,) = element.findall(LAND + part)
                twice(found)
                assert not checker.validate(tree), (name, "two", part)
                element.remove(found.getnext())
                place = element.index(found)
                element.remove(found)
                assert not checker.validate(tree), (name, "no", part)
                element.insert(place, found)
        assert checker.validate(tree)


def test_every_element_that_is_written_is_declared_and_no_other(drawn, fitted):
    declared = {e.get("name") for e in etree.parse(SCHEMAS / "landxml_1_2_part.xsd").getroot().iter("{*}element")} - {
        None
    }
    written = {
        e.tag.removeprefix(LAND) for f in (drawn, fitted) for e in etree.parse(f.folder / "alignment.xml").iter()
    }
    assert written == declared


# Tables and text


def line_pegs(files):
    """Rows of the pegs that stand on the line, without those of the airlocks."""
    return [row for row in rows(files.folder / "pegs.csv") if "airlock" not in row["kind"]]


def test_posts_of_the_bill_are_the_posts_of_the_pegs(files):
    bill = {item.key: item.quantity for item in files.result.earthworks.items}
    kinds = Counter(r["kind"].split()[0] for r in rows(files.folder / "pegs.csv") if r["post"])
    assert bill["post_each"] == kinds["line"]
    assert bill["strutted_post_each"] == kinds["bend"] + kinds["steep"]
    assert bill["gate_post_each"] == kinds["gate"] > 0
    numbers = [int(r["post"]) for r in rows(files.folder / "pegs.csv") if r["post"]]
    assert sorted(numbers) == list(range(1, len(numbers) + 1))


def test_airlocks_are_pegged_inside_the_fence(files):
    (polygon,) = files.polygons
    fence = factory.project().fence
    table = [row for row in rows(files.folder / "pegs.csv") if "airlock" in row["kind"]]
    assert {int(row["kind"].split()[-1]) for row in table} == set(range(1, fence.gates + 1))
    for gate in range(1, fence.gates + 1):
        mine = [r for r in table if r["kind"].endswith(f"airlock {gate}")]
        at = {
            k: shapely.MultiPoint([(float(r["x"]), float(r["y"])) for r in mine if r["kind"].startswith(k)])
            for k in ("bend", "gate", "line")
        }
        room = at["bend"].minimum_rotated_rectangle
        sides = sorted(shapely.Point(a).distance(shapely.Point(b)) for a, b in itertools.pairwise(room.exterior.coords))
        # Rectangular; as wide as the chord over its width, and as deep as set.
        assert sorted((fence.airlock_length_m, fence.airlock_width_m)) == pytest.approx([sides[0], sides[2]], abs=0.05)
        assert shapely.distance(shapely.points([g.coords[0] for g in at["bend"].geoms]), polygon).max() < 2 * MM
        inner = list(at["gate"].geoms)
        assert inner[0].distance(inner[1]) == pytest.approx(4.0, abs=2 * MM)
        for post in [*inner, *at["line"].geoms]:
            assert polygon.contains(post)
            assert room.exterior.distance(post) < 2 * MM


def test_airlocks_stand_in_every_file_where_the_pegs_have_them(files):
    """The posts by number and kind in pegs.csv, GPX and LandXML; the rooms as tracks, their inner gates as points."""
    table = [row for row in rows(files.folder / "pegs.csv") if "airlock" in row["kind"]]
    named = [f"1-{row['post']}" for row in table]
    at = np.array([(float(row["x"]), float(row["y"])) for row in table])
    ground = [float(row["ground_m"]) for row in table]
    places, columns = gpx_points(files.folder / "fence_line.gpx", "route_points")
    mine = columns["route_fid"] == 1
    assert columns["name"][mine].tolist() == named
    assert columns["type"][mine].tolist() == [row["kind"] for row in table]
    assert places[mine] == pytest.approx(at, abs=2 * MM)
    assert columns["ele"][mine] == pytest.approx(ground, abs=2 * MM)
    tree = etree.parse(files.folder / "alignment.xml")
    points = {p.get("name"): p for p in tree.iter(LAND + "CgPoint")}
    for name, row, (x, y), z in zip(named, table, at, ground, strict=True):
        assert numbers(points[name]) == pytest.approx([y, x, z], abs=2 * MM)
        assert points[name].get("desc") == row["kind"]
    tracks, columns = gpx_points(files.folder / "fence_line.gpx", "track_points")
    inner, waypoints = gpx_points(files.folder / "fence_line.gpx", "waypoints")
    for gate in range(1, factory.project().fence.gates + 1):
        mine = np.array([row["kind"].endswith(f"airlock {gate}") for row in table])
        room = Polygon(tracks[columns["track_fid"] == gate])
        assert shapely.distance(room.exterior, shapely.points(at[mine])).max() < 2 * MM
        assert room.area == pytest.approx(shapely.MultiPoint(at[mine]).convex_hull.area, abs=0.1)
        hung = np.array([row["kind"].startswith("gate") for row in table])
        name = f"1-gate {gate} inner"
        middle = inner[waypoints["name"] == name][0]
        assert middle == pytest.approx(at[mine & hung].mean(axis=0), abs=2 * MM)
        assert numbers(points[name])[:2] == pytest.approx(middle[::-1], abs=2 * MM)


def test_pegs_read_back_to_a_millimetre(files):
    table = rows(files.folder / "pegs.csv")
    (polygon,) = files.polygons
    on_line = np.array([[float(r["x"]), float(r["y"])] for r in line_pegs(files)])
    assert shapely.distance(polygon.exterior, shapely.points(on_line)).max() < 2 * MM
    at = np.array([[float(r["x"]), float(r["y"])] for r in table])
    text = (files.folder / "pegging.txt").read_text(encoding="utf-8")
    stakes = {m[1]: (float(m[2]), float(m[3])) for m in re.finditer(r"(?m)^  ([A-Z])  +(\S+)  +(\S+)  \w", text)}
    a, b = np.array(stakes["A"]), np.array(stakes["B"])
    u = (b - a) / np.hypot(*(b - a))
    for (x, y), row in zip(at, table, strict=True):
        along, right = float(row["along_baseline_1_m"]), float(row["right_of_baseline_1_m"])
        # Three rounded numbers, each to half a millimetre, and a direction from rounded stakes.
        assert math.dist(a + along * u + right * np.array([u[1], -u[0]]), (x, y)) < 2.5 * MM


def test_every_peg_is_found_again_from_the_station_and_from_its_chord(files):
    """Walked as a crew does: bearing and distance from A; then from main peg to main peg, along and squarely out."""
    table = rows(files.folder / "pegs.csv")
    text = (files.folder / "pegging.txt").read_text(encoding="utf-8")
    a = next((float(m[1]), float(m[2])) for m in re.finditer(r"(?m)^  A  +(\S+)  +(\S+)  \w", text))
    at = {int(r["peg"]): np.array([float(r["x"]), float(r["y"])]) for r in table}
    for row in table:
        distance = float(row["distance_from_a_m"])
        bearing = math.radians(float(row["bearing_from_a_deg"] or 0))
        found = a + distance * np.array([math.sin(bearing), math.cos(bearing)])
        # The bearing is printed to 0.0001 degrees.
        assert math.dist(found, at[int(row["peg"])]) < 2 * MM + distance * math.radians(0.00005)
    on_line = line_pegs(files)
    main = sorted({int(row["from_main_peg"]) for row in on_line})
    following = dict(zip(main, [*main[1:], main[0]], strict=True))
    inside = files.polygons[0]
    for row in on_line:
        peg, start = int(row["peg"]), int(row["from_main_peg"])
        along, out = float(row["along_chord_m"]), float(row["out_from_chord_m"])
        chord = at[following[start]] - at[start]
        u = chord / np.hypot(*chord)
        assert np.hypot(*(at[start] + along * u + out * np.array([-u[1], u[0]]) - at[peg])) < 3 * MM
        if peg in following:
            assert (along, out) == (0.0, 0.0)
        else:
            # Outward of the chord on a line that bends to the right.
            foot = shapely.Point(at[start] + along * u)
            assert not files.result.enclosure.packs[0].fit or (out > 0 and inside.contains(foot))
    assert "pegs.csv" in text


def test_main_pegs_can_be_taped_from_one_to_the_next(files):
    """The table in the text: chords and diagonals that a tape of 50 m reaches, as the pegs' coordinates have them."""
    table = {int(r["peg"]): r for r in line_pegs(files)}
    text = (files.folder / "pegging.txt").read_text(encoding="utf-8")
    pattern = r"(?m)^ +(\d+) +([\d.]+) +([\d.]+) +([\d.]+) +([\d.]+) +([\d.]+) +([\d.]+)  [a-z]"
    listed = [[float(v) for v in m.groups()] for m in re.finditer(pattern, text)]
    main = [int(row[0]) for row in listed]
    assert main == sorted({int(r["from_main_peg"]) for r in table.values()})
    at = [np.array([float(table[k]["x"]), float(table[k]["y"])]) for k in main]
    for k, (_, bearing, distance, chord, off, diagonal, off_2) in enumerate(listed):
        assert f"{bearing:.4f}" == (table[main[k]]["bearing_from_a_deg"] or "0.0000")
        assert f"{distance:.3f}" == table[main[k]]["distance_from_a_m"]
        for steps, length, may in ((1, chord, off), (2, diagonal, off_2)):
            other = (k + steps) % len(main)
            assert length == pytest.approx(np.hypot(*(at[other] - at[k])), abs=2 * MM)
            assert length <= 50.0
            pegs = float(table[main[k]]["error_m"]) + float(table[main[other]]["error_m"])
            assert may == pytest.approx(pegs + 0.02 * (0.2 + 0.8 * length / 50), abs=2 * MM)
    total = sum(row[3] for row in listed)
    assert f"All chords of the round together are {total:.1f}"[:-2] in " ".join(text.split())
    perimeter = files.result.enclosure.packs[0].line.perimeter
    assert perimeter * 0.95 < total < perimeter


def test_errors_grow_with_distance_and_with_the_way_from_the_chord(files):
    table = line_pegs(files)
    main = {row["from_main_peg"] for row in table}
    set_up = [row for row in table if row["peg"] in main]
    for row in set_up:
        across = float(row["distance_from_a_m"]) * math.tan(math.radians(0.01))
        assert float(row["error_m"]) == pytest.approx(math.hypot(0.01, across), abs=0.6 * MM)
    error = {row["peg"]: float(row["error_m"]) for row in table}
    assert all(error[row["peg"]] > error[row["from_main_peg"]] for row in table if row["peg"] not in main)


def test_pegs_over_a_limit_say_so(files):
    (pack,) = files.result.enclosure.packs
    assert pack.over_limits, "the plot's second stream is meant to pass under the line"
    soft = {limit.kind: limit.area for limit in files.result.land.limits if limit.may_lie_inside}
    over = 0
    for row in line_pegs(files):
        points = pack.line.points_at(float(row["chainage_m"]))
        at, outward = np.array([points.x, points.y]), points.outward
        trench = factory.project().trench
        across = shapely.LineString([at - trench.inside_strip_m * outward, at + trench.outside_strip_m * outward])
        touched = [kind for kind, ground in soft.items() if ground.intersects(across)]
        assert row["over_limit"] == "+".join(touched)
        over += bool(touched)
    assert over


def test_pegs_have_the_level_of_the_bottom_between_stations(files):
    table = line_pegs(files)
    (volumes,) = files.result.earthworks.volumes
    (pack,) = files.result.enclosure.packs
    step, n = pack.alignment.step, pack.alignment.chainage.size
    for row in table[::7]:
        i, t = divmod(float(row["chainage_m"]) / step, 1)
        here, there = volumes.invert[int(i) % n], volumes.invert[(int(i) + 1) % n]
        assert float(row["invert_m"]) == pytest.approx(here + t * (there - here), abs=2 * MM)


def test_arcs_read_back_lead_along_the_fence_line(fitted):
    (polygon,) = fitted.polygons
    for row in rows(fitted.folder / "arcs.csv"):
        cx, cy, radius, turn = (float(row[c]) for c in ("centre_x", "centre_y", "radius_m", "turn_deg"))
        begin = math.atan2(float(row["start_y"]) - cy, float(row["start_x"]) - cx)
        angles = begin - np.radians(np.linspace(0, turn, 50))
        at = shapely.points(cx + radius * np.cos(angles), cy + radius * np.sin(angles))
        assert shapely.distance(polygon.exterior, at).max() < 2 * MM
        chord = math.dist(*((float(row[f"{e}_x"]), float(row[f"{e}_y"])) for e in ("start", "end")))
        assert float(row["long_chord_m"]) == pytest.approx(chord, abs=MM)
        assert float(row["deflection_deg"]) == pytest.approx(turn / 2, abs=1e-3)
        assert float(row["mid_ordinate_m"]) == pytest.approx(radius - math.sqrt(radius**2 - chord**2 / 4), abs=MM)


def test_straight_pieces_have_no_centre(drawn):
    table = rows(drawn.folder / "arcs.csv")
    points = drawn.result.enclosure.packs[0].drawn.points
    assert len(table) == len(points)
    for row, (x, y) in zip(table, points, strict=True):
        assert row["centre_x"] == row["radius_m"] == row["tangent_m"] == ""
        assert (float(row["start_x"]), float(row["start_y"])) == pytest.approx((x, y), abs=MM)
        assert row["long_chord_m"] == row["length_m"]


def test_check_distances_in_the_text_are_those_of_its_stakes(files):
    text = (files.folder / "pegging.txt").read_text(encoding="utf-8")
    assert max(len(line) for line in text.splitlines()) <= 100
    stakes = {m[1]: (float(m[2]), float(m[3])) for m in re.finditer(r"(?m)^  ([A-Z])  +(\S+)  +(\S+)  \w", text)}
    checks = re.findall(r"\b([A-Z]) to ([A-Z]) +(\d+\.\d{3})\b", text)
    assert len(checks) >= 6
    for a, b, distance in checks:
        assert math.dist(stakes[a], stakes[b]) == pytest.approx(float(distance), abs=2 * MM)


def test_the_text_explains_arcs_where_there_are_any(fitted, drawn):
    said = [" ".join((f.folder / "pegging.txt").read_text(encoding="utf-8").split()) for f in (fitted, drawn)]
    assert "an arc of 20 m deflects by 19.099 degrees" in said[0]
    assert "The plan numbers the corners" not in said[0]
    assert "The plan numbers the corners as the table above does." in said[1]
    assert " arc" not in said[1].partition("pegs.csv has a row")[2]


def test_a_station_in_water_or_wood_is_told(fitted, tmp_path):
    egg = fitted.result.enclosure.packs[0].fit.egg
    settings = factory.project()
    tarn = shapely.Point(egg.big_x, egg.big_y).buffer(5)
    told = {}
    for name, more in (("dry", {}), ("watercourses", {"watercourses": (tarn,)}), ("woodland", {"woodland": (tarn,)})):
        plot = factory.result(settings=settings, lines=(egg,), more=more)
        write_pegging(plot, settings, tmp_path / "pegging.txt")
        text = " ".join((tmp_path / "pegging.txt").read_text(encoding="utf-8").split())
        told[name] = re.findall(r"A lies in (mapped \w+|a hollow)", text)
        assert "bring in two main pegs by their coordinates instead" in text
    assert told == {"dry": [], "watercourses": ["mapped water"], "woodland": ["mapped wood"]}


def test_nothing_longer_than_a_tape_is_taped(fitted, drawn):
    for files in (fitted, drawn):
        text = (files.folder / "pegging.txt").read_text(encoding="utf-8")
        lists = re.findall(r"stakes, (by \w+) \(m\)\n((?:  [A-Z] to [A-Z] .*\n)+)", text)
        far = {how: [float(v) for v in re.findall(r"\d+\.\d{3}", lines)] for how, lines in lists}
        assert max(far.get("by tape", [0.0])) <= 50.0 < min(far["by instrument"])


def test_the_text_knows_how_long_a_metre_of_the_grid_is(fitted):
    text = (fitted.folder / "pegging.txt").read_text(encoding="utf-8")
    # On the central meridian of a UTM zone the scale is 0.9996.
    assert f"100 m on the grid are {100 / 0.9996:.3f} m on the ground" in text


def test_stakes_are_a_layer(run, fitted):
    with fiona.open(run.folder / "packpale.gpkg", layer="stakes") as layer:
        found = {f.properties["stake"]: f for f in layer if f.properties["plot_id"] == "north field"}
    assert "".join(found) == "ABCDEFGHPQ"
    egg = fitted.result.enclosure.packs[0].fit.egg
    assert found["A"].geometry.coordinates == pytest.approx((egg.big_x, egg.big_y))
    assert found["E"].properties["what"] == "centre of flank 1"


def test_the_same_result_gives_the_same_bytes(drawn, tmp_path):
    files_of(drawn.result, tmp_path, factory.project())
    for name in ("pegs.csv", "arcs.csv", "pegging.txt", "fence_line.gpx", "alignment.xml"):
        assert (tmp_path / name).read_bytes() == (drawn.folder / name).read_bytes(), name


def test_hostile_names_stay_text(run):
    for name, schema in (("fence_line.gpx", "gpx_1_1.xsd"), ("alignment.xml", "landxml_1_2_part.xsd")):
        tree = tree_of(run.folder / "plots/plot-1" / name, schema)
        assert any(factory.HOSTILE in (text or "") for e in tree.iter() for text in (e.text, *e.attrib.values())), name
