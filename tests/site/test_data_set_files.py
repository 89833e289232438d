"""Which files a data set is made of: a change in any of them is a change of the input."""

import shutil
import sqlite3
from contextlib import closing

import fiona
import pytest

from made_inputs import CRS, NORTH_PLOT, Made, gpx, write_raster, write_vector
from packpale.run.cache_key import file_hash
from packpale.site.files import files_of
from packpale.site.inputs import open_inputs

ROWS = [({"name": "north"}, NORTH_PLOT)]


def hashes(path):
    return {file.name: file_hash(file) for file in files_of(path)}


def changes_with(path, file):
    """Whether what stands for a data set changes with a byte of a file."""
    before, content = hashes(path), file.read_bytes()
    file.write_bytes(content + b" ")
    after = hashes(path)
    file.write_bytes(content)
    return after != before and hashes(path) == before


@pytest.mark.parametrize(
    ("name", "driver", "parts"),
    [
        ("p.shp", "ESRI Shapefile", {"p.shx", "p.dbf", "p.prj", "p.cpg"}),
        ("p.tab", "MapInfo File", {"p.dat", "p.map", "p.id"}),
        ("p.mif", "MapInfo File", {"p.mid"}),
        ("p.gpkg", "GPKG", set()),
        ("p.fgb", "FlatGeobuf", set()),
        ("p.geojson", "GeoJSON", set()),
    ],
)
def test_every_file_that_the_library_writes_counts(tmp_path, name, driver, parts):
    path = tmp_path / name
    crs = "EPSG:4326" if driver == "GeoJSON" else CRS
    with fiona.open(
        path, "w", driver=driver, crs=crs, schema={"geometry": "Polygon", "properties": {"name": "str:20"}}
    ) as out:
        out.write({"geometry": NORTH_PLOT.__geo_interface__, "properties": {"name": "north"}})
    (tmp_path / "p2.dbf").write_text("of another")
    (tmp_path / "p.qmd").write_text("a description")
    (tmp_path / "p.txt").write_text("a remark")
    written = {f.name for f in tmp_path.iterdir()} - {"p2.dbf", "p.qmd", "p.txt"}
    assert written == {name, *parts}
    assert set(hashes(path)) == written
    assert all(changes_with(path, tmp_path / part) for part in written)
    assert not changes_with(path, tmp_path / "p.txt")


@pytest.mark.parametrize("suffix", ["SHX", "Dbf", "prj", "CPG", "sbn", "sbx", "qix", "cst", "QPJ"])
def test_parts_of_a_shapefile_count_in_any_case(tmp_path, suffix):
    path, part = tmp_path / "Plots.SHP", tmp_path / f"plots.{suffix}"
    path.write_bytes(b"x")
    part.write_bytes(b"y")
    assert changes_with(path, part)


def test_an_index_of_a_mapinfo_table_counts(tmp_path):
    path, part = tmp_path / "p.TAB", tmp_path / "p.IND"
    path.write_bytes(b"x")
    part.write_bytes(b"y")
    assert changes_with(path, part)


def test_rows_that_a_geopackage_still_has_in_its_log_count(tmp_path):
    """A row added by a program that has the file open stands in the log beside it, and fiona reads it from there."""
    path = write_vector(tmp_path / "p.gpkg", ROWS)
    with closing(sqlite3.connect(path)) as base:
        base.execute("pragma journal_mode = wal")
        base.execute("pragma wal_autocheckpoint = 0")
        before = hashes(path)
        whole = path.read_bytes()
        for (name,) in base.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            base.execute(f'drop trigger "{name}"')
        base.execute("insert into p (geom, name) select geom, 'south' from p")
        base.execute("update gpkg_ogr_contents set feature_count = 2")
        base.commit()
        assert path.read_bytes() == whole
        after = hashes(path)
        with fiona.open(path) as source:
            assert [f.properties["name"] for f in source] == ["north", "south"]
    assert after != before
    assert set(after) == {"p.gpkg", "p.gpkg-wal"}
    (tmp_path / "p.gpkg-journal").write_bytes(b"x")
    assert changes_with(path, tmp_path / "p.gpkg-journal")


def test_a_gpx_and_a_table_stand_alone(tmp_path):
    for name, text in (("w.gpx", gpx(("a", [(10, 50), (10, 51), (11, 51)]))), ("p.csv", "x,y\n1,2\n")):
        (tmp_path / name).write_text(text)
        assert set(hashes(tmp_path / name)) == {name}
        assert changes_with(tmp_path / name, tmp_path / name)


def test_all_of_a_folder_counts(tmp_path):
    folder = tmp_path / "p.gdb"
    (folder / "deeper").mkdir(parents=True)
    (folder / "a.gdbtable").write_bytes(b"x")
    (folder / "deeper" / "b").write_bytes(b"y")
    assert changes_with(folder, folder / "a.gdbtable")
    assert changes_with(folder, folder / "deeper" / "b")


def test_files_beside_a_raster_count(tmp_path):
    made = Made(tmp_path)
    made.inputs["elevation"] = [write_raster(tmp_path / "own.tif")]
    (tmp_path / "own.tif.aux.xml").write_text("<PAMDataset></PAMDataset>")
    (tmp_path / "own.txt").write_text("a remark")
    names = {f.name for f in open_inputs(made.project()).elevation.tiles[0].files}
    assert names == {"own.tif", "own.tif.aux.xml"}


def test_the_log_of_a_raster_in_a_geopackage_counts(tmp_path):
    import rasterio

    made = Made(tmp_path)
    write_raster(tmp_path / "own.tif")
    with rasterio.open(tmp_path / "own.tif") as source, rasterio.open(
        tmp_path / "own.gpkg", "w", driver="GPKG", width=200, height=200, count=1, dtype="float32",
        crs=source.crs, transform=source.transform, TILE_FORMAT="TIFF",
    ) as out:  # fmt: skip
        out.write(source.read(1), 1)
    shutil.copy(tmp_path / "own.gpkg", tmp_path / "copy.gpkg")
    (tmp_path / "own.gpkg-wal").write_bytes(b"")
    made.inputs["elevation"] = [tmp_path / "own.gpkg"]
    names = {f.name for f in open_inputs(made.project()).elevation.tiles[0].files}
    assert {"own.gpkg", "own.gpkg-wal"} <= names
