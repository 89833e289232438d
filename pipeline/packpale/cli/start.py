"""A first settings file for a user's own land: what is given is opened, told, and written down so that it runs."""

import os
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from glob import has_magic
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError

from packpale.cli.messages import FIRST_SETTINGS
from packpale.cli.template import first_settings, settings_file, words_of_rates
from packpale.faults import Faults, Gathering, doing
from packpale.review.words.notes import as_messages
from packpale.settings import Project, fault_lines
from packpale.settings.base import ADDRESSES
from packpale.settings.columns import TheirColumn
from packpale.site import crs as crs_
from packpale.site.elevation_sources import POINT_CLOUDS, SUFFIXES, Source, expanded
from packpale.site.first_look import PlotsLook, crs_of_numbers, look_at_plots, look_at_soil
from packpale.site.ground_points import WIDEST_GAP_M, ground_from_points
from packpale.site.inputs import Inputs, open_inputs
from packpale.site.prices import table_to_fill_in, with_prices
from packpale.site.raster_files import open_elevation, stated_unit
from packpale.site.rasters import Elevation
from packpale.units import HECTARE_M2, feet_too, measured

PRICES = "prices.csv"
GROUND_RASTER = "elevation.tif"
CLOUD_CELL_M = 1.0
"""Cells that ground points are triangulated to, if the user does not say. [m]"""
OPTIONS = {
    r" under inputs\.soil_columns\b": ", as in --soil-column depth_to_rock_m=ROCK:cm",
    r" under inputs\.columns(\.\w+)?": ", as in --column pits.x=EASTING",
    r"name its unit in the settings": "name its unit, as in --soil-column depth_to_rock_m=ROCK:cm or "
    "--column pits.depth_to_rock_m=ROCK:cm",
    r"inputs\.candidates( \(start: --candidate\))?": "--candidate",
    r"inputs\.plots_layer\b": "--plots-layer",
    r"inputs\.plot_id\b": "--plot-id",
    r'set elevation_unit = "([\w-]+)"': r"start again with --elevation-unit \1",
    r"inputs\.elevation_unit\b": "--elevation-unit",
    r"inputs\.elevation_nodata\b": "--elevation-nodata",
}
"""What to type, by what faults say of the settings."""
MOST_NAMED = 6
"""Names of plots, or columns, that a line lists."""


@dataclass(frozen=True)
class Wishes:
    """What the user says of the settings beside the files."""

    plots_layer: str | None = None
    plot_id: str | None = None
    candidates: Sequence[str] = ()
    elevation_unit: str | None = None
    elevation_nodata: float | None = None
    crs: str | None = None
    title: str | None = None
    units: str | None = None
    currency: str | None = None
    soil_columns: Sequence[str] = ()
    columns: Sequence[str] = ()
    cell: float | None = None
    every_key: bool = False


@dataclass(frozen=True)
class Started:
    """The settings file that was written, and what is to be told."""

    settings: Path
    lines: tuple[str, ...]


@dataclass
class _Found:
    """What the settings will say, by ``section.key``, and lines for the user."""

    given: dict[str, Any] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)


def start(
    folder: Path, elevation: Sequence[str], plots: Path | None, others: Mapping[str, Path], wishes: Wishes
) -> Started:
    """Open everything, write ``folder/packpale.toml``, and tell what was found and what to do next.

    ``others`` holds files by the key of [inputs] that they are for. Paths are written relative to the folder, so that
    it can be moved with its data. Raises Faults, and writes nothing, if the file exists, a given one does not, or they
    cannot serve a run together.
    """
    target = folder / FIRST_SETTINGS
    _check_given(target, elevation, plots, others)
    if plots is None:
        raise RuntimeError("no plots passed the check")
    with _nothing_left_behind(folder / GROUND_RASTER), _options_named():
        return _started(folder, elevation, plots, others, wishes)


@contextmanager
def _options_named() -> Iterator[None]:
    """Faults that name keys of the settings name options instead: there are no settings yet."""
    try:
        yield
    except Faults as faults:
        lines = list(faults.lines)
        for key, option in OPTIONS.items():
            lines = [re.sub(key, option, line) for line in lines]
        raise Faults(*lines) from faults


@contextmanager
def _nothing_left_behind(raster: Path) -> Iterator[None]:
    """Remove a raster that was made on the way, and its folder if it is empty, where the block fails."""
    there, folder = raster.exists(), raster.parent.exists()
    try:
        yield
    except BaseException:
        if not there:
            raster.unlink(missing_ok=True)
        if not folder:
            with suppress(OSError):
                raster.parent.rmdir()
        raise


def _started(
    folder: Path, elevation: Sequence[str], plots: Path, others: Mapping[str, Path], wishes: Wishes
) -> Started:
    target, found = folder / FIRST_SETTINGS, _Found()
    sources: list[Source] = [e if e.startswith(ADDRESSES) else Path(e) for e in elevation]
    if clouds := _clouds(sources, wishes):
        sources = [_write_ground(folder, clouds, wishes, found)]
    heights = _look_at_elevation(sources, wishes, found)
    look = _look_at_plots(plots, heights, wishes, found)
    _choose_crs(look, plots, heights, wishes, found)
    _look_at_soil(others, wishes, found)
    _take_wishes(folder, wishes, found)
    files = {f"{'enclosure' if kind == 'fence_line' else 'inputs'}.{kind}": path for kind, path in others.items()}
    found.given |= {"inputs.elevation": sources, "inputs.plots": plots, **files}
    prices = folder / PRICES
    found.given["rates.file"] = prices
    project = _project({k: v for k, v in found.given.items() if k != "rates.file" or prices.exists()})
    with_prices(project)
    inputs = open_inputs(project)
    # A CRS without a code would take a screenful; the same is found again each time.
    if inputs.crs.startswith("EPSG:"):
        found.given["crs"] = inputs.crs
    with feet_too(project.units == "imperial"):
        found.lines += _of_inputs(inputs, others, imperial=project.units == "imperial")
    if not prices.exists():
        feet = found.given.get("units") == "imperial"
        write_text(prices, table_to_fill_in(words_of_rates(), project.currency, feet=feet))
        found.lines.append(f"{prices}: written, with no price in it yet: fill it in with a contractor")
    _write(target, found.given, every_key=wishes.every_key)
    return Started(target, (*found.lines, *_last_lines(target)))


def _check_given(target: Path, elevation: Sequence[str], plots: Path | None, others: Mapping[str, Path]) -> None:
    faults = [f"{target}: exists and is not overwritten; choose another folder or remove it"] if target.exists() else []
    if not faults:
        for given, what in ((elevation, "elevation"), (plots, "plots")):
            if not given:
                faults.append(
                    f"--{what}: missing; name the file, or try a made-up example with: "
                    "packpale start --example my-example"
                )
    local = [Path(e) for e in elevation if not e.startswith(ADDRESSES) and not has_magic(e)]
    files = [*local, *([plots] if plots else []), *others.values()]
    faults += [f"{p}: no such file; name an existing one" for p in files if not p.exists()]
    if faults:
        raise Faults(*faults)


def _clouds(sources: Sequence[Source], wishes: Wishes) -> list[Path]:
    """The point clouds among the sources: all of them or none. Raises Faults."""
    files = [f for s in sources if isinstance(s, Path) for f in _files(s)]
    clouds = [f for f in files if f.suffix.lower() in POINT_CLOUDS]
    if clouds and (len(clouds) < len(files) or any(isinstance(s, str) for s in sources)):
        raise Faults(f"--elevation: {clouds[0].name} is a point cloud and others are not; start with one kind of them")
    if wishes.cell is not None and not clouds:
        raise Faults("--cell: has no effect without a point cloud as --elevation; leave it out, or change land.cell_m")
    return clouds


def _files(source: Path) -> list[Path]:
    """The files that a path means: itself, those of a pattern, the rasters and point clouds of a folder."""
    if source.is_dir():
        return sorted(f for f in source.iterdir() if f.suffix.lower() in SUFFIXES | POINT_CLOUDS)
    if has_magic(source.name) and not source.exists():
        return sorted(source.parent.glob(source.name))
    return [source]


def _write_ground(folder: Path, clouds: Sequence[Path], wishes: Wishes, found: _Found) -> Path:
    """Triangulate ground points to a raster in the folder; its path. Raises Faults."""
    import rasterio
    from affine import Affine

    named = crs_.parse(wishes.crs, "--crs") if wishes.crs is not None else None
    cell = wishes.cell or CLOUD_CELL_M
    ground = ground_from_points(clouds, cell, named)
    target = folder / GROUND_RASTER
    if target.exists():
        raise Faults(f"{target}: exists and is not overwritten; choose another folder or remove it")
    with doing("writing the ground"):
        folder.mkdir(parents=True, exist_ok=True)
        with rasterio.open(
            target,
            "w",
            driver="GTiff",
            width=ground.grid.cols,
            height=ground.grid.rows,
            count=1,
            dtype="float32",
            nodata=-9999,
            crs=ground.crs.to_wkt(),
            transform=Affine(*ground.grid.transform),
            compress="deflate",
            predictor=3,
            tiled=True,
        ) as out:
            out.write(np.nan_to_num(ground.heights, nan=-9999).astype("float32"), 1)
            out.units = (ground.unit,)
    missing = np.isnan(ground.heights).mean()
    found.lines.append(
        f"{target}: written, {ground.points:,} points of ground and water from {len(clouds)} "
        f"file{'' if len(clouds) == 1 else 's'} in cells of {measured(cell, 'm')}; {100 * missing:.2g} % of it is "
        f"missing, beyond the points and where they lie more than {measured(WIDEST_GAP_M, 'm')} apart"
    )
    return target


def _look_at_elevation(sources: Sequence[Source], wishes: Wishes, found: _Found) -> Elevation:
    """Open the elevation in the unit that it states, or the user does."""
    faults, unit, said = Gathering(), wishes.elevation_unit, ""
    stated: dict[str | None, str] = {}
    for source in expanded(sources, faults):
        with faults.gather():
            own, words = stated_unit(source)
            stated.setdefault(own, words)
    faults.raise_if_any()
    known = {u: words for u, words in stated.items() if u is not None}
    if unit is None and known:
        unit, said = next(iter(known.items()))
    elevation = open_elevation(sources, unit or "m", faults, wishes.elevation_nodata)
    faults.raise_if_any()
    if elevation is None:
        raise RuntimeError("elevation passed every check and was not opened")
    unit = unit or "m"
    found.given["inputs.elevation_unit"] = unit
    if wishes.elevation_nodata is not None:
        found.given["inputs.elevation_nodata"] = wishes.elevation_nodata
    tiles = elevation.tiles
    cells = sum(t.cols * t.rows for t in tiles)
    place = f"{crs_.shown(elevation.crs)} ({elevation.crs.name})"
    why = f'stated by the file: "{said}"' if said else "as you said" if wishes.elevation_unit else "taken, not stated"
    found.lines.append(
        f"elevation: {elevation.name}, {cells:,} cells in {place}, {_around(elevation)}; heights in {unit} ({why})"
    )
    in_feet = any(a.unit_conversion_factor != 1 for a in elevation.crs.axis_info) and elevation.crs.is_projected
    if not known and wishes.elevation_unit is None and in_feet:
        found.lines.append(
            f"warning: {elevation.name} has its coordinates in feet and does not say in what its heights are; metres "
            "are taken: if they are feet too, start again with --elevation-unit us-ft (or ft)"
        )
    return elevation


def _around(elevation: Elevation) -> str:
    lon, lat = (float(v) for v in crs_.lonlat(elevation.footprint(), elevation.crs))
    return f"around {crs_.place_text(lon, lat)}"


def _look_at_plots(path: Path, elevation: Elevation, wishes: Wishes, found: _Found) -> PlotsLook:
    look = look_at_plots(path, wishes.plots_layer, elevation)
    if wishes.candidates:
        found.given["inputs.candidates"] = list(wishes.candidates)
    if look.layer is not None:
        found.given["inputs.plots_layer"] = look.layer
        others = [name for name in look.layers if name != look.layer]
        if others and wishes.plots_layer is None:
            found.lines.append(
                f"plots_layer: {look.layer!r} of {path.name}; others that would do: {_listed(others)}: "
                "to take one, start again with --plots-layer"
            )
    found.given["inputs.plot_id"] = wishes.plot_id or look.plot_id
    if wishes.plot_id is None and look.names:
        others = list(look.names[1:])
        more = f"; others that would do: {_listed(others)}" if others else ""
        found.lines.append(
            f'plot_id: the column "{look.plot_id}", in which each plot has a name of its own{more}: to take another, '
            "change plot_id"
        )
    elif wishes.plot_id is None:
        found.lines.append(
            f"plot_id: no column of {path.name} has a name of its own for each plot, so that they are numbered in its "
            "order; give each a name and change plot_id"
        )
    return look


def _choose_crs(look: PlotsLook, path: Path, elevation: Elevation, wishes: Wishes, found: _Found) -> None:
    if wishes.crs is not None:
        found.given["crs"] = wishes.crs
    elif not look.states_crs:
        crs = crs_of_numbers(look, elevation)
        if crs is None:
            raise Faults(
                f"{path.name}: does not say in which coordinates it is, and its numbers do not lie on {elevation.name} "
                "in the coordinates of that; start again with --crs, such as --crs EPSG:25832"
            )
        found.given["crs"] = crs_.label(crs)
        found.lines.append(
            f"warning: {path.name} does not say in which coordinates it is; those of the elevations are taken, in "
            "which it lies on them. Look at the map, or start again with --crs"
        )


def _look_at_soil(others: Mapping[str, Path], wishes: Wishes, found: _Found) -> None:
    theirs: dict[str, TheirColumn] = dict(look_at_soil(others["soil"])) if "soil" in others else {}
    theirs |= dict(map(_column, wishes.soil_columns))
    if theirs:
        found.given["inputs.soil_columns"] = {k: _shortest(v) for k, v in theirs.items()}
        told = ", ".join(f"{k} from {v.column}" + (f" ({v.unit})" if v.unit else "") for k, v in theirs.items())
        found.lines.append(f"soil: {told}; look whether that is right, and change soil_columns if not")
    tables: dict[str, dict[str, Any]] = {}
    for ours, their in map(_column, wishes.columns):
        table, dot, name = ours.partition(".")
        if not dot:
            raise Faults(f"--column {ours}: names no file; write --column pits.x=EASTING")
        tables.setdefault(table, {})[name] = _shortest(their)
    if tables:
        found.given["inputs.columns"] = tables


def _column(text: str) -> tuple[str, TheirColumn]:
    """What ``ours=THEIRS`` or ``ours=THEIRS:unit`` says. Raises Faults."""
    ours, equals, rest = text.partition("=")
    name, colon, unit = rest.rpartition(":")
    name, unit = (name, unit) if colon else (unit, "")
    if not (equals and ours and name):
        raise Faults(f'"{text}": names no column; write it as in depth_to_rock_m=ROCK:cm')
    return ours.strip(), TheirColumn(column=name.strip(), unit=unit.strip() or None)


def _shortest(theirs: TheirColumn) -> Any:
    return {"column": theirs.column, "unit": theirs.unit} if theirs.unit else theirs.column


def _take_wishes(folder: Path, wishes: Wishes, found: _Found) -> None:
    found.given["title"] = wishes.title or folder.resolve().name or "My land"
    for key in ("units", "currency"):
        if (value := getattr(wishes, key)) is not None:
            found.given[key] = value
    if wishes.units is None and found.given["inputs.elevation_unit"] != "m":
        found.given["units"] = "imperial"
        found.lines.append("units: imperial on all pages, since the heights are in feet; change units if you like")


def _project(given: Mapping[str, Any]) -> Project:
    """The settings as a run will read them. Raises Faults."""
    nested: dict[str, Any] = {}
    for key, value in given.items():
        section, dot, name = key.rpartition(".")
        (nested.setdefault(section, {}) if dot else nested)[name] = value
    try:
        return Project.model_validate(nested)
    except ValidationError as error:
        raise Faults(*fault_lines(error)) from error


def _of_inputs(inputs: Inputs, others: Mapping[str, Path], *, imperial: bool) -> Iterator[str]:
    """What all files together turned out to be."""
    hectares = sum(p.outline.area for p in inputs.plots) / HECTARE_M2
    names = [f'"{p.plot_id}"' for p in inputs.plots]
    yield f"plots: {len(names)}, {measured(hectares, 'ha', '.2f')} in all: {_listed(names)}"
    for kind in others:
        found = {
            "trees_and_boulders": inputs.standing,
            "fence_line": [line.outline for of in inputs.fence_lines.values() for line in of],
        }
        count = len(found.get(kind) or getattr(inputs, kind, ()) or inputs.features.get(kind, ()))
        what = "row" if kind == "pits" else "feature"
        yield f"{kind}: {others[kind].name}, {count} {what}{'' if count == 1 else 's'}"
    for note in as_messages(inputs.notes, {p.plot_id: p.notes for p in inputs.plots}, imperial=imperial):
        yield f"note: {note}"


def _listed(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _write(target: Path, given: Mapping[str, Any], *, every_key: bool) -> None:
    """Write the settings file, with paths as seen from its folder. Raises Faults."""
    seen = {k: _seen_from(target.parent, v) for k, v in given.items()}
    text = settings_file(seen) if every_key else first_settings(seen)
    write_text(target, text)


def write_text(target: Path, text: str) -> None:
    """Write a new file, and its folder. Raises Faults if it is there already, or cannot be written."""
    with doing(f"writing {target.name}"):
        target.parent.mkdir(parents=True, exist_ok=True)
        # "x": never overwrites, even if the file came into being since the check.
        with target.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)


def _seen_from(folder: Path, value: Any) -> Any:
    if isinstance(value, list):
        return [_seen_from(folder, v) for v in value]
    return _relative(value, folder) if isinstance(value, Path) else value


def _last_lines(target: Path) -> Iterator[str]:
    yield f"{target}: written; look through it, every price and depth in it is a guess until you change it"
    yield f"next: packpale check {quoted(target)}"


def quoted(path: Path) -> str:
    """A path as it can be typed behind a command."""
    text = str(path)
    return f'"{text}"' if any(c.isspace() for c in text) else text


def _relative(path: Path, folder: Path) -> str:
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:  # another drive
        return path.resolve().as_posix()
