"""The first settings file: whatever a user has is opened, told, and runs without an edit."""

import csv
import re
import tomllib
from types import SimpleNamespace
from typing import ClassVar

import numpy as np
import pytest
from click.testing import CliRunner
from shapely.geometry import LineString, Point, box

from made_drawings import drawing, polyline, text
from made_inputs import (
    CRS,
    NORTH,
    NORTH_PLOT,
    SOUTH_PLOT,
    WEST,
    centres,
    gpx,
    in_crs,
    plane,
    write_geojson,
    write_raster,
    write_vector,
)
from packpale.cli import commands
from packpale.settings import read_settings
from packpale.settings.ground import InputSettings
from packpale.site.first_look import naming_columns
from packpale.site.inputs import open_inputs

DEGREES = "EPSG:4326"


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder with elevation, to work in."""
    monkeypatch.chdir(tmp_path)
    write_raster(tmp_path / "dem.tif")
    return tmp_path


def start(*words, elevation="dem.tif", plots="plots.gpkg"):
    files = ["--elevation", elevation, "--plots", plots]
    return CliRunner().invoke(commands, ["start", "land", *files, *map(str, words)])


def opened(folder):
    return open_inputs(read_settings(folder / "land" / "packpale.toml"))


def write_plots(folder, name="plots.gpkg", columns=None, **options):
    columns = columns or {"name": ("north", "south")}
    rows = [
        ({k: v[i] for k, v in columns.items()}, shape if options.get("crs", CRS) == CRS else in_crs(shape, DEGREES))
        for i, shape in enumerate((NORTH_PLOT, SOUTH_PLOT))
    ]
    return write_vector(folder / name, rows, **options)


def shapefile_in_degrees(folder):
    columns = {"OBJECTID": (1, 2), "FELD_NAME": ("Oberwiese", "Unterwiese"), "HA": (0.42, 0.42)}
    return write_plots(folder, "plots.shp", columns, driver="ESRI Shapefile", crs=DEGREES, geometry="Polygon")


def geopackage_of_several_layers(folder):
    write_vector(
        folder / "plots.gpkg", [({"name": "x"}, LineString([(WEST, NORTH), (WEST + 9, NORTH)]))], layer="roads"
    )
    away = box(WEST + 9000, NORTH, WEST + 9100, NORTH + 90)
    write_vector(folder / "plots.gpkg", [({"name": "far away"}, away)], layer="other plots")
    return write_plots(folder, layer="candidates")


def mapinfo_table(folder):
    return write_plots(folder, "plots.tab", driver="MapInfo File")


def kml(folder):
    def ring(plot):
        return " ".join(f"{x:.9f},{y:.9f}" for x, y in in_crs(plot, DEGREES).exterior.coords)

    marks = "".join(
        f"<Placemark><name>{name}</name><Polygon><outerBoundaryIs><LinearRing><coordinates>{ring(plot)}</coordinates>"
        "</LinearRing></outerBoundaryIs></Polygon></Placemark>"
        for name, plot in (("north", NORTH_PLOT), ("south", SOUTH_PLOT))
    )
    path = folder / "plots.kml"
    path.write_text(f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{marks}</Document></kml>', encoding="utf-8")
    return path


def gpx_tracks(folder):
    tracks = [
        (name, list(in_crs(plot, DEGREES).exterior.coords))
        for name, plot in (("north", NORTH_PLOT), ("south", SOUTH_PLOT))
    ]
    (folder / "plots.gpx").write_text(gpx(*tracks), encoding="utf-8")
    return folder / "plots.gpx"


def corners_in_grid(folder):
    rows = [f"{n},{x},{y}" for n, p in (("a", NORTH_PLOT), ("b", SOUTH_PLOT)) for x, y in list(p.exterior.coords)[:-1]]
    (folder / "plots.csv").write_text("field,x,y\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return folder / "plots.csv"


def corners_in_degrees(folder):
    shapes = (("a", in_crs(NORTH_PLOT, DEGREES)), ("b", in_crs(SOUTH_PLOT, DEGREES)))
    rows = [f"{n},{i},{x:.9f},{y:.9f}" for n, p in shapes for i, (x, y) in enumerate(list(p.exterior.coords)[:-1])]
    (folder / "plots.csv").write_text("field,corner,longitude,latitude\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return folder / "plots.csv"


def well_known_text(folder):
    (folder / "plots.wkt").write_text(f"{NORTH_PLOT.wkt}\n{SOUTH_PLOT.wkt}\n", encoding="utf-8")
    return folder / "plots.wkt"


def outlines_in_a_table(folder):
    rows = f'"{NORTH_PLOT.wkt}",up\n"{SOUTH_PLOT.wkt}",down\n'
    (folder / "plots.csv").write_text(f"wkt,name\n{rows}", encoding="utf-8")
    return folder / "plots.csv"


def drawing_with_names(folder):
    rings = [polyline("PLOTS", list(p.exterior.coords)[:-1]) for p in (NORTH_PLOT, SOUTH_PLOT)]
    names = [text(p.centroid.x, p.centroid.y, n) for n, p in (("top", NORTH_PLOT), ("low", SOUTH_PLOT))]
    house = polyline("HOUSES", [(WEST, NORTH), (WEST + 9, NORTH), (WEST + 9, NORTH - 9)])
    (folder / "plots.dxf").write_text(drawing(*rings, *names, house), encoding="utf-8")
    return folder / "plots.dxf"


KINDS = {
    shapefile_in_degrees: ("FELD_NAME", ["Oberwiese", "Unterwiese"]),
    geopackage_of_several_layers: ("name", ["north", "south"]),
    mapinfo_table: ("name", ["north", "south"]),
    kml: ("Name", ["north", "south"]),
    gpx_tracks: ("name", ["north", "south"]),
    corners_in_grid: ("field", ["a", "b"]),
    corners_in_degrees: ("field", ["a", "b"]),
    well_known_text: ("number", ["1", "2"]),
    outlines_in_a_table: ("name", ["up", "down"]),
    drawing_with_names: ("Text", ["top", "low"]),
}


@pytest.mark.parametrize("kind", KINDS, ids=lambda k: k.__name__)
def test_any_file_of_plots_is_opened_and_checked_without_an_edit(here, kind):
    path = kind(here)
    column, names = KINDS[kind]
    done = start(plots=path.name)
    assert done.exit_code == 0, done.output
    settings = (here / "land" / "packpale.toml").read_text(encoding="utf-8")
    assert tomllib.loads(settings)["inputs"]["plot_id"] == column
    assert tomllib.loads(settings)["crs"] == CRS
    inputs = opened(here)
    assert [p.plot_id for p in inputs.plots] == names
    for plot, drawn in zip(inputs.plots, (NORTH_PLOT, SOUTH_PLOT), strict=True):
        assert plot.outline.symmetric_difference(drawn).area < 0.1
    checked = CliRunner().invoke(commands, ["check", "land/packpale.toml"])
    assert checked.exit_code == 0
    assert "no fault" in checked.output


RANKED = (
    shapefile_in_degrees,
    geopackage_of_several_layers,
    mapinfo_table,
    kml,
    gpx_tracks,
    corners_in_degrees,
    drawing_with_names,
)


@pytest.mark.parametrize("kind", RANKED, ids=lambda k: k.__name__)
def test_from_files_to_a_ranking_each_command_is_the_one_that_was_said(here, kind):
    # Coarse ground, for the sake of time.
    write_raster(here / "dem.tif", plane(*centres(40, 40, cell=5.0)).astype("float32"), cell=5.0)
    done = start(plots=kind(here).name)
    for command in ("check", "run"):
        assert done.exit_code == 0, done.output
        *words, said = done.output.splitlines()
        typed = said.removeprefix("next: packpale ").split()
        assert (said.startswith("next: packpale "), typed[0]) == (True, command), (words, said)
        # In this process, which has everything loaded.
        done = CliRunner().invoke(commands, [*typed, *(["--workers", "1"] if command == "run" else [])])
    assert done.exit_code == 0, done.output
    with (here / "land" / "result" / "ranking.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert {row["plot_id"] for row in rows} == set(KINDS[kind][1])
    for row in rows:
        assert row["feasible"] == "true", row
        # A line on a plane, in plots of 0.42 ha.
        assert 1000 < float(row["enclosed_area_m2"]) < 4200
        assert 0 < float(row["cost_p10"]) < float(row["cost_p50"]) < float(row["cost_p90"])


def test_what_is_found_is_told_and_the_next_command(here):
    geopackage_of_several_layers(here)
    lines = start().output.splitlines()
    assert lines[0] == (
        f"elevation: dem.tif, 40,000 cells in {CRS} (ETRS89 / UTM zone 32N), around 50.5425° N, 10.4127° E; heights in "
        "m (taken, not stated)"
    )
    assert (
        "plots_layer: 'candidates' of plots.gpkg; others that would do: other plots: to take one, start again"
        in lines[1]
    )
    assert lines[2].startswith('plot_id: the column "name", in which each plot has a name of its own: to take another')
    assert lines[3] == 'plots: 2, 0.84 ha in all: "north", "south"'
    assert lines[4].startswith(f"note: Coordinates are in {CRS} (ETRS89 / UTM zone 32N), that of the elevations")
    assert lines[-2].startswith("land/packpale.toml: written")
    assert lines[-1] == "next: packpale check land/packpale.toml"


def test_the_file_is_short_and_every_line_of_comment_one(here):
    write_plots(here)
    start()
    text = (here / "land" / "packpale.toml").read_text(encoding="utf-8")
    lines = text.splitlines()
    assert len(lines) <= 100
    assert max(map(len, lines)) <= 120
    keys = [i for i, line in enumerate(lines) if re.match(r"(# )?[a-z_0-9]+ = ", line)]
    assert len(keys) > 30
    assert all(lines[i - 1].startswith("# ") for i in keys)
    # Every default shown is the one that holds: without the comment signs the settings are the same.
    active = re.sub(r"(?m)^# ([a-z_0-9]+ = )", r"\1", text)
    (here / "land" / "all.toml").write_text(active, encoding="utf-8")
    assert read_settings(here / "land" / "all.toml") == read_settings(here / "land" / "packpale.toml")


def test_every_key_on_demand(here):
    write_plots(here)
    assert start("--all").exit_code == 0
    text = (here / "land" / "packpale.toml").read_text(encoding="utf-8")
    assert "# breaker_m3_per_h = " in text
    assert [p.plot_id for p in opened(here).plots] == ["north", "south"]


def test_surroundings_pits_and_soil_are_written_by_their_role(here):
    write_plots(here)
    write_vector(here / "brook.gpkg", [({"name": "b"}, LineString([(WEST, NORTH - 90), (WEST + 200, NORTH - 95)]))])
    survey = {"DRAIN_CLAS": "Well drained", "brockdepmi": 1}, box(WEST, NORTH - 200, WEST + 200, NORTH)
    write_vector(here / "soil.shp", [survey], driver="ESRI Shapefile", geometry="Polygon")
    (here / "pits.csv").write_text(f"EAST,NORD,ROCK\n{WEST + 50},{NORTH - 50},6\n", encoding="utf-8")
    done = start(
        *("--watercourses", "brook.gpkg", "--soil", "soil.shp", "--soil-column", "depth_to_rock_m=brockdepmi:ft"),
        *("--pits", "pits.csv", "--column", "pits.x=EAST", "--column", "pits.y=NORD"),
        *("--column", "pits.depth_to_rock_m=ROCK:ft", "--title", 'The "old" farm', "--currency", "USD"),
    )
    assert done.exit_code == 0, done.output
    assert "soil: drainage_class from DRAIN_CLAS, depth_to_rock_m from brockdepmi (ft); look whether" in done.output
    assert "watercourses: brook.gpkg, 1 feature\n" in done.output
    text = (here / "land" / "packpale.toml").read_text(encoding="utf-8")
    assert "# keep_away_m = {watercourses = 10.0}\n" in text
    project = read_settings(here / "land" / "packpale.toml")
    assert (project.title, project.currency) == ('The "old" farm', "USD")
    inputs = opened(here)
    assert inputs.soil[0].values == {"drainage_class": "well", "depth_to_rock_m": pytest.approx(0.3048)}
    assert inputs.pits[0].values == {"depth_to_rock_m": pytest.approx(1.8288)}


@pytest.mark.parametrize(
    ("options", "unit", "metres"),
    [({"units": "US survey foot"}, "us-ft", 1200 / 3937), ({"crs": "EPSG:6345+8228"}, "ft", 0.3048)],
)
def test_heights_in_feet_are_seen_by_unit_and_by_vertical_crs(here, options, unit, metres):
    crs = options.pop("crs", CRS)
    # EPSG:6345 is NAD83(2011) / UTM zone 16N, EPSG:8228 NAVD88 heights in feet.
    west, north = (WEST, NORTH) if crs == CRS else (500_000.0, 4_400_000.0)
    x, y = centres(200, 200)
    write_raster(
        here / "feet.tif", (plane(x, y) / metres).astype("float32"), west=west, north=north, crs=crs, **options
    )
    rows = [({"name": "a"}, box(west + 20, north - 80, west + 90, north - 20))]
    write_vector(here / "plots.gpkg", rows, crs="EPSG:6345" if crs != CRS else CRS)
    done = start(elevation="feet.tif")
    assert done.exit_code == 0, done.output
    assert f"heights in {unit} (stated by the file" in done.output
    assert "units: imperial on all pages" in done.output
    project = read_settings(here / "land" / "packpale.toml")
    assert (project.inputs.elevation_unit, project.units) == (unit, "imperial")
    (here / "land" / "packpale.toml").unlink()
    refused = start("--elevation-unit", "m", elevation="feet.tif")
    assert refused.exit_code == 2
    assert f"start again with --elevation-unit {unit}, or correct" in refused.stderr


def test_a_grid_in_feet_that_does_not_state_its_heights_is_warned_of(here):
    # EPSG:2264 is NAD83 / North Carolina in US survey feet.
    west, north = 2_000_000.0, 700_000.0
    write_raster(
        here / "nc.tif", np.full((200, 200), 700, "float32"), west=west, north=north, cell=3.0, crs="EPSG:2264"
    )
    write_vector(
        here / "plots.gpkg", [({"name": "a"}, box(west + 90, north - 400, west + 400, north - 90))], crs="EPSG:2264"
    )
    done = start(elevation="nc.tif")
    assert done.exit_code == 0, done.output
    assert "warning: nc.tif has its coordinates in feet and does not say in what its heights are" in done.output
    assert tomllib.loads((here / "land" / "packpale.toml").read_text())["crs"].startswith("EPSG:326")


def test_numbers_without_a_crs_that_lie_nowhere_need_one(here):
    (here / "plots.csv").write_text("field,x,y\na,1,1\na,9,1\na,9,9\n", encoding="utf-8")
    done = start(plots="plots.csv")
    assert done.exit_code == 2
    assert "does not say in which coordinates it is, and its numbers do not lie on dem.tif" in done.stderr
    assert not (here / "land").exists()


def test_plots_beyond_the_elevation_are_one_fault_each_and_nothing_is_written(here):
    write_vector(here / "plots.gpkg", [({"name": "a"}, box(WEST + 150, NORTH - 90, WEST + 250, NORTH - 10))])
    done = start()
    assert done.exit_code == 2
    assert done.stderr.splitlines() == [
        'dem.tif covers 50 % of plot "a"; scoring needs all of it (100 %); supply a larger raster or trim the plot'
    ]
    assert not (here / "land").exists()


def test_what_is_missing_is_told_with_what_to_do(here):
    done = CliRunner().invoke(commands, ["start", "land"])
    assert done.exit_code == 2
    assert [line.split(":")[0] for line in done.stderr.splitlines()] == ["--elevation", "--plots"]
    assert "packpale start --example" in done.stderr
    gone = start("--soil", "no.shp", elevation="no.tif")
    assert {line.split(":")[0] for line in gone.stderr.splitlines()} == {"no.tif", "plots.gpkg", "no.shp"}
    wrong = start("--column", "x=E", plots=write_plots(here))
    assert "names no file; write --column pits.x=EASTING" in wrong.stderr
    assert "names no column" in start("--soil-column", "x", plots="plots.gpkg").stderr
    assert not (here / "land").exists()


def test_paths_are_seen_from_the_folder_and_nothing_is_overwritten(here):
    (here / "my data").mkdir()
    write_raster(here / "my data" / "a b.tif")
    write_plots(here)
    assert start(elevation="my data/a b.tif").exit_code == 0
    target = here / "land" / "packpale.toml"
    text = target.read_text(encoding="utf-8")
    assert '["../my data/a b.tif"]' in text
    assert read_settings(target).inputs.plots.resolve() == (here / "plots.gpkg").resolve()
    again = CliRunner().invoke(commands, ["start", "land"])
    assert again.exit_code == 2
    assert again.stderr.startswith("land/packpale.toml: exists and is not overwritten; choose another folder")
    assert target.read_text(encoding="utf-8") == text


def test_columns_that_could_name_plots_come_in_the_order_of_their_likelihood():
    rows = [
        {"OBJECTID": 1, "Shape_Area": 1.5, "NAME": "a", "use": "grass", "PARCEL_NO": "7/1", "empty": None},
        {"OBJECTID": 2, "Shape_Area": 2.5, "NAME": "b", "use": "grass", "PARCEL_NO": "7/2", "empty": None},
    ]
    assert naming_columns(tuple(rows[0]), rows) == ("PARCEL_NO", "NAME", "OBJECTID")
    assert naming_columns(("x",), [{"x": "a"}, {"x": "A"}]) == ()
    assert naming_columns(("x",), [{"x": "a" * 50}]) == ()
    assert naming_columns(("", "n"), [{"": "a", "n": 3}]) == ("n",)
    assert naming_columns(("gridcode", "FieldName"), [{"gridcode": 3, "FieldName": "q"}]) == ("FieldName", "gridcode")


@pytest.mark.parametrize(
    ("head", "column", "names"),
    [(",field,x,y", "field", ["a"]), (",,x,y", "number", ["1"]), ("corner,,x,y", "number", ["1"])],
)
def test_columns_without_a_name_name_nothing_and_corners_without_names_are_one_plot(here, head, column, names):
    # As a table saved with its row numbers has them.
    rows = [f"{i},a,{x},{y}" for i, (x, y) in enumerate(list(NORTH_PLOT.exterior.coords)[:-1])]
    if head.startswith(",,"):
        head, rows = head[1:], [row.partition(",")[2] for row in rows]
    (here / "plots.csv").write_text("\n".join([head, *rows, ""]), encoding="utf-8")
    done = start(plots="plots.csv")
    assert done.exit_code == 0, done.output
    assert tomllib.loads((here / "land" / "packpale.toml").read_text(encoding="utf-8"))["inputs"]["plot_id"] == column
    inputs = opened(here)
    assert [p.plot_id for p in inputs.plots] == names
    assert inputs.plots[0].outline.symmetric_difference(NORTH_PLOT).area < 0.1


def test_a_soil_column_without_a_name_says_nothing(here):
    write_geojson(here / "soil.geojson", [({"": "sandy loam", "DRAINAGE": "well"}, in_crs(NORTH_PLOT, DEGREES))])
    write_plots(here)
    done = start("--soil", "soil.geojson")
    assert done.exit_code == 0, done.output
    assert "soil: drainage_class from DRAINAGE; look whether" in done.output


def test_a_point_layer_holds_no_plots(here):
    write_vector(here / "plots.gpkg", [({"name": "a"}, Point(WEST, NORTH))])
    assert "holds no outline of a plot; draw each plot as a polygon" in start().stderr


def test_the_example_is_written_checked_and_never_overwritten(here):
    done = CliRunner().invoke(commands, ["start", "--example", "try it"])
    assert done.exit_code == 0, done.output
    assert done.output.splitlines()[-1] == 'next: packpale run "try it/packpale.toml" --out "try it/result"'
    assert "depth_to_rock_m from ROCK_CM (cm)" in done.output
    checked = CliRunner().invoke(commands, ["check", "try it/packpale.toml"])
    assert "no fault; 2 plots" in checked.output
    project = read_settings(here / "try it" / "packpale.toml")
    assert project.inputs.plots.parent.resolve() == (here / "try it").resolve()
    assert {a.values["drainage_class"] for a in open_inputs(project).soil} >= {"well", "poorly"}
    again = CliRunner().invoke(commands, ["start", "--example", "try it"])
    assert again.exit_code == 2
    assert len(again.stderr.splitlines()) == 8  # the settings and seven files of data
    both = start("--example")
    assert both.exit_code == 2
    assert "leave the other options out" in both.stderr


def test_the_price_list_with_a_run_s_quantities(here, monkeypatch):
    from packpale.cli import prices

    class Finished:
        record: ClassVar = {"settings": {"currency": "USD", "units": "imperial"}}
        places: ClassVar = {"b": {}, "a": {}, "none": {}}
        summaries: ClassVar = {
            "a": SimpleNamespace(items=({"key": "gate_each", "quantity": 2.0},)),
            "b": SimpleNamespace(items=({"key": "excavate_soil_per_m3", "quantity": 764.554857984},)),
            "none": SimpleNamespace(items=()),
        }

    monkeypatch.setattr(prices, "read_finished_run", lambda folder: Finished)
    write_plots(here)
    start()
    written = (here / "land" / "prices.csv").read_text(encoding="utf-8")
    assert tomllib.loads((here / "land" / "packpale.toml").read_text(encoding="utf-8"))["rates"]["file"] == "prices.csv"
    done = CliRunner().invoke(commands, ["start", "land", "--prices", "land/result"])
    assert done.exit_code == 0, done.output
    rows = {
        r["key"]: r for r in csv.DictReader((here / "land" / "prices.csv").read_text(encoding="utf-8").splitlines())
    }
    assert len(rows) == len(written.splitlines()) - 1
    assert rows["excavate_soil_per_m3"]["quantity b"] == "1000"  # 1000 cubic yards are 764.554857984 m3 by definition
    assert rows["excavate_soil_per_m3"]["unit"] == "yd3"
    assert (rows["gate_each"]["quantity a"], rows["gate_each"]["quantity b"]) == ("2", "")
    filled = (here / "land" / "prices.csv").read_text(encoding="utf-8").replace(",,,,each,USD,,", ",,,7,each,USD,,", 1)
    (here / "land" / "prices.csv").write_text(filled, encoding="utf-8")
    kept = CliRunner().invoke(commands, ["start", "land", "--prices", "land/result"])
    assert kept.exit_code == 2
    assert "has prices filled in and is not overwritten" in kept.stderr
    assert (here / "land" / "prices.csv").read_text(encoding="utf-8") == filled


def test_of_a_parish_the_candidates_alone_are_taken(here):
    fields = [
        ({"parcel": f"{i}/1"}, box(WEST + 3000 + 100 * i, NORTH, WEST + 3090 + 100 * i, NORTH + 90)) for i in range(30)
    ]
    meant = [({"parcel": "500"}, NORTH_PLOT), ({"parcel": "501"}, SOUTH_PLOT)]
    write_vector(here / "plots.gpkg", [*fields, *meant])
    done = start()
    assert done.exit_code == 2
    assert done.stderr.splitlines() == [
        '30 of 32 plots lie outside dem.tif, such as "0/1", "1/1", "2/1"; name those that are meant as '
        "--candidate, or supply a raster that covers all"
    ]
    done = start("--candidate", "500", "--candidate", "501")
    assert done.exit_code == 0, done.output
    assert [p.plot_id for p in opened(here).plots] == ["500", "501"]
    (here / "land" / "packpale.toml").unlink()
    wrong = start("--candidate", "500", "--candidate", "51")
    assert wrong.stderr.splitlines() == ['--candidate: plots.gpkg has no plot "51"; did you mean "501"?']


def test_a_drawn_fence_line_and_every_other_file_has_its_option(here):
    write_plots(here)
    write_vector(here / "line.gpkg", [({"name": "north"}, NORTH_PLOT.buffer(-10))])
    done = start("--fence-line", "line.gpkg")
    assert done.exit_code == 0, done.output
    assert "fence_line: line.gpkg, 1 feature" in done.output
    assert list(opened(here).fence_lines) == ["north"]
    options = {p.name for p in commands.commands["start"].params}
    files = {k for k, f in InputSettings.model_fields.items() if "Path" in str(f.annotation)}
    assert len(files) > 10
    assert files <= options


def test_of_tracks_and_routes_the_tracks_are_taken(here):
    corners = list(in_crs(NORTH_PLOT, DEGREES).exterior.coords)
    both = (
        gpx(("planned", corners), kind="rte").replace("</gpx>", "")
        + gpx(("walked", corners)).split('topografix.com/GPX/1/1">')[1]
    )
    (here / "plots.gpx").write_text(both, encoding="utf-8")
    assert start(plots="plots.gpx").exit_code == 0
    assert [p.plot_id for p in opened(here).plots] == ["walked"]
