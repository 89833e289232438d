"""Plots from text: a table of corners in walking order, or of outlines as well-known text."""

from collections.abc import Iterator, Mapping
from pathlib import Path

import shapely
from pyproj import CRS
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults, Gathering
from packpale.site import crs as crs_
from packpale.site.files import check_file, check_utf8
from packpale.site.outlines import NUMBER, Outline, id_text
from packpale.site.tables import Table, coordinate_columns, find_column, missing_column, read_table, shown
from packpale.site.vectors import check_size

WKT_COLUMNS = ("wkt", "geometry", "geom", "the_geom")
"""How tables head a column of outlines as text."""
LONGEST_FILE = 200_000_000
"""Bytes of a file of well-known text; it is held in memory whole."""


def read_plot_table(
    path: Path, id_column: str, project_crs: CRS | None, theirs: Mapping[str, str], faults: Gathering
) -> list[Outline]:
    """Plots of a table: a column of well-known text, or x and y (or lon and lat) of corners in walking order.

    ``theirs`` names columns that have other names than ours. Adds to ``faults``; raises Faults if the table as a
    whole cannot serve.
    """
    table = read_table(path)
    outlines = wkt_column(table, theirs)
    if outlines is not None:
        crs_column = find_column(theirs.get("crs", "crs"), table.columns)
        return _from_outlines(table, outlines, id_column, project_crs=project_crs, crs_column=crs_column, faults=faults)
    return _from_corners(table, id_column, project_crs, theirs, faults)


def wkt_column(table: Table, theirs: Mapping[str, str]) -> str | None:
    """The column of outlines as text, where there is one. Raises Faults if the settings name one that is not there."""
    if "wkt" in theirs:
        column = find_column(theirs["wkt"], table.columns)
        if column is None:
            raise Faults(missing_column(table.name, theirs["wkt"], table.columns))
        return column
    return next((c for name in WKT_COLUMNS if (c := find_column(name, table.columns)) is not None), None)


def _from_outlines(
    table: Table,
    column: str,
    id_column: str,
    *,
    project_crs: CRS | None,
    crs_column: str | None,
    faults: Gathering,
) -> list[Outline]:
    named = _name_column(table, id_column)
    out = list[Outline]()
    for number, row in enumerate(table.rows, 1):
        where = f"{table.name}, row {row.number}"
        with faults.gather():
            plot_id = id_text(row.cells[named], named, where) if named else str(number)
            text = row.cells[crs_column] if crs_column else ""
            out.append(_from_text(row.cells[column], text, plot_id, project_crs, where))
    return out


def read_wkt_file(path: Path, id_column: str, project_crs: CRS | None, faults: Gathering) -> list[Outline]:
    """Plots of a file with well-known text, an outline a line, numbered in its order.

    Adds to ``faults``; raises Faults if the file as a whole cannot serve.
    """
    check_file(path, "name a file")
    size = path.stat().st_size
    if size > LONGEST_FILE:
        raise Faults(f"{path.name}: has {size:,} bytes, allowed are {LONGEST_FILE:,}; cut it to the land you look at")
    check_utf8(path)
    if id_column.casefold() != NUMBER:
        raise Faults(f'{path.name}: is well-known text without names; set inputs.plot_id = "{NUMBER}"')
    out = list[Outline]()
    for line, text in enumerate(path.read_text(encoding="utf-8-sig").splitlines(), 1):
        if text.strip():
            with faults.gather():
                out.append(_from_text(text, "", str(len(out) + 1), project_crs, f"{path.name}, line {line}"))
    if not out and not faults.lines:
        raise Faults(f"{path.name}: is empty; write an outline a line, such as POLYGON ((0 0, 90 0, 90 60, 0 0))")
    return out


def _from_text(text: str, crs: str, plot_id: str, project_crs: CRS | None, where: str) -> Outline:
    """An outline from well-known text, perhaps with SRID=...; in front. Raises Faults."""
    prefix, between, rest = text.partition(";")
    if between and prefix.strip().upper().startswith("SRID="):
        crs, text = f"EPSG:{prefix.strip()[5:]}", rest
    own = _known(crs_.parse(crs, where) if crs else project_crs, where)
    try:
        geometry: BaseGeometry = shapely.from_wkt(text.strip())
    except shapely.errors.ShapelyError as error:
        found = shown(text[:40])
        raise Faults(f'{where}: "{found}" is no outline as well-known text ({error}); write POLYGON ((...))') from error
    if geometry is None or geometry.is_empty:
        raise Faults(f"{where}: has no outline; write POLYGON ((...)) or drop it")
    if geometry.geom_type not in ("Polygon", "MultiPolygon"):
        raise Faults(f"{where}: is a {geometry.geom_type}, plots are polygons; draw its outline")
    check_size(geometry, where)
    return Outline(plot_id, where, geometry, own)


def _name_column(table: Table, wanted: str) -> str | None:
    """The column with the names; None to number the plots. Raises Faults."""
    column = find_column(wanted, table.columns)
    if column is None and wanted.casefold() != NUMBER:
        raise Faults(missing_column(table.name, wanted, table.columns))
    return column


def _from_corners(
    table: Table, id_column: str, project_crs: CRS | None, theirs: Mapping[str, str], faults: Gathering
) -> list[Outline]:
    """Plots from corners in walking order: an id, x and y (or lon and lat), and perhaps a CRS in each row.

    Where plots are to be numbered all corners are those of one.
    """
    column = _name_column(table, id_column)
    x_column, y_column, degrees = coordinate_columns(table, theirs)
    crs_column = None if degrees else find_column(theirs.get("crs", "crs"), table.columns)
    corners: dict[str, list[tuple[float, float]]] = {}
    frames: dict[str, CRS] = {}
    first: dict[str, str] = {}
    broken: set[str] = set()
    last = None
    for row in table.rows:
        where = f"{table.name}, row {row.number}"
        before = len(faults.lines)
        plot_id = ""
        with faults.gather():
            plot_id = id_text(row.cells[column], column, where) if column else "1"
            if plot_id != last and plot_id in first:
                raise Faults(
                    f'{where}: the plot "{plot_id}" is there already ({first[plot_id]}); '
                    "keep the corners of a plot together, and give every plot a name of its own"
                )
            first.setdefault(plot_id, where)
            crs = _row_crs(row.cells[crs_column] if crs_column else "", degrees, project_crs, where)
            if not crs_.same(frames.setdefault(plot_id, crs), crs):
                raise Faults(f"{where}: crs is {crs_.shown(crs)}, but {crs_.shown(frames[plot_id])} above; use one")
        with faults.gather():
            corners.setdefault(plot_id, []).append(table.point(row, x_column, y_column))
        last = plot_id or last
        if len(faults.lines) > before:
            broken.add(plot_id)
    return list(_rings(corners, frames, first, broken, faults))


def _rings(
    corners: Mapping[str, list[tuple[float, float]]],
    frames: Mapping[str, CRS],
    first: Mapping[str, str],
    broken: set[str],
    faults: Gathering,
) -> Iterator[Outline]:
    for plot_id, points in corners.items():
        if plot_id in broken:
            continue
        if len(set(points)) < 3:
            faults.add(f'{first[plot_id]}: the plot "{plot_id}" has {len(set(points))} corners, it needs 3; add some')
            continue
        yield Outline(plot_id, first[plot_id], Polygon(points), frames[plot_id])


def _row_crs(text: str, degrees: bool, project_crs: CRS | None, where: str) -> CRS:
    if degrees:
        return CRS.from_epsg(4326)
    return _known(crs_.parse(text, where) if text else project_crs, where)


def _known(crs: CRS | None, where: str) -> CRS:
    if crs is None:
        raise Faults(
            f"{where}: has no crs for its x, y; add a column crs, set crs in the settings, or use columns lon, lat"
        )
    return crs
