"""Write the screening sample: a geographic elevation raster of 3 arc-second cells and three plots of whole catchments.

Run as ``python data_samples/make_screening.py [FOLDER]``; without a folder it writes to ``screening`` beside this
script. The elevations come with matplotlib; screening/PROVENANCE.md says what is known about them.
"""

import sys
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from matplotlib.cbook import get_sample_data

CELL_DEG = 1 / 1200
"""3 arc seconds."""

PLOTS = {
    "block-plateau": [
        (-84.222, 36.391),
        (-84.196, 36.402),
        (-84.176, 36.399),
        (-84.163, 36.381),
        (-84.171, 36.365),
        (-84.198, 36.353),
        (-84.216, 36.355),
        (-84.229, 36.372),
    ],
    "valley-floor": [
        (-84.184, 36.345),
        (-84.162, 36.357),
        (-84.138, 36.371),
        (-84.121, 36.363),
        (-84.117, 36.343),
        (-84.131, 36.327),
        (-84.158, 36.322),
        (-84.181, 36.330),
    ],
    "mountain-fork": [
        (-84.318, 36.238),
        (-84.294, 36.252),
        (-84.268, 36.243),
        (-84.258, 36.221),
        (-84.272, 36.203),
        (-84.299, 36.206),
        (-84.317, 36.219),
    ],
}
"""Outlines by id: longitude and latitude of the corners, drawn for this sample. [deg]"""


def write_elevation(path: Path) -> None:
    """Write the elevations as a GeoTIFF in EPSG:4326.

    The sample's xmin and ymax are the outer edges of its north-western cell: both are odd multiples of half a
    cell, as the edges of cells centred on whole multiples of 3 arc seconds are, and xmax lies exactly 403 cells east
    of xmin. Its ymin lies 344 cells NORTH of ymax: a sign slipped when the sample was made. That the rows run south
    from ymax shows in the highest cell, which then lies on the published summit of Cross Mountain.
    """
    sample = get_sample_data("jacksboro_fault_dem.npz")
    elevation: np.ndarray = sample["elevation"]
    west = round(float(sample["xmin"]) / CELL_DEG * 2) / 2 * CELL_DEG
    north = round(float(sample["ymax"]) / CELL_DEG * 2) / 2 * CELL_DEG
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=elevation.shape[0],
        width=elevation.shape[1],
        count=1,
        dtype="int16",
        nodata=-32768,
        crs="EPSG:4326",
        transform=Affine(CELL_DEG, 0, west, 0, -CELL_DEG, north),
        compress="deflate",
        predictor=2,
        zlevel=9,
        tiled=True,
    ) as raster:
        raster.write(elevation, 1)


def write_plots(path: Path) -> None:
    """Write the outlines as KML, as a map viewer would save them."""
    lines = ['<?xml version="1.0" encoding="UTF-8"?>', '<kml xmlns="http://www.opengis.net/kml/2.2">', "<Document>"]
    for name, corners in PLOTS.items():
        ring = " ".join(f"{lon:.3f},{lat:.3f},0" for lon, lat in [*corners, corners[0]])
        outline = f"<outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs>"
        lines.append(f"<Placemark><name>{name}</name><Polygon>{outline}</Polygon></Placemark>")
    path.write_text("\n".join([*lines, "</Document>", "</kml>"]) + "\n", encoding="utf-8")


if __name__ == "__main__":
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "screening"
    folder.mkdir(parents=True, exist_ok=True)
    write_elevation(folder / "elevation_3_arc_seconds.tif")
    write_plots(folder / "plots.kml")
