"""Coordinate reference systems: understanding them, choosing the run's, moving coordinates between two."""

import functools
import math
import re
import warnings
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely
from pyproj import CRS, Proj, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import TransformerGroup
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults, Gathering
from packpale.site.grid import Array
from packpale.units import measured
from packpale.values.notes import Note

LONGEST_EDGE_M = 500.0
"""Edges are cut to this length before they change CRS. [m] The arc over a chord of 500 m rises L^2 / 8 R = 5 mm."""
EARTH_RADIUS_M = 6_371_008.8
"""Mean radius of the GRS 80 ellipsoid, (2 a + b) / 3. [m]"""
SCALE_REFUSED = 0.005
"""Lengths on the map this much off the ground's are refused: 5 m in a kilometre of fence."""
SCALE_NOTED = 0.001
"""Lengths on the map this much off the ground's are said in a note; within a UTM zone they stay below."""
SHIFT_NOTED_M = 1.0
"""A change of CRS less accurate than this is said in a note. [m] A fence is set out to decimetres."""
WIDEST_DEG = 30.0
"""One geometry spans no more. [deg] No projected CRS holds true that far, and its edges are cut to LONGEST_EDGE_M."""
FARTHEST_M = 1e9
"""No coordinate of a projected CRS is larger: false origins lie some ten thousand km away at most. [m]"""
STRAY_DEG = 10.0
"""So far outside the area a CRS is made for, coordinates are in another CRS than their label says. [deg]"""


_FILE = re.compile(
    # A parameter that is a file, of WKT, and a grid that a datum is bound to, of its older form.
    r"parameterfile|proj4_grids"
    # The same of PROJ strings, but for the grid that shifts nothing.
    r"|grids\s*=(?!\s*@null(?![\w,]))|(?:^|[\s+;])init\s*=(?!\s*(?:epsg|esri|ignf):)"
    # Operations, which are no CRS, and most of which take a file.
    r"|proj\s*=\s*(?:pipeline|deformation|defmodel|tinshift|\w*gridshift)"
    # A bound CRS in JSON: the file is a value like any other.
    r'|"boundcrs\\*"',
    re.IGNORECASE,
)
"""What in a definition of a CRS names a file, which might be anywhere on the machine."""


def names_a_file(text: str) -> bool:
    """Whether a definition of a CRS would have a reader open some file; opens none.

    A vertical CRS that is bound to a file, as of many elevation models, does no harm: only the horizontal one is used.
    """
    if not _FILE.search(text):
        return False
    try:
        # Reading WKT opens nothing, however hostile. PROJ strings are not read at all.
        return bool(_FILE.search(_without_heights(CRS.from_wkt(text)).to_wkt()))
    except CRSError:
        return True


def refused_file(where: str) -> str:
    """The fault of a CRS that names a file."""
    return (
        f"{where}: its coordinate reference system names a file of shifts or steps, and no such file is read; "
        "give it one from the register, such as EPSG:25832, with the program that made it"
    )


def parse(text: str, where: str) -> CRS:
    """The horizontal CRS that ``text`` names; raises Faults naming ``where`` if it names none, or a file."""
    found = text if text.isprintable() else ascii(text)
    if names_a_file(text) or "init=" in text.replace(" ", ""):
        raise Faults(f'{where}: "{found}" names a file, which is not read; write an EPSG code such as "EPSG:25832"')
    try:
        crs = horizontal(CRS.from_user_input(text))
    except CRSError as error:
        raise Faults(f'{where}: "{found}" is no CRS; write an EPSG code such as "EPSG:25832"') from error
    if not is_of_the_earth(crs):
        raise Faults(f'{where}: "{found}" is tied to no place on Earth; write an EPSG code such as "EPSG:25832"')
    return crs


def from_wkt(wkt: str | None, where: str) -> CRS | None:
    """The horizontal CRS a file carries, as WKT or a code; None if it carries none that ties it to the Earth.

    Raises Faults naming ``where`` if it names a file.
    """
    if not wkt:
        return None
    if names_a_file(wkt):
        raise Faults(refused_file(where))
    try:
        crs = horizontal(CRS.from_user_input(wkt))
    except CRSError:
        return None
    return crs if (crs.is_projected or crs.is_geographic) and is_of_the_earth(crs) else None


def is_of_the_earth(crs: CRS) -> bool:
    """Whether places in a CRS are places on Earth: there are those of the Moon, and damaged ones."""
    try:
        transformer(crs, CRS.from_epsg(4326))
    except ProjError:
        return False
    return True


def horizontal(crs: CRS) -> CRS:
    """The part of a CRS without heights, as its register entry where it is one."""
    crs = _without_heights(crs)
    authority = crs.to_authority()
    return CRS.from_authority(*authority) if authority else crs


def _without_heights(crs: CRS) -> CRS:
    return (crs.sub_crs_list[0] if crs.is_compound else crs).to_2d()


def label(crs: CRS) -> str:
    """Short text that pyproj understands again: the authority's code, or WKT where there is none."""
    authority = crs.to_authority()
    return ":".join(authority) if authority else crs.to_wkt()


def shown(crs: CRS) -> str:
    """Short text for a reader."""
    authority = crs.to_authority()
    return ":".join(authority) if authority else crs.name


def same(a: CRS, b: CRS) -> bool:
    """Coordinates of one are coordinates of the other."""
    return a.equals(b, ignore_axis_order=True)


@functools.lru_cache(maxsize=64)
def transformer(source: CRS, target: CRS) -> Transformer:
    """From ``source`` to ``target``, x east and y north (or longitude, latitude) on both sides."""
    return Transformer.from_crs(source, target, always_xy=True)


def moved(x: npt.ArrayLike, y: npt.ArrayLike, source: CRS, target: CRS) -> tuple[Array, Array]:
    """Coordinates in ``target``; infinite where ``target`` or ``source`` has no such point."""
    x, y = np.asarray(x, float), np.asarray(y, float)
    if same(source, target):
        return x, y
    x2, y2 = transformer(source, target).transform(x, y)
    return np.asarray(x2), np.asarray(y2)


def moved_geometry(geometry: BaseGeometry, source: CRS, target: CRS, where: str) -> BaseGeometry:
    """A 2-D geometry in ``target``, its long edges cut first so that they stay true.

    Raises Faults naming ``where`` if a coordinate is not finite, is no place on Earth, or has no place in ``target``.
    """
    geometry = shapely.force_2d(geometry)
    xy = shapely.get_coordinates(geometry)
    if not np.isfinite(xy).all():
        raise Faults(f"{where}: has a coordinate that is not a finite number; correct it in the file")
    if source.is_geographic and len(xy):
        degrees = np.abs(xy) * math.degrees(source.axis_info[0].unit_conversion_factor)
        if degrees[:, 1].max() > 90 or degrees[:, 0].max() > 360:
            x, y = xy[np.argmax(degrees.max(axis=1))]
            raise Faults(
                f"{where}: has the coordinate ({x:g}, {y:g}), which is no longitude and latitude; "
                f"the file says it is in {shown(source)}: give it the CRS its numbers are in"
            )
    unit = source.axis_info[0].unit_conversion_factor
    if not source.is_geographic and len(xy) and np.abs(xy).max() * unit > FARTHEST_M:
        x, y = xy[np.argmax(np.abs(xy).max(axis=1))]
        raise Faults(
            f"{where}: has the coordinate ({x:g}, {y:g}), which is no place on Earth; "
            f"the file says it is in {shown(source)}: correct it in the file"
        )
    widest = math.radians(WIDEST_DEG) if source.is_geographic else math.radians(WIDEST_DEG) * EARTH_RADIUS_M
    spans = float(np.ptp(xy, axis=0).max()) * unit if len(xy) else 0.0
    if spans > widest:
        found = f"{math.degrees(spans):.3g}°" if source.is_geographic else measured(spans / 1000, "km", ".3g")
        raise Faults(
            f"{where}: spans {found}, allowed are {WIDEST_DEG:g}° or {measured(widest_km(), 'km', ',.0f')}; "
            "cut it to the land round the plots"
        )
    if same(source, target):
        return geometry
    longest = LONGEST_EDGE_M / EARTH_RADIUS_M / unit if source.is_geographic else LONGEST_EDGE_M / unit
    change = transformer(source, target).transform
    # Cutting keeps every given corner: shapely's segmentize only adds points.
    out = shapely.transform(shapely.segmentize(geometry, longest), lambda p: np.column_stack(change(p[:, 0], p[:, 1])))
    if not np.isfinite(shapely.get_coordinates(out)).all():
        raise Faults(
            f"{where}: has coordinates that are no place in {shown(target)}; "
            f"the file says it is in {shown(source)}: give it the CRS its numbers are in"
        )
    return out


def widest_km() -> float:
    """WIDEST_DEG on the ground. [km]"""
    return math.radians(WIDEST_DEG) * EARTH_RADIUS_M / 1000


def stray(geometry: BaseGeometry, source: CRS, where: str) -> None:
    """Raise Faults if a geometry lies far outside the area its CRS is made for: the label is wrong then."""
    area = source.area_of_use
    if area is None or area.west > area.east or geometry.is_empty:
        return
    west, south, east, north = geometry.bounds
    x, y = (west + east) / 2, (south + north) / 2
    if _strays(x, y, source, 0.0):
        lon, lat = (float(v) for v in lonlat(geometry, source))
        place = place_text(lon, lat) if math.isfinite(lon + lat) else "nowhere on Earth"
        advice = "give the file the CRS its numbers are in"
        # Much nearer than the others' tolerance: swapped numbers must fit well to be blamed.
        if not _strays(y, x, source, -STRAY_DEG):
            advice = f"its coordinates are swapped, in the other order it lies inside: write x first, or {advice}"
        raise Faults(f"{where}: lies at {place}, far outside the area of {shown(source)} ({area.name}); {advice}")


def _strays(x: float, y: float, source: CRS, more: float) -> bool:
    """Whether a place lies outside the area its CRS is made for, by STRAY_DEG and ``more``. [deg]"""
    area = source.area_of_use
    if area is None:
        return False
    lon, lat = (float(v) for v in moved(x, y, source, CRS.from_epsg(4326)))
    beyond = STRAY_DEG + more
    inside = area.west - beyond <= lon <= area.east + beyond
    return not (inside and area.south - beyond <= lat <= area.north + beyond)


def lonlat(geometry: BaseGeometry, crs: CRS) -> tuple[Array, Array]:
    """Longitude and latitude of the middle of a geometry's bounds. [deg]"""
    west, south, east, north = geometry.bounds
    return moved((west + east) / 2, (south + north) / 2, crs, CRS.from_epsg(4326))


def place_text(lon: float, lat: float) -> str:
    """A place in words: degrees with their hemisphere."""
    return f"{abs(lat):.4f}° {'N' if lat >= 0 else 'S'}, {abs(lon):.4f}° {'E' if lon >= 0 else 'W'}"


LEAVE_OUT = "leave it out to have one chosen, or name one such as EPSG:25832"
"""What to do about a CRS that no run can be computed in."""


def given_run_crs(text: str) -> CRS:
    """The run's CRS as the settings name it; raises Faults unless it is projected, in metres, east and north."""
    crs = parse(text, "crs")
    if not crs.is_projected:
        kind = "geographic (degrees)" if crs.is_geographic else crs.type_name
        raise Faults(f"crs: {shown(crs)} is {kind}; lengths need a projected CRS in metres: {LEAVE_OUT}")
    units = {axis.unit_name for axis in crs.axis_info}
    if any(axis.unit_conversion_factor != 1 for axis in crs.axis_info):
        raise Faults(f"crs: {shown(crs)} is in {', '.join(sorted(units))}; lengths need metres: {LEAVE_OUT}")
    if {axis.direction for axis in crs.axis_info} != {"east", "north"}:
        raise Faults(f"crs: the axes of {shown(crs)} do not point east and north; choose one whose axes do")
    return crs


def is_run_crs(crs: CRS) -> bool:
    """Whether a run can be computed in a CRS: projected, in metres, east and north."""
    try:
        given_run_crs(label(crs))
    except Faults:
        return False
    return True


def serves(crs: CRS, outlines: Sequence[tuple[BaseGeometry, CRS]]) -> bool:
    """Whether all can be computed in a CRS: projected, in metres, and lengths to SCALE_NOTED those on the ground.

    At the middle of each outline, given with its CRS. What is no place on Earth is left to others to tell.
    """
    if not is_run_crs(crs):
        return False
    errors = []
    for geometry, own in outlines:
        west, south, east, north = geometry.bounds
        x, y = (float(v) for v in moved((west + east) / 2, (south + north) / 2, own, crs))
        if math.isfinite(x) and math.isfinite(y):
            errors.append(scale_error(crs, x, y))
    return bool(errors) and all(error <= SCALE_NOTED for error in errors)


def utm_crs(outlines: Sequence[tuple[BaseGeometry, CRS]]) -> CRS:
    """WGS 84 / UTM zone of the centroid of all outlines together, each given with its CRS.

    On the border of two zones that to the east. Raises Faults beyond 84 N and 80 S, where UTM ends.
    """
    wgs84 = CRS.from_epsg(4326)
    moved_outlines = [moved_geometry(g, crs, wgs84, "plots") for g, crs in outlines]
    first = shapely.get_coordinates(moved_outlines[0])[0, 0]

    def near_first(p: Array) -> Array:
        # Plots on both sides of the 180th meridian are neighbours.
        return np.column_stack([first + (p[:, 0] - first + 180) % 360 - 180, p[:, 1]])

    middle = shapely.centroid(shapely.GeometryCollection([shapely.transform(g, near_first) for g in moved_outlines]))
    lon, lat = (middle.x + 180) % 360 - 180, middle.y
    if not -80 <= lat <= 84:
        raise Faults(f"plots: lie at {place_text(lon, lat)}, where no UTM zone is defined; set crs")
    # A little to the north-east, where one zone alone holds the place.
    east, north = lon + 1e-9, min(lat + 1e-9, 84.0)
    zones = query_utm_crs_info("WGS 84", AreaOfInterest(east, north, east, north))
    return CRS.from_epsg(int(zones[0].code))


def scale_error(crs: CRS, x: float, y: float) -> float:
    """Largest relative difference between lengths on the map and on the ellipsoid at a point, over both axes."""
    return max(abs(scale - 1) for scale in _scales(crs, x, y))


def grid_scale(crs: CRS, x: float, y: float) -> float:
    """Length on the map over length on the ellipsoid at a point, the mean of both axes; 1 where it is not known."""
    return sum(_scales(crs, x, y)) / 2


def _scales(crs: CRS, x: float, y: float) -> tuple[float, float]:
    """Scale of a projected CRS at a point along the meridian and along the parallel; 1 where it is not known."""
    if crs.geodetic_crs is None:
        return 1.0, 1.0
    lon, lat = moved(x, y, crs, crs.geodetic_crs)
    factors = Proj(crs).get_factors(float(lon), float(lat))
    scales = float(factors.meridional_scale), float(factors.parallel_scale)
    return scales if all(map(math.isfinite, scales)) else (1.0, 1.0)


def shift_accuracy(source: CRS, target: CRS, lon: float, lat: float) -> float | None:
    """Accuracy of the change between two CRS at a place, as the registry states it [m]; None if it states none."""
    if same(source, target):
        return 0.0
    group = _changes(source, target, lon, lat)
    accuracy = group.transformers[0].accuracy if group.transformers else -1
    return float(accuracy) if accuracy >= 0 else None


def better_shift(source: CRS, target: CRS, lon: float, lat: float) -> tuple[float, str] | None:
    """Accuracy [m] of the best change between two CRS that needs files not installed here, and their names.

    None if there is none, or none better than the one that is used.
    """
    used = shift_accuracy(source, target, lon, lat)
    best: tuple[float, str] | None = None
    for operation in _changes(source, target, lon, lat).unavailable_operations:
        missing = [grid.short_name for grid in operation.grids if not grid.available]
        if missing and operation.accuracy >= 0 and (best is None or operation.accuracy < best[0]):
            best = float(operation.accuracy), ", ".join(missing)
    return best if best is not None and (used is None or best[0] < used) else None


def _changes(source: CRS, target: CRS, lon: float, lat: float) -> TransformerGroup:
    """All changes from one CRS to another at a place, the best that can be done here first."""
    with warnings.catch_warnings():
        # That a better change exists, but needs a grid file that is not here, is told by the caller.
        warnings.simplefilter("ignore", UserWarning)
        here = AreaOfInterest(lon, lat, lon, lat)
        # pyproj's stubs name another class of the same name.
        return TransformerGroup(source, target, always_xy=True, area_of_interest=here)  # type: ignore[arg-type]


def check_scale(crs: CRS, places: Sequence[tuple[str, float, float]], faults: Gathering, notes: list[Note]) -> None:
    """A fault, or a note, for each plot (id, x, y) at which lengths in ``crs`` are not those on the ground."""
    for plot_id, x, y in places:
        error = scale_error(crs, x, y)
        if error > SCALE_REFUSED:
            faults.add(
                f'crs: lengths in {shown(crs)} are {100 * error:.2g} % off at plot "{plot_id}", '
                f"allowed are {100 * SCALE_REFUSED:g} %; choose a CRS made for the area, or run distant plots apart"
            )
        elif error > SCALE_NOTED:
            notes.append(
                Note(
                    "coordinates",
                    "lengths in {crs} are {error} % off",
                    values={"crs": shown(crs), "error": f"{100 * error:.2g}"},
                    plot=plot_id,
                    size=error,
                )
            )
