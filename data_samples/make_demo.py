"""Write the demo: an invented upland estate with seven candidate plots, from a seeded random field and nothing else.

Run as ``python data_samples/make_demo.py [FOLDER]``; without a folder it writes to ``demo`` beside this script.
README.md beside this script tells the scenario in words. All positions below are metres east and north of the
estate's south-west corner.
"""

import json
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pyogrio
import rasterio
from affine import Affine
from shapely import affinity, distance, line_locate_point
from shapely import points as points_of
from shapely.geometry import LineString, Point, Polygon, mapping
from shapely.geometry.base import BaseGeometry

Array = npt.NDArray[np.float64]

CRS = "EPSG:25832"
WEST, SOUTH = 420_000.0, 6_150_000.0
"""South-west corner. It lies in the open sea on purpose, so that nobody's land is meant."""
WIDTH, HEIGHT = 1700.0, 1400.0
CELL = 2.0
SEED = 20_260_117
STEP = 1 / 64
"""Elevations are whole multiples of this. [m] Fine enough for slopes, and coarse enough to compress well."""
TIMESTAMP = "2026-01-17T00:00:00.000Z"
"""Stands in the GeoPackages instead of the hour of writing, so that every run writes the same file."""


def line(corners: str) -> LineString:
    """Line through corners written as "east north, east north"."""
    return LineString([tuple(map(float, corner.split())) for corner in corners.split(",")])


def area(corners: str, *, hole: str = "") -> Polygon:
    """Polygon of such corners, which need not close."""
    return Polygon(line(corners).coords, [line(hole).coords] if hole else [])


PLOTS = {
    "hask-brow": (
        "Hask Brow",
        area(
            "232 968, 300 975, 420 962, 560 966, 700 950, 716 1040, 694 1112, 560 1128, 430 1120, 330 1132, "
            "246 1118, 222 1050",
        ),
    ),
    "mirrow-moss": (
        "Mirrow Moss",
        area(
            "1030 236, 1090 176, 1200 150, 1330 158, 1428 206, 1446 300, 1404 376, 1290 410, 1150 404, 1058 352",
        ),
    ),
    "grey-slabs": (
        "Grey Slabs",
        area(
            "206 178, 272 130, 390 136, 500 124, 588 162, 604 264, 570 356, 466 380, 336 372, 238 340, 198 262",
        ),
    ),
    "tessel-halves": (
        "Tessel Halves",
        area(
            "760 668, 850 640, 990 646, 1110 660, 1136 760, 1118 868, 1020 902, 900 896, 792 884, 748 780",
        ),
    ),
    "larder-shelf": (
        "Larder Shelf",
        area(
            "168 700, 236 646, 360 632, 500 640, 618 652, 650 742, 634 850, 540 898, 400 904, 270 896, 176 840",
        ),
    ),
    "crooked-lot": (
        "Crooked Lot",
        area(
            "1206 644, 1318 632, 1352 650, 1368 764, 1384 782, 1440 792, 1462 742, 1556 736, 1566 828, 1540 936, "
            "1450 948, 1394 872, 1350 868, 1300 884, 1222 872, 1196 760",
            hole="1258 730, 1296 726, 1302 762, 1264 768",
        ),
    ),
    "tarn-knapps": (
        "Tarn Knapps",
        area(
            "1556 238, 1604 234, 1646 258, 1672 304, 1674 356, 1654 408, 1616 438, 1566 444, 1522 430, 1490 398, "
            "1478 346, 1484 292, 1514 252",
        ),
    ),
}
"""Candidate plots by id: name and outline."""


def stream_east(north: Array) -> Array:
    """Distance east of the Tessel at a distance north."""
    return 752 + 0.2 * north + 22 * np.sin(north / 95) + 9 * np.sin(north / 41 + 1)


TARN = (1575.0, 342.0)
"""Middle of the tarn, and of the ground that is laid out round it."""
KNAPPS = (
    # Middle of each east and north of the tarn's, length, width and height, and the bearing of its crest.
    (-45.0, 24.0, 27.0, 9.0, 6.2, 28.0),
    (2.0, 53.0, 32.0, 9.0, 7.0, 78.0),
    (52.0, 18.0, 21.0, 9.5, 7.6, -16.0),
    (14.0, -52.0, 26.0, 8.5, 5.8, 104.0),
)


def tarn() -> Polygon:
    """Shore of the tarn at its usual level."""
    bearing = np.radians(np.arange(0, 360, 15))
    return Polygon(np.round(np.column_stack([27 * np.sin(bearing), 21.5 * np.cos(bearing)]) + TARN, 2))


def beck() -> LineString:
    """Middle line of the beck from the tarn's outlet to Moss Drain."""
    return line(
        "1548 330, 1536 316, 1528 300, 1527 280, 1526 262, 1518 244, 1508 230, 1494 216, 1476 202, 1458 190, 1440 178, "
        "1420 160, 1402 146, 1390 137"
    )


def elevation() -> Array:
    """Ground level at the cell centres; row 0 is the northernmost. [m]"""
    rng = np.random.default_rng(SEED)
    east, north = np.meshgrid(np.arange(CELL / 2, WIDTH, CELL), np.arange(HEIGHT - CELL / 2, 0, -CELL))
    z = _flights_of_ground(east, north)
    z += _roughness(rng, east, north)
    z += _gullies(rng, east, north)
    z = _with_bog(z, east, north)
    z = _with_stream(z, east, north)
    z = _with_tarn(z, east, north)
    return np.round(z / STEP) * STEP


def _flights_of_ground(east: Array, north: Array) -> Array:
    """Low ground, scarp, shelf, brow, crest and back slope, one above the other from south to north. [m]"""
    further_east = 1 / (1 + np.exp((780 - east) / 45))
    bent = north + 24 * np.sin(east / 210 + 0.6) + 12 * np.sin(east / 95)
    bent += further_east * (38 * np.sin((east - 700) / 118) + 15 * np.sin(north / 130))
    # The contours turn up the side valley of the Tessel.
    bent -= (
        62
        * np.exp(-(((east - stream_east(north)) / 95) ** 2))
        * np.interp(north, [300, 620, 960, 1180], [0, 0.3, 1, 0.3])
    )
    low = 1.1 + 2.4 / (1 + np.exp((east - 800) / 110))  # steeper in the west, where the slabs are
    edges = (
        470 + 22 * np.sin(east / 140 + 2),
        598 + 12 * np.sin(east / 170),
        940 + 0 * east,
        1150 + 30 * np.sin(east / 190 + 4.1) + 14 * np.sin(east / 67),
        1222 + 20 * np.sin(east / 150),
    )
    degrees = (low, 15.0, 3.4, 27.0, 5.0, -11.0)
    slope = np.tan(np.radians(degrees[0])) * np.ones_like(east)
    for edge, below, above in zip(edges, degrees[:-1], degrees[1:], strict=True):
        turned = 1 / (1 + np.exp(-(bent - edge) / 9))
        slope += (np.tan(np.radians(above)) - np.tan(np.radians(below))) * turned
    rise = np.cumsum(slope[::-1], axis=0)[::-1] * CELL
    shelf_row = int(np.argmin(np.abs(north[:, 0] - 620)))
    return 512 + rise - rise[shelf_row] + 4 * np.sin(east / 380 + 2)


def _roughness(rng: np.random.Generator, east: Array, north: Array) -> Array:
    """Random relief: swells of 40 m to 500 m in length, and hummocks and ledges of 8 m to 40 m. [m]

    Calmer on the shelf, rougher on the heights and on the slabs.
    """
    shelf = _bump(east, north, (410, 770), (330, 170))
    rough = 1 + 0.6 * _bump(east, north, (400, 250), (260, 180)) + 1 / (1 + np.exp((960 - north) / 25))
    swells = _random_field(rng, east.shape, longest=500, shortest=40)
    hummocks = _random_field(rng, east.shape, longest=40, shortest=8)
    return 1.35 * swells * (1 - 0.45 * shelf) + 0.085 * hummocks * rough * (1 - 0.3 * shelf)


def _random_field(rng: np.random.Generator, shape: tuple[int, int], *, longest: float, shortest: float) -> Array:
    """Random field of unit variance whose height falls with the square of the wave number."""
    rows, cols = 1024, 1024  # larger than the estate, so that opposite edges do not repeat each other
    white = np.fft.rfft2(rng.standard_normal((rows, cols)))
    waves = np.hypot(np.fft.fftfreq(rows, CELL)[:, None], np.fft.rfftfreq(cols, CELL)[None, :])
    kept = (waves > 1 / longest) & (waves < 1 / shortest)
    field = np.fft.irfft2(white * np.where(kept, np.maximum(waves, 1 / longest) ** -2.0, 0), (rows, cols))
    field = field[: shape[0], : shape[1]]
    return field / field.std()


def _gullies(rng: np.random.Generator, east: Array, north: Array) -> Array:
    """Shallow runnels down the brow and the scarp. [m]"""
    cut = np.zeros_like(east)
    for low, high, count in ((925, 1135, 9), (455, 615, 8)):
        for start in np.sort(rng.uniform(60, WIDTH - 60, count)):
            depth, width = rng.uniform(0.5, 1.3), rng.uniform(4, 8)
            line = start + rng.uniform(8, 20) * np.sin((north - low) / rng.uniform(40, 80)) + 0.15 * (north - low)
            along = np.clip((north - low) / 40, 0, 1) * np.clip((high - north) / 40, 0, 1)
            cut -= depth * along * np.exp(-(((east - line) / width) ** 2))
    return cut


def _with_bog(z: Array, east: Array, north: Array) -> Array:
    """Lay a flat wet hollow without an outlet into the low ground in the east."""
    q = np.hypot((east - 1236) / 185, (north - 280) / 112) + 0.06 * np.sin(east / 37) * np.cos(north / 29)
    rim = z[(q > 1.1) & (q < 1.3)].min() + 2.1  # deep enough to hold a metre of water
    inside = 1 / (1 + np.exp((q - 1) / 0.07))
    texture = 0.06 * np.sin(east / 11) * np.sin(north / 13)  # hummocks
    return z + inside * (rim - 1.0 * np.clip(1 - q**2, 0, 1) + texture - z)


def _with_stream(z: Array, east: Array, north: Array) -> Array:
    """Cut the Tessel into its side valley, its bed always falling southwards."""
    mid = stream_east(north[:, 0])
    column = np.clip((mid / CELL).astype(int), 0, z.shape[1] - 1)
    ground = z[np.arange(len(mid)), column]
    depth = np.interp(north[:, 0], [0, 150, 450, 560, 900, 1000, 1130], [3.0, 3.5, 5.0, 7.0, 5.5, 5.0, 0.0])
    fall = 0.012 * CELL
    bed = ground - depth
    for row in range(1, len(bed)):
        bed[row] = min(bed[row], bed[row - 1] - fall) if north[row, 0] < 1120 else bed[row]
    away = np.abs(east - mid[:, None])
    bank = bed[:, None] + 0.02 * away + 0.46 * np.clip(away - 3, 0, None) ** 1.02
    soft = 1.2  # rounds the shoulder where the bank meets the ground [m]
    carved = -soft * np.logaddexp(-z / soft, -bank / soft)
    fade = np.clip((1130 - north) / 60, 0, 1)
    return z + fade * (carved - z)


def _with_tarn(z: Array, east: Array, north: Array) -> Array:
    """Lay a tarn between steep knapps of gravel into the low ground in the east, and its beck towards Moss Drain.

    Nothing changes farther than 130 m from the tarn.
    """
    u, v = east - TARN[0], north - TARN[1]
    fade = np.clip((130 - np.hypot(u, v)) / 45, 0, 1)
    near = fade * fade * (3 - 2 * fade)
    water = 469.6
    calm = water + 1.2 + 0.35 * (z - water - 1.2)
    for x, y, length, width, height, bearing in KNAPPS:
        crest = np.radians(bearing)
        along = (u - x) * np.sin(crest) + (v - y) * np.cos(crest)
        across = (u - x) * np.cos(crest) - (v - y) * np.sin(crest)
        bent = across + 2.5 * np.sin(along / 11 + bearing)
        calm = calm + height * np.exp(-((along / length) ** 2) - (bent / width) ** 2)
    q = np.hypot(u / 31, v / 25) + 0.05 * np.sin(east / 9) * np.cos(north / 8)
    basin = 1 / (1 + np.exp(np.clip((q - 1) / 0.09, -40, 40)))
    calm = calm + basin * (water - 1.5 * np.clip(1 - q**4, 0, 1) - calm)
    laid = z + near * (calm - z)
    # The beck leaves the water a little below its shore and falls by 1 in 60 as far as the ground allows.
    course = beck()
    here = near > 0
    points = points_of(east[here], north[here])
    away, down = distance(course, points), line_locate_point(course, points)
    bank = water - 0.2 - down / 60 + 0.3 * np.clip(away - 2, 0, None)
    laid[here] = np.where(near[here] > 0.02, np.minimum(laid[here], bank), laid[here])
    return laid


def _bump(east: Array, north: Array, centre: tuple[float, float], reach: tuple[float, float]) -> Array:
    return np.exp(-(((east - centre[0]) / reach[0]) ** 4) - ((north - centre[1]) / reach[1]) ** 4)


def stream() -> LineString:
    """Middle line of the Tessel, from its spring to the southern edge."""
    north = np.arange(1100.0, -1, -10)
    return LineString(np.round(np.column_stack([stream_east(north), north]), 2))


def soil_polygons() -> list[dict[str, object]]:
    """Soil by kind of ground; they do not overlap, and None is a column the survey left empty."""
    moss = affinity.scale(Point(1236, 280).buffer(1, 24), 212, 138)
    haugh = stream().buffer(16, 8)
    flush = area("770 800, 846 780, 866 842, 800 872")
    shelf = area("0 590, 330 612, 700 580, 1040 604, 1700 560, 1700 954, 1180 944, 700 934, 300 948, 0 930")
    slabs = area("0 40, 300 60, 640 70, 690 250, 640 420, 420 452, 0 440")
    heights = area("0 930, 300 948, 700 934, 1180 944, 1700 954, 1700 1400, 0 1400")
    silt = affinity.scale(Point(TARN).buffer(1, 16), 36, 30)
    gravel = affinity.scale(Point(TARN).buffer(1, 16), 72, 74)
    estate = area(f"0 0, {WIDTH} 0, {WIDTH} {HEIGHT}, 0 {HEIGHT}")
    taken: BaseGeometry = Polygon()
    rows = []
    for kind, ground, values in (
        ("peat over lake clay", moss, (4.5, "soft", 0.15, 46, 1, "very poorly")),
        ("stream alluvium", haugh, (3.0, "soft", 0.55, 28, None, "poorly")),
        ("flush below a spring", flush, (2.4, "soft", 0.70, 34, 6, "somewhat poorly")),
        ("loam of the shelf", shelf, (2.3, "soft", 2.4, 21, 7, "well")),
        ("thin soil over slabs", slabs, (0.50, "hard", 2.6, 13, 21, "somewhat excessively")),
        ("silt of the tarn", silt, (4.0, "soft", 0.10, 34, 2, "very poorly")),
        ("gravel of the knapps", gravel, (3.5, "soft", 2.8, 9, 24, "somewhat excessively")),
        ("stony soil of the heights", heights, (0.95, "hard", 3.0, 11, 34, "somewhat excessively")),
    ):
        free = ground.difference(taken).intersection(estate)
        taken = taken.union(ground)
        names = (
            "depth_to_rock_m",
            "rock_hardness",
            "water_table_m",
            "clay_percent",
            "stones_percent",
            "drainage_class",
        )
        rows.append({"kind": kind, **dict(zip(names, values, strict=True)), "geometry": free})
    return rows


PITS = """\
pit,x,y,depth_to_rock_m,rock_hardness,water_table_m,clay_percent,stones_percent,drainage_class
1,280,720,2.4,soft,2.5,20,6,well
2,440,790,2.6,soft,2.6,22,5,well
3,560,700,2.1,soft,2.3,23,9,well
4,820,720,1.9,soft,1.6,26,8,moderately well
5,1060,770,2.2,soft,1.9,24,7,well
6,1260,830,2.0,soft,2.2,20,10,well
7,1500,850,1.7,soft,2.1,19,12,well
8,290,230,0.42,hard,,12,22,somewhat excessively
9,400,320,0.56,hard,,14,18,somewhat excessively
10,520,210,0.36,hard,,,26,somewhat excessively
11,1180,270,,,0.10,48,0,very poorly
12,1340,300,,,0.20,44,1,very poorly
13,480,1040,0.80,hard,,10,38,somewhat excessively
14,1655,310,2.4,soft,1.9,22,14,moderately well
"""
"""Trial pits; an empty cell was not reached or not looked at."""


def features() -> dict[str, list[tuple[str, BaseGeometry]]]:
    """What stands, lies and grows round the plots: name and shape, by kind of input."""
    return {
        "watercourses": [
            ("Tessel", stream()),
            ("Knapp Tarn", tarn()),
            ("Tarn Beck", beck()),
            (
                "Moss Drain",
                line("1330 250, 1360 222, 1393 185, 1390 137, 1379 99, 1350 72, 1333 57, 1309 50, 1298 30, 1299 0"),
            ),
        ],
        "dwellings": [
            ("Tesselhow farmhouse", area("690 432, 708 438, 704 450, 686 444")),
            ("Lot Cottage", area("1462 588, 1474 590, 1472 600, 1460 598")),
        ],
        "access": [
            (
                "estate track",
                line(
                    "650 0, 664 140, 658 300, 672 420, 706 500, 690 580, 700 622, 820 624, 1000 630, 1180 616, "
                    "1330 612, 1466 606"
                ),
            ),
            ("shelf track", line("700 622, 560 622, 380 614, 220 622, 130 680, 110 820")),
        ],
        "services": [
            (
                "electric cable",
                line("696 440, 660 560, 640 612, 400 606, 232 612, 176 690, 204 760, 186 900, 150 1100, 140 1180"),
            ),
        ],
        "woodland": [
            ("Slab Wood", area("40 420, 160 400, 300 420, 420 448, 380 540, 200 560, 60 520")),
            ("Shelter belt", area("200 906, 420 914, 640 904, 640 926, 420 938, 200 930")),
            ("Knapp Birches", area("1514 366, 1530 392, 1560 408, 1606 412, 1626 398, 1604 378, 1566 378, 1538 360")),
            ("Moss Carr", area("1300 120, 1440 140, 1500 230, 1452 240, 1420 196, 1330 152")),
        ],
        "viewpoints": [
            ("Hask Cairn", Point(620, 1190)),
            ("Lay-by", Point(1180, 600)),
            ("Shelf Gate", Point(668, 640)),
        ],
        "keep_out": [
            ("ruined fold", area("1066 690, 1094 692, 1092 716, 1064 712")),
        ],
    }


def things() -> list[tuple[str, float | None, BaseGeometry]]:
    """Single trees and boulders with their heights in metres; None where nobody has measured."""
    return [
        ("shelter oak", 11.0, Point(375, 895)),
        ("rowan", None, Point(622, 721)),
        ("erratic", 1.3, area("241 304, 244 304, 245 307, 242 308")),
        ("slab", 0.2, Point(458, 136)),
        ("alder by the Tessel", 9.0, Point(919, 782)),
        ("split boulder", 0.9, area("782 677, 784 677, 784.5 679, 782.5 679.5")),
        ("fold thorn", None, Point(1419, 884)),
        ("lone birch", 7.5, Point(1100, 600)),
        ("tarn alder", 8.0, Point(1606, 330)),
    ]


def main(folder: Path) -> None:
    """Write every file of the demo into the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    _write_tiles(folder, elevation())
    plots = [{"plot": key, "name": name, "geometry": outline} for key, (name, outline) in PLOTS.items()]
    _write_geopackage(folder / "plots.gpkg", plots)
    _write_geopackage(folder / "soil.gpkg", soil_polygons())
    head, *lines = PITS.splitlines()
    (folder / "pits.csv").write_text("\n".join([head, *map(_on_the_map, lines)]) + "\n", encoding="utf-8")
    for kind, named in features().items():
        _write_geojson(folder / f"{kind}.geojson", [({"name": name}, shape) for name, shape in named])
    standing = [({"name": name, "height_m": height}, shape) for name, height, shape in things()]
    _write_geojson(folder / "trees_and_boulders.geojson", standing)


def _write_tiles(folder: Path, z: Array) -> None:
    middle = z.shape[1] // 2
    for name, start, stop in (("west", 0, middle), ("east", middle, z.shape[1])):
        with rasterio.open(
            folder / f"elevation_{name}.tif",
            "w",
            driver="GTiff",
            height=z.shape[0],
            width=stop - start,
            count=1,
            dtype="float32",
            nodata=-9999,
            crs=CRS,
            transform=Affine(CELL, 0, WEST + start * CELL, 0, -CELL, SOUTH + HEIGHT),
            compress="deflate",
            predictor=3,
            zlevel=9,
            tiled=True,
        ) as tile:
            tile.write(z[:, start:stop].astype(np.float32), 1)


def _write_geopackage(path: Path, rows: list[dict[str, object]]) -> None:
    path.unlink(missing_ok=True)
    frame = gpd.GeoDataFrame(rows, crs=CRS)
    frame.geometry = frame.geometry.translate(WEST, SOUTH)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": TIMESTAMP})
    try:
        frame.to_file(path, layer=path.stem, driver="GPKG", engine="pyogrio")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def _on_the_map(pit: str) -> str:
    number, x, y, rest = pit.split(",", 3)
    return f"{number},{float(x) + WEST:g},{float(y) + SOUTH:.10g},{rest}"


def _write_geojson(path: Path, features: list[tuple[dict[str, object], BaseGeometry]]) -> None:
    crs = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:{CRS.replace(':', '::')}"}}
    rows = [
        {"type": "Feature", "properties": told, "geometry": mapping(affinity.translate(shape, WEST, SOUTH))}
        for told, shape in features
    ]
    collection = {"type": "FeatureCollection", "name": path.stem, "crs": crs, "features": rows}
    path.write_text(json.dumps(collection, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent / "demo")
