"""Write the example that stands in the package: two plots of the demo's estate, as a user's own files would look.

Run as ``python data_samples/make_example.py [FOLDER]``; without a folder it writes to where the package has it. All
of it is invented, as the demo is. The soil map has columns and words of its own on purpose.
"""

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import rasterio
import shapely
from affine import Affine
from shapely.geometry import box, mapping
from shapely.geometry.base import BaseGeometry

sys.path.insert(0, str(Path(__file__).parent))

import make_demo as demo

HERE = Path(__file__).parents[1] / "pipeline" / "packpale" / "cli" / "example"
PLOTS = ("larder-shelf", "tessel-halves")
WEST, SOUTH, EAST, NORTH = 60.0, 520.0, 1240.0, 1020.0
"""What is cut out, metres east and north of the estate's corner."""
STEP = 1 / 16
"""Elevations are whole multiples of this. [m] Coarser than the demo's, so that the package stays small."""
WORDS = {
    "well": "Well drained",
    "poorly": "Poorly drained",
    "very poorly": "Very poorly drained",
    "somewhat poorly": "Somewhat poorly drained",
    "somewhat excessively": "Somewhat excessively drained",
}


def main(folder: Path) -> None:
    """Write every file of the example into the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    _elevation(folder / "elevation.tif")
    outlines = [({"field": demo.PLOTS[key][0]}, demo.PLOTS[key][1]) for key in PLOTS]
    _geojson(folder / "fields.geojson", outlines)
    _geojson(folder / "soil_map.geojson", list(_soil()))
    shapes = demo.features()
    for kind in ("watercourses", "services", "access"):
        cut = [({"name": name}, shape.intersection(box(WEST, SOUTH, EAST, NORTH))) for name, shape in shapes[kind]]
        _geojson(folder / f"{kind}.geojson", [(told, shape) for told, shape in cut if not shape.is_empty])
    head, *lines = demo.PITS.splitlines()
    inside = [line for line in lines if all(_within(line))]
    (folder / "pits.csv").write_text("\n".join([head, *map(demo._on_the_map, inside)]) + "\n", encoding="utf-8")


def _within(pit: str) -> tuple[bool, bool]:
    _, x, y, *_ = pit.split(",")
    return WEST < float(x) < EAST, SOUTH < float(y) < NORTH


def _elevation(path: Path) -> None:
    cell = demo.CELL
    rows = slice(round((demo.HEIGHT - NORTH) / cell), round((demo.HEIGHT - SOUTH) / cell))
    z = demo.elevation()[rows, round(WEST / cell) : round(EAST / cell)]
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=z.shape[0],
        width=z.shape[1],
        count=1,
        dtype="float32",
        nodata=-9999,
        crs=demo.CRS,
        transform=Affine(cell, 0, demo.WEST + WEST, 0, -cell, demo.SOUTH + NORTH),
        compress="deflate",
        predictor=3,
        zlevel=9,
    ) as out:
        out.write((np.round(z / STEP) * STEP).astype(np.float32), 1)


def _soil() -> Iterator[tuple[dict[str, object], BaseGeometry]]:
    """The demo's soil in a survey's words: depths in centimetres under names of its own."""
    for row in demo.soil_polygons():
        shape = row["geometry"].intersection(box(WEST, SOUTH, EAST, NORTH))
        if not shape.is_empty:
            told = {
                "UNIT": row["kind"],
                "DRAINAGE": WORDS[row["drainage_class"]],
                "ROCK_CM": round(100 * row["depth_to_rock_m"]),
                "WATER_CM": round(100 * row["water_table_m"]),
            }
            yield told, shape


def _on_the_map(points: np.ndarray) -> np.ndarray:
    return np.round(points + np.array([demo.WEST, demo.SOUTH]), 1)


def _geojson(path: Path, features: list[tuple[dict[str, object], BaseGeometry]]) -> None:
    crs = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:{demo.CRS.replace(':', '::')}"}}
    rows = [
        {"type": "Feature", "properties": told, "geometry": mapping(shapely.transform(shape, _on_the_map))}
        for told, shape in features
    ]
    collection = {"type": "FeatureCollection", "name": path.stem, "crs": crs, "features": rows}
    path.write_text(json.dumps(collection) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
