"""What makes a plot's key change: everything its files depend on, and nothing else."""

from pathlib import Path

import pytest
from shapely.geometry import LineString

from made_inputs import NORTH, NORTH_PLOT, WEST, Made, write_vector
from packpale.run import cache_key
from packpale.run.cache_key import (
    SAID_OF_FILES,
    code_digest,
    input_files,
    input_hashes,
    plot_key,
    relative,
    run_key,
    settings_hash,
)
from packpale.settings import FEATURE_KINDS, Project
from packpale.site.inputs import open_inputs, read_site

INPUTS = {"elevation": ["dem.tif"], "plots": "plots.gpkg", "plot_id": "name"}
HASHES = {"elevation": (("dem.tif", "0"),), "plots": (("plots.gpkg", "1"),)}


def project(**sections):
    return Project.model_validate({"inputs": INPUTS, **sections})


def test_where_a_fence_line_lies_is_no_matter_but_that_it_is_given_is():
    # The plots' own file may serve as the fence lines: then the files are the same with and without.
    without, here, there = (
        project(enclosure=e) for e in ({}, {"fence_line": "plots.gpkg"}, {"fence_line": "/elsewhere/plots.gpkg"})
    )
    assert run_key(here, HASHES) == run_key(there, HASHES)
    assert settings_hash(here) == settings_hash(there)
    assert run_key(here, HASHES) != run_key(without, HASHES)
    layer = project(enclosure={"fence_line": "plots.gpkg", "fence_line_layer": "old"})
    assert run_key(layer, HASHES) != run_key(here, HASHES)


@pytest.mark.parametrize(
    "sections",
    [
        {"setting_out": {"step_m": 5.0}},
        {"title": "Another"},  # stands on the plot's drawings
        {"units": "imperial"},  # stands on the plot's map
        {"run": {"seed": 7}},
    ],
    ids=str,
)
def test_a_setting_that_a_plot_s_files_show_counts(sections):
    assert run_key(project(**sections), HASHES) != run_key(project(), HASHES)


@pytest.mark.parametrize(
    "sections",
    [{"ranking": {"weights": {"land": 2.0}}}, {"ranking": {"told_in_full": 3}}, {"run": {"memory_mb": 900.0}}],
    ids=str,
)
def test_a_setting_that_only_the_run_s_files_show_does_not(sections):
    assert run_key(project(**sections), HASHES) == run_key(project(), HASHES)


@pytest.mark.parametrize(
    "hashes",
    [
        {"access": HASHES["elevation"], "plots": HASHES["plots"]},
        {"elevation": (*HASHES["elevation"], ("b.tif", "2")), "plots": HASHES["plots"]},
        {"elevation": (("elsewhere/dem.tif", "0"),), "plots": HASHES["plots"]},
        {"elevation": (("dem.tif", "9"),), "plots": HASHES["plots"]},
    ],
    ids=["role", "one more", "path", "content"],
)
def test_role_path_and_content_of_every_file_count(hashes):
    assert run_key(project(), hashes) != run_key(project(), HASHES)


def test_the_order_of_tiles_counts():
    a, b = ("a.tif", "1"), ("b.tif", "2")
    first, second = ({"elevation": tiles} for tiles in ((a, b), (b, a)))
    assert run_key(project(), first) != run_key(project(), second)


def test_every_file_of_every_input_is_named_by_its_role(tmp_path):
    made = Made(tmp_path)
    made.inputs["plots"] = write_vector(
        tmp_path / "p.shp", [({"name": "north"}, NORTH_PLOT)], driver="ESRI Shapefile", geometry="Polygon"
    )
    made.pits(f"x,y,clay_percent\n{WEST},{NORTH},20\n")
    (tmp_path / "dem.tif.aux.xml").write_text("<PAMDataset></PAMDataset>", encoding="utf-8")
    for kind in ("trees_and_boulders", *FEATURE_KINDS):
        shape = LineString(NORTH_PLOT.exterior.coords) if kind == "culverts" else NORTH_PLOT
        made.inputs[kind] = write_vector(tmp_path / f"{kind}.gpkg", [({"name": "north"}, shape)])
    soil = [({"clay_percent": 20.0}, NORTH_PLOT)]
    made.inputs["soil"] = write_vector(tmp_path / "soil.gpkg", soil)
    made.settings["enclosure"] = {"fence_line": tmp_path / "access.gpkg"}
    settings = made.project()
    names = {role: [f.name for f in files] for role, files in input_files(settings, open_inputs(settings)).items()}
    assert names.pop("elevation") == ["dem.tif", "dem.tif.aux.xml"]
    assert names.pop("plots") == ["p.shp", "p.cpg", "p.dbf", "p.prj", "p.shx"]
    assert names.pop("pits") == ["pits.csv"]
    assert names.pop("fence_line") == ["access.gpkg"]
    assert names == {kind: [f"{kind}.gpkg"] for kind in ("soil", "trees_and_boulders", *FEATURE_KINDS)}
    given = set(type(settings.inputs).model_fields) - SAID_OF_FILES
    assert given == {*names, "elevation", "plots", "pits"}


def test_every_file_is_hashed_by_name_and_content(tmp_path):
    made = Made(tmp_path)
    settings = made.project()
    files = input_files(settings, open_inputs(settings))
    hashes = input_hashes(files, tmp_path)
    assert [name for name, _ in hashes["elevation"]] == ["dem.tif"]
    files["elevation"][0].write_bytes(b"other")
    assert input_hashes(files, tmp_path)["elevation"] != hashes["elevation"]
    assert input_hashes(files, tmp_path)["plots"] == hashes["plots"]


def test_a_file_on_another_drive_is_named_in_full(tmp_path, monkeypatch):
    def apart(*_):
        raise ValueError("path is on mount 'D:', start on mount 'C:'")

    monkeypatch.setattr(cache_key.os.path, "relpath", apart)
    assert relative(tmp_path / "dem.tif", tmp_path) == (tmp_path / "dem.tif").resolve().as_posix()


def test_the_code_s_digest_changes_with_any_file_of_the_package(tmp_path, monkeypatch):
    home = tmp_path / "packpale"
    (home / "run").mkdir(parents=True)
    for name in ("land.py", "defaults.csv", "page.html", "notes.txt"):
        (home / name).write_text("1", encoding="utf-8")
    monkeypatch.setattr(cache_key, "__file__", str(home / "run" / "cache_key.py"))

    def digest():
        code_digest.cache_clear()
        return code_digest()

    before = digest()
    for name, counts in (("land.py", True), ("defaults.csv", True), ("page.html", True), ("notes.txt", False)):
        (home / name).write_text("2", encoding="utf-8")
        assert (digest() != before) is counts, name
        before = digest()
    monkeypatch.setattr(cache_key, "version", lambda _: "another")
    assert digest() != before
    code_digest.cache_clear()


def test_the_second_key_stands_for_what_is_read_of_the_plot(tmp_path):
    made = Made(tmp_path)
    settings = made.project()
    inputs = open_inputs(settings)
    first, second = (read_site(inputs, p.plot_id, settings) for p in inputs.plots[:2])
    assert plot_key(settings, first) == plot_key(settings, read_site(inputs, inputs.plots[0].plot_id, settings))
    assert plot_key(settings, first) != plot_key(settings, second)
    other = settings.model_copy(update={"title": "Another"})
    assert plot_key(other, first) != plot_key(settings, first)


def test_the_package_that_is_hashed_is_this_one():
    assert (Path(cache_key.__file__).parents[1] / "faults.py").exists()
    assert len(code_digest()) == 64
