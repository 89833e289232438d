"""Elevation from folders, patterns, virtual rasters and addresses: the same cells as from the tiles by name."""

import http.server
import re
import threading
from urllib.parse import unquote

import numpy as np
import pytest
import rasterio
import rasterio.shutil
from click.testing import CliRunner

import quick_runs
from made_inputs import CRS, NORTH, WEST, Made, centres, plane, write_raster
from packpale.cli import commands
from packpale.faults import Faults
from packpale.settings import read_settings
from packpale.site.elevation_sources import NETWORK
from packpale.site.inputs import open_inputs, read_site


@pytest.fixture
def made(tmp_path):
    return Made(tmp_path)


def ground(made, plot="north"):
    return read_site(open_inputs(made.project()), plot, made.project()).elevation


def write_tiles(folder, cols=100):
    """The made raster in two tiles."""
    folder.mkdir(exist_ok=True)
    values = plane(*centres(200, 200)).astype("float32")
    return [
        write_raster(folder / "a.tif", values[:, :cols]),
        write_raster(folder / "b.tif", values[:, cols:], west=WEST + cols),
    ]


def test_a_folder_and_a_pattern_are_their_tiles(made, tmp_path):
    whole = ground(made)
    write_tiles(tmp_path / "tiles")
    (tmp_path / "tiles" / "README.txt").write_text("not a raster", encoding="utf-8")
    for source in (tmp_path / "tiles", tmp_path / "tiles" / "*.tif", tmp_path / "tiles" / "?.tif"):
        made.inputs["elevation"] = str(source)
        np.testing.assert_array_equal(ground(made), whole)
        assert len(open_inputs(made.project()).elevation.tiles) == 2


def test_in_a_settings_file_a_pattern_is_seen_from_that_file(made, tmp_path):
    write_tiles(tmp_path / "tiles")
    text = made.settings_text().replace(str(tmp_path / "dem.tif"), "tiles/*.tif")
    project = read_settings(made.text(text, "land.toml"))
    assert len(open_inputs(project).elevation.tiles) == 2


VRT = """<VRTDataset rasterXSize="200" rasterYSize="200"><GeoTransform>{west}, 1, 0, {north}, 0, -1</GeoTransform>
<VRTRasterBand dataType="Float32" band="1">{sources}</VRTRasterBand></VRTDataset>"""
SOURCE = """<{kind}Source><SourceFilename relativeToVRT="1">{file}</SourceFilename><SourceBand>1</SourceBand>
<SrcRect xOff="0" yOff="0" xSize="{cols}" ySize="200"/><DstRect xOff="{at}" yOff="0" xSize="{to}" ySize="200"/>
{more}</{kind}Source>"""


def virtual(tmp_path, *sources):
    path = tmp_path / "all.vrt"
    path.write_text(VRT.format(west=WEST, north=NORTH, sources="".join(sources)), encoding="utf-8")
    return path


def source(file, at, *, cols=100, to=100, kind="Simple", more=""):
    return SOURCE.format(file=file, at=at, cols=cols, to=to, kind=kind, more=more)


def test_a_virtual_raster_is_what_it_points_to(made, tmp_path):
    whole = ground(made)
    write_tiles(tmp_path / "tiles")
    nodata = "<NODATA>-9999</NODATA>"
    made.inputs["elevation"] = virtual(
        tmp_path, source("tiles/a.tif", 0), source("tiles/b.tif", 100, kind="Complex", more=nodata)
    )
    np.testing.assert_array_equal(ground(made), whole)
    # GDAL reads the same from the same file.
    with rasterio.open(made.inputs["elevation"]) as virtual_raster:
        np.testing.assert_allclose(ground(made), virtual_raster.read(1)[10:90, 10:100])
    # And one that GDAL has written itself.
    rasterio.shutil.copy(tmp_path / "dem.tif", tmp_path / "copy.vrt", driver="VRT")
    made.inputs["elevation"] = tmp_path / "copy.vrt"
    np.testing.assert_array_equal(ground(made), whole)


def test_the_last_source_of_a_virtual_raster_lies_on_top(made, tmp_path):
    write_raster(tmp_path / "low.tif", np.full((200, 200), 100, "float32"))
    write_raster(tmp_path / "high.tif", np.full((200, 200), 120, "float32"))
    one, two = (source(f, 0, cols=200, to=200) for f in ("low.tif", "high.tif"))
    made.inputs["elevation"] = virtual(tmp_path, one, two)
    assert set(np.unique(ground(made))) == {120.0}
    with rasterio.open(made.inputs["elevation"]) as virtual_raster:
        assert virtual_raster.read(1)[50, 50] == 120
    made.inputs["elevation"] = virtual(tmp_path, two, one)
    assert set(np.unique(ground(made))) == {100.0}


@pytest.mark.parametrize(
    "sources",
    [
        (),
        (source("tiles/a.tif", 0, to=50),),
        (source("tiles/a.tif", 0, kind="Complex", more="<ScaleRatio>2</ScaleRatio>"),),
        (source("tiles/a.tif", 0, kind="Complex", more="<LUT>0:0,9:9</LUT>"),),
        (source("tiles/a.tif", 0, kind="KernelFiltered"),),
        (source("tiles/a.tif", 0).replace("<SourceBand>1", "<SourceBand>2"),),
    ],
)
def test_a_virtual_raster_that_computes_is_refused(made, tmp_path, sources):
    write_tiles(tmp_path / "tiles")
    made.inputs["elevation"] = virtual(tmp_path, *sources)
    with pytest.raises(Faults) as caught:
        open_inputs(made.project())
    (line,) = caught.value.lines
    assert line.startswith(
        "all.vrt: does more than lay rasters of one band side by side; name the rasters it points to"
    )


def test_a_virtual_raster_leads_to_no_network(made, tmp_path):
    for address in ("/vsicurl/http://127.0.0.1:9/a.tif", "https://127.0.0.1:9/a.tif"):
        made.inputs["elevation"] = virtual(
            tmp_path, source(address, 0).replace('relativeToVRT="1"', 'relativeToVRT="0"')
        )
        with pytest.raises(Faults, match=r"all\.vrt: points to an address; name the addresses under inputs\.elevation"):
            open_inputs(made.project())


@pytest.mark.parametrize(
    ("where", "fault"),
    [
        ("empty", r".+/empty: is a folder without a raster in it; name the folder that the tiles lie in"),
        ("no*.tif", r".+/no\*\.tif: no file has a name of that pattern; correct it"),
        (
            "cloud.laz",
            r"cloud\.laz: is a point cloud; packpale start FOLDER --elevation cloud\.laz --cell 1 makes a .+",
        ),
        ("broken.vrt", r"broken\.vrt: is no virtual raster \(.+\); make it again"),
        ("evil.vrt", r"evil\.vrt: is no virtual raster \(.+\); make it again"),
        ("gone.vrt", r".+/gone\.vrt: there is no such file; correct the path"),
    ],
)
def test_what_is_no_elevation_is_one_line(made, tmp_path, where, fault):
    (tmp_path / "empty").mkdir()
    (tmp_path / "cloud.laz").write_bytes(b"LASF")
    (tmp_path / "broken.vrt").write_text("<VRTDataset>", encoding="utf-8")
    (tmp_path / "evil.vrt").write_text('<!DOCTYPE x [<!ENTITY a "b">]><VRTDataset>&a;</VRTDataset>', encoding="utf-8")
    made.inputs["elevation"] = tmp_path / where
    with pytest.raises(Faults) as caught:
        open_inputs(made.project())
    (line,) = caught.value.lines
    assert re.fullmatch(fault, line), line


def test_of_many_tiles_only_those_near_the_plots_count_for_what_is_kept(made, tmp_path):
    from packpale.run.cache_key import input_files

    tiles = write_tiles(tmp_path / "tiles", cols=105)
    write_raster(tmp_path / "tiles" / "far.tif", west=WEST + 5200)
    made.inputs["elevation"] = tmp_path / "tiles"
    made.plots(("north", open_inputs(made.project()).plots[0].outline))
    inputs = open_inputs(made.project())
    assert set(input_files(made.project(), inputs)["elevation"]) == set(tiles)


# --- addresses: a server on this machine that sends parts of files, and counts what it sends ---------------------


class Server(http.server.ThreadingHTTPServer):
    def __init__(self, folder, *, parts=True):
        super().__init__(("127.0.0.1", 0), Handler)
        self.folder, self.parts, self.sent, self.asked = folder, parts, 0, []

    @property
    def address(self):
        return f"http://127.0.0.1:{self.server_address[1]}"


class Handler(http.server.BaseHTTPRequestHandler):
    def do_HEAD(self):
        self.answer(body=False)

    def do_GET(self):
        self.answer(body=True)

    def answer(self, *, body):
        path = self.server.folder / unquote(self.path.lstrip("/"))
        self.server.asked.append(self.path)
        if not path.is_file():
            self.send_error(404)
            return
        data = path.read_bytes()
        wanted = re.fullmatch(r"bytes=(\d+)-(\d*)", self.headers.get("Range", ""))
        if wanted and self.server.parts:
            first, last = int(wanted[1]), min(int(wanted[2] or len(data) - 1), len(data) - 1)
            self.send_response(206)
            self.send_header("Content-Range", f"bytes {first}-{last}/{len(data)}")
            data = data[first : last + 1]
        else:
            self.send_response(200)
        self.send_header("Content-Length", str(len(data)))
        if self.server.parts:
            self.send_header("Accept-Ranges", "bytes")
        self.end_headers()
        if body:
            self.server.sent += len(data)
            self.wfile.write(data)

    def log_message(self, *_):
        pass


@pytest.fixture
def server(tmp_path, monkeypatch):
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    folder = tmp_path / "served"
    folder.mkdir()
    with Server(folder) as running:
        thread = threading.Thread(target=running.serve_forever, daemon=True)
        thread.start()
        yield running
        running.shutdown()
        thread.join()


def write_large(path):
    """A cloud-optimised raster of 3,000 x 3,000 cells that do not compress, the made ground in its corner."""
    values = np.random.default_rng(5).normal(300, 1, (3000, 3000)).astype("float32")
    values[:200, :200] = plane(*centres(200, 200))
    write_raster(path, values, driver="COG", blocksize=256)
    return path


def test_of_a_raster_at_an_address_windows_alone_are_read(made, server):
    whole = ground(made)
    file = write_large(server.folder / "big ground.tif")
    made.inputs["elevation"] = f"{server.address}/big%20ground.tif"
    inputs = open_inputs(made.project())
    assert inputs.elevation.name == "big ground.tif"
    np.testing.assert_array_equal(read_site(inputs, "north", made.project()).elevation, whole)
    # 36 MB and its overviews stay where they are: the window lies in one block of 256 KB.
    assert file.stat().st_size > 36_000_000
    assert 256_000 < server.sent < 2_000_000


def test_what_an_address_does_not_give_is_one_line(made, server, tmp_path):
    write_raster(server.folder / "dem.tif")
    (server.folder / "page.tif").write_text("<html>Please log in</html>", encoding="utf-8")
    bound = "+proj=utm +zone=32 +nadgrids=/etc/hostname"
    (server.folder / "bound.tif").write_bytes(b"II*\0" + bound.encode())
    for name, fault in (
        ("gone.tif", r"gone\.tif: the server answers 404 \(.+\) to http.+; correct the address"),
        ("page.tif", r"page\.tif: what http.+ sends is no GeoTIFF; name one, or download the file"),
        ("bound.tif", r"bound\.tif: its coordinate reference system names a file .+"),
    ):
        made.inputs["elevation"] = f"{server.address}/{name}"
        with pytest.raises(Faults) as caught:
            open_inputs(made.project())
        assert len(caught.value.lines) == 1
        assert re.fullmatch(fault, caught.value.lines[0]), caught.value.lines[0]
    server.parts = False
    made.inputs["elevation"] = f"{server.address}/dem.tif"
    with pytest.raises(Faults, match=r"does not send parts of files; download the file and name it"):
        open_inputs(made.project())
    server.shutdown()
    server.server_close()
    with pytest.raises(
        Faults, match=r"dem\.tif: the network does not reach http://127\.0\.0\.1:\d+/dem\.tif \(.+\); look"
    ):
        open_inputs(made.project())


def test_a_network_lost_while_a_plot_is_read_is_one_line(made, server):
    write_large(server.folder / "dem.tif")
    made.inputs["elevation"] = f"{server.address}/dem.tif"
    made.settings["land"]["margin_m"] = 900.0
    inputs = open_inputs(made.project())
    server.shutdown()
    server.server_close()
    with pytest.raises(Faults) as caught:
        read_site(inputs, "north", made.project())
    (line,) = caught.value.lines
    assert line.startswith("dem.tif: cannot be read to its end (")
    assert line.endswith("supply a whole file, or look at the connection and start the same command again")


def test_a_virtual_path_of_gdal_is_read_too(made, tmp_path):
    import zipfile

    whole = ground(made)
    with zipfile.ZipFile(tmp_path / "d.zip", "w") as packed:
        packed.write(tmp_path / "dem.tif", "inside.tif")
    made.inputs["elevation"] = f"/vsizip/{tmp_path}/d.zip/inside.tif"
    np.testing.assert_array_equal(ground(made), whole)
    made.inputs["elevation"] = f"/vsizip/{tmp_path}/d.zip/gone.tif"
    with pytest.raises(Faults, match=r"gone\.tif: cannot be read as a raster"):
        open_inputs(made.project())


def test_a_plot_from_an_address_is_kept_only_while_its_ground_is_the_same(made, server, monkeypatch):
    quick_runs.let_rooms_stand_aside(monkeypatch)
    # As in a process of its own: nothing is remembered of what was fetched.
    monkeypatch.setitem(NETWORK, "CPL_VSIL_CURL_NON_CACHED", "/vsicurl/")
    write_raster(server.folder / "dem.tif", driver="COG")
    made.inputs["elevation"] = f"{server.address}/dem.tif"
    assert quick_runs.run(made)[1] == {"north": "done", "south": "done"}
    assert quick_runs.run(made)[1] == {"north": "kept", "south": "kept"}
    values = plane(*centres(200, 200)).astype("float32")
    values[100:] += 1
    write_raster(server.folder / "dem.tif", values, driver="COG")
    assert quick_runs.run(made)[1] == {"north": "kept", "south": "done"}


def test_start_takes_an_address_and_a_pattern(made, server, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_raster(server.folder / "dem.tif", driver="COG")
    write_tiles(tmp_path / "tiles")
    for n, given in enumerate((f"{server.address}/dem.tif", "tiles/*.tif", "tiles")):
        done = CliRunner().invoke(commands, ["start", f"land{n}", "--elevation", given, "--plots", "plots.gpkg"])
        assert done.exit_code == 0, done.output
        project = read_settings(tmp_path / f"land{n}" / "packpale.toml")
        assert open_inputs(project).crs == CRS
        assert CliRunner().invoke(commands, ["check", f"land{n}/packpale.toml"]).exit_code == 0
