"""Small input files for the tests: an elevation raster of 200 x 200 m and two plots on it, and changes to them."""

import json
from pathlib import Path

import fiona
import numpy as np
import rasterio
import shapely
from affine import Affine
from pyproj import Transformer
from shapely.geometry import box, mapping

from packpale.settings import Project

CRS = "EPSG:25832"
WEST, NORTH = 600_000.0, 5_600_000.0
NORTH_PLOT = box(WEST + 20, NORTH - 80, WEST + 90, NORTH - 20)
SOUTH_PLOT = box(WEST + 110, NORTH - 180, WEST + 170, NORTH - 110)


def plane(x, y):
    """Ground of the made raster: an inclined plane. [m]"""
    return 300.0 + 0.05 * (x - WEST) - 0.08 * (NORTH - y)


def centres(rows, cols, west=WEST, north=NORTH, cell=1.0):
    x = west + (np.arange(cols) + 0.5) * cell
    y = north - (np.arange(rows) + 0.5) * cell
    return np.meshgrid(x, y)


def in_crs(geometry, target, source=CRS):
    """A geometry moved by pyproj directly, x first on both sides."""
    change = Transformer.from_crs(source, target, always_xy=True).transform
    return shapely.transform(geometry, lambda p: np.column_stack(change(p[:, 0], p[:, 1])))


def write_raster(path, values=None, *, west=WEST, north=NORTH, cell=1.0, crs=CRS, transform=None, **profile):
    """A GeoTIFF; values default to the plane on 200 x 200 cells, more dimensions than two are bands."""
    if values is None:
        values = plane(*centres(200, 200, west, north, cell)).astype("float32")
    bands = values if values.ndim == 3 else values[None]
    units = profile.pop("units", None)
    scale, offset = profile.pop("scale", None), profile.pop("offset", None)
    with rasterio.open(
        path,
        "w",
        driver=profile.pop("driver", "GTiff"),
        width=bands.shape[2],
        height=bands.shape[1],
        count=bands.shape[0],
        dtype=bands.dtype,
        crs=crs,
        transform=transform or Affine(cell, 0, west, 0, -cell, north),
        **profile,
    ) as out:
        out.write(bands)
        if units:
            out.units = (units,)
        if scale is not None:
            out.scales, out.offsets = (scale,), (offset,)
    return path


def write_vector(path, rows, *, crs=CRS, driver="GPKG", geometry="Unknown", columns=None, layer=None):
    """A vector file; rows are (properties, geometry or None)."""
    columns = columns or {name: kind_of(value) for name, value in (rows[0][0] if rows else {"name": ""}).items()}
    with fiona.open(
        path,
        "w",
        driver=driver,
        crs=crs,
        schema={"geometry": geometry, "properties": columns},
        **({"layer": layer} if layer else {}),
    ) as out:
        for properties, shape in rows:
            out.write({"geometry": None if shape is None else mapping(shape), "properties": properties})
    return path


def kind_of(value):
    return {str: "str", int: "int", float: "float"}[type(value)]


def write_geojson(path, rows):
    """GeoJSON as written by hand, so that it may hold what no library would write."""
    features = [
        {"type": "Feature", "properties": p, "geometry": g if g is None or isinstance(g, dict) else mapping(g)}
        for p, g in rows
    ]
    Path(path).write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    return path


def gpx(*tracks, kind="trk"):
    """Text of a GPX file with tracks (or routes) given as (name, [(lon, lat), ...])."""
    point, inner = ("trkpt", ("<trkseg>", "</trkseg>")) if kind == "trk" else ("rtept", ("", ""))
    body = "".join(
        f"<{kind}>"
        + (f"<name>{name}</name>" if name else "")
        + inner[0]
        + "".join(f'<{point} lat="{lat:.9f}" lon="{lon:.9f}"><ele>310</ele></{point}>' for lon, lat in points)
        + f"{inner[1]}</{kind}>"
        for name, points in tracks
    )
    head = '<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
    return f"{head}{body}</gpx>"


class Made:
    """A folder with good inputs, any of which a test may spoil before it asks for the project."""

    def __init__(self, folder):
        self.folder = folder
        self.inputs = {
            "elevation": [write_raster(folder / "dem.tif")],
            "plots": write_vector(
                folder / "plots.gpkg", [({"name": "north"}, NORTH_PLOT), ({"name": "south"}, SOUTH_PLOT)]
            ),
            "plot_id": "name",
        }
        self.settings = {"crs": CRS, "land": {"margin_m": 10.0}}

    def project(self):
        return Project.model_validate({"inputs": self.inputs, **self.settings})

    def settings_text(self):
        """The same as a settings file, its last section open for more keys of [land]."""
        lines = [f"crs = {json.dumps(self.settings['crs'])}"] if "crs" in self.settings else []
        lines.append("[inputs]")
        for key, value in self.inputs.items():
            lines.append(f"{key} = {json.dumps([str(v) for v in value] if isinstance(value, list) else str(value))}")
        return "\n".join([*lines, "[land]", f"margin_m = {self.settings['land']['margin_m']}", ""])

    def plots(self, *rows, **options):
        """Replace the plots by rows of (id, geometry)."""
        path = self.folder / options.pop("file", "own.gpkg")
        self.inputs["plots"] = write_vector(path, [({"name": i}, g) for i, g in rows], **options)

    def plots_text(self, text, file):
        self.inputs["plots"] = self.text(text, file)

    def raster(self, values=None, *, file="own.tif", **options):
        """Replace the elevation."""
        self.inputs["elevation"] = [write_raster(self.folder / file, values, **options)]

    def text(self, text, file):
        path = self.folder / file
        path.write_text(text, encoding="utf-8")
        return path

    def pits(self, text):
        self.inputs["pits"] = self.text(text, "pits.csv")
