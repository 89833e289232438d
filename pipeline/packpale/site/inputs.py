"""The one door through which data enters: everything checked at once, then each plot read on its own."""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry import MultiPoint
from shapely.geometry.base import BaseGeometry

from packpale.faults import Faults, Gathering
from packpale.settings import CRITERION_NEEDS, FEATURE_KINDS, Project
from packpale.site import crs as crs_
from packpale.site.around import FAR_M, around_grid, read_around
from packpale.site.coverage import blank_implausible, check_cells, check_windows, inside
from packpale.site.elevations import read_elevation
from packpale.site.grid import Grid, Mask
from packpale.site.lines import read_fence_lines
from packpale.site.model import GivenLine, Pit, Plot, Site, Standing
from packpale.site.outlines import Outline
from packpale.site.plot_shapes import notes_of, notes_of_all
from packpale.site.plots import read_outlines, to_plots
from packpale.site.raster_files import Unreadable, open_elevation
from packpale.site.rasters import Elevation, cell_size, window
from packpale.site.soil import SoilArea, read_pits, read_soil_areas
from packpale.site.soil_grid import needed_pits, soil_on, uncovered, unused_pits, used_pits
from packpale.site.standing import read_standing
from packpale.site.vectors import read_surroundings
from packpale.values.notes import Note, Value, phrase
from packpale.values.quantity import Quantity
from packpale.values.quantity import given as as_given

FAR_KINDS = frozenset({*CRITERION_NEEDS.values(), "viewpoints", "culverts", "watercourses"})
"""Surroundings that count from far away, and not only as buffers: looked for FAR_M round a plot's window."""
LEAST_BARE = 0.001
"""Part of a plot without soil polygon from which it is said; less is a gap between polygons drawn by hand."""


@dataclass(frozen=True)
class Inputs:
    """Everything the inputs hold, checked, in the run's CRS; elevation stays in its files until a plot is read."""

    crs: str
    """The run's projected CRS as text that pyproj understands."""
    plots: tuple[Plot, ...]
    cell_m: float
    """Cell size of every plot's grid. [m]"""
    elevation: Elevation
    features: Mapping[str, tuple[BaseGeometry, ...]]
    """Surroundings by kind, those kinds alone that are given."""
    soil: tuple[SoilArea, ...]
    pits: tuple[Pit, ...]
    standing: tuple[Standing, ...]
    fence_lines: Mapping[str, tuple[GivenLine, ...]]
    """Fence lines given, by plot; a plot without any is absent."""
    unreadable: tuple[str, ...]
    """A line for each plot under which the elevation cannot be read; they fail, unless there are no others."""
    notes: tuple[Note, ...]
    """What holds for all plots, one sentence each."""

    def plot(self, plot_id: str) -> Plot:
        """The plot of that name. Raises Faults that list those there are."""
        for plot in self.plots:
            if plot.plot_id == plot_id:
                return plot
        known = ", ".join(f'"{p.plot_id}"' for p in self.plots)
        raise Faults(f'plot "{plot_id}": there is no such plot; plots are {known}')


def open_inputs(project: Project) -> Inputs:
    """Everything the inputs hold, opened and checked as far as that needs no computing.

    Elevation is looked at inside the plots alone. Where it cannot be read under some of them, ``Inputs.unreadable``
    tells; under all of them, that is a fault. Raises Faults with all faults found.
    """
    faults, notes, given = Gathering(), list[Note](), project.inputs
    named = None
    with faults.gather():
        named = crs_.given_run_crs(project.crs) if project.crs is not None else None
    elevation = open_elevation(given.elevation, given.elevation_unit, faults, given.elevation_nodata)
    outlines = read_outlines(
        given.plots,
        given.plots_layer,
        given.plot_id,
        named,
        faults,
        theirs=given.columns.get("plots", {}),
        candidates=given.candidates,
    )
    crs, choice = (named, "") if project.crs is not None else _chosen_crs(elevation, outlines, faults)
    features: dict[str, tuple[BaseGeometry, ...]] = {
        kind: read_surroundings(path, crs, faults, notes)
        for kind in FEATURE_KINDS
        if (path := getattr(given, kind)) is not None
    }
    if (drawn := features.get("culverts")) and not any(g.geom_type.endswith("LineString") for g in drawn):
        faults.add(f"{given.culverts}: holds no line; draw each culvert as a line from end to end, or leave it out")
    soil = read_soil_areas(given.soil, crs, faults, notes, given.soil_columns) if given.soil else ()
    theirs = given.columns
    pits = read_pits(given.pits, crs, named, faults, notes, theirs=theirs.get("pits", {})) if given.pits else ()
    things = given.trees_and_boulders
    trees = theirs.get("trees_and_boulders", {})
    standing = read_standing(things, crs, faults, notes, trees) if things is not None else ()
    plots = to_plots(outlines, crs, faults) if crs is not None else ()
    lines: dict[str, tuple[GivenLine, ...]] = {}
    given_lines = project.enclosure.fence_line or project.enclosure.settled_line
    if crs is not None and plots and given_lines is not None:
        lines = read_fence_lines(
            given_lines,
            project.enclosure.fence_line_layer,
            crs=crs,
            plots=plots,
            plot_id=given.plot_id,
            packs=project.enclosure.packs,
            faults=faults,
        )
    cell, unreadable = 0.0, tuple[str, ...]()
    if crs is not None and plots:
        crs_.check_scale(crs, [(p.plot_id, p.outline.centroid.x, p.outline.centroid.y) for p in plots], faults, notes)
        if elevation is not None:
            west, south, east, north = shapely.total_bounds([p.outline for p in plots])
            middle = (float(west + east) / 2, float(south + north) / 2)
            with faults.gather():
                cell = cell_size(elevation, crs, project.land.cell_m, middle, notes)
                shapes = [(p.plot_id, p.outline) for p in plots]
                margin = project.land.margin_m
                shapes = check_windows(elevation, crs, shapes, cell=cell, margin=margin, faults=faults)
                unreadable = check_cells(elevation, crs, shapes, cell=cell, faults=faults, notes=notes)
                plots = tuple(replace(p, notes=(*p.notes, *notes_of(p, project, cell))) for p in plots)
                if len(unreadable) >= len(plots):
                    faults.lines += unreadable
    faults.raise_if_any()
    if crs is None or elevation is None:
        # Cannot be: whatever leaves either open has added a fault.
        raise RuntimeError("inputs without CRS or elevation passed every check")
    notes += notes_of_all(plots)
    notes += _shifts(outlines, elevation, crs)
    if choice:
        notes.insert(
            0,
            Note(
                "coordinates",
                "coordinates are in {crs} ({name}), {choice}",
                values={"crs": crs_.shown(crs), "name": crs.name, "choice": choice},
            ),
        )
    windows = [window(elevation, crs, cell, _bounds(p, lines), project.land.margin_m) for p in plots]
    notes += _far_kinds(features, windows, project)
    far = unused_pits(pits, windows, project.soil.pit_range_m)
    if far:
        notes.append(
            Note(
                "input left out",
                "{far} of {all} trial pits are too far from every plot to be used",
                values={"far": far, "all": len(pits)},
                size=far,
            )
        )
    return Inputs(
        crs=crs_.label(crs),
        plots=plots,
        cell_m=cell,
        elevation=elevation,
        features=features,
        soil=soil,
        pits=pits,
        standing=standing,
        fence_lines=lines,
        unreadable=unreadable,
        notes=tuple(notes),
    )


def _chosen_crs(
    elevation: Elevation | None, outlines: tuple[Outline, ...], faults: Gathering
) -> tuple[CRS | None, str]:
    """The elevations' CRS where it serves, since then no cell has to be moved, else the plots' UTM zone; and which."""
    if not outlines:
        return None, ""
    given = [(o.geometry, o.crs) for o in outlines]
    if elevation is not None and crs_.serves(elevation.crs, given):
        return elevation.crs, "that of the elevations"
    with faults.gather():
        return crs_.utm_crs(given), "the UTM zone of the plots"
    return None, ""


def read_site(inputs: Inputs, plot_id: str, project: Project, *, screening: bool = False) -> Site:
    """Read one plot and the ground round it: land.margin_m beyond its bounds, and coarser from there on.

    Ground in the margin that no raster covers is NaN. Raises Faults if there is no such plot, or a raster cannot be
    read any more.
    """
    plot, crs = inputs.plot(plot_id), CRS.from_user_input(inputs.crs)
    grid = plot_window(inputs, plot, project)
    elevation = read_elevation(inputs.elevation, crs, grid)
    odd, missing = blank_implausible(elevation)
    notes = [*plot.notes]
    if odd:
        notes.append(
            Note(
                "ground without elevation",
                "{cells} cells of the margin were left out because no land has their elevation",
                values={"cells": odd},
                size=odd,
            )
        )
    around = None
    try:
        around = read_around(inputs.elevation, crs, grid, screening=screening)
    except Unreadable as error:
        notes.append(
            Note(
                "ground without elevation",
                "ground farther away than {setting:land.margin_m} could not be read",
                "Views, howls and water from there are not known: {why}.",
                {"why": "; ".join(error.lines)},
            )
        )
    if around is not None and around.grid.cell > grid.cell:
        notes.append(
            Note(
                "cells interpolated",
                "ground beyond {setting:land.margin_m} is read in cells of {cell}",
                "Views, howls and water from there are as exact as these cells, hollows across that edge too. Raise "
                "the setting to read more of it in cells of {own}.",
                {"cell": as_given(around.grid.cell, "dimension"), "own": as_given(grid.cell, "dimension")},
            )
        )
    bare = uncovered(plot.outline, inputs.soil) if inputs.soil else 0.0
    if bare >= LEAST_BARE:
        notes.append(
            Note(
                "ground without soil",
                "{share} of the plot lies under no soil polygon",
                "The settings' soil holds there.",
                {"share": Quantity(bare, "share")},
                size=bare,
            )
        )
    if missing:
        share = missing / elevation.size
        notes.append(
            Note(
                "ground without elevation",
                "{share} of the ground read round the plot has no elevation",
                values={"share": Quantity(share, "share")},
                size=share,
            )
        )
    return Site(
        plot_id=plot_id,
        crs=inputs.crs,
        outline=plot.outline,
        grid=grid,
        elevation=elevation,
        inside=inside(grid, plot.outline),
        soil=soil_on(grid, inputs.soil, inputs.pits, project.soil),
        features={k: _within_reach(g, k, grid, project) for k, g in inputs.features.items()},
        standing=_standing_on(inputs.standing, grid),
        notes=tuple(notes),
        pits=used_pits(inputs.pits, grid, project.soil.pit_range_m),
        fence_lines=inputs.fence_lines.get(plot_id, ()),
        around=around,
    )


def cut_to(inputs: Inputs, plot_id: str, project: Project) -> Inputs:
    """The inputs with only what one plot needs: ``read_site`` reads the same from them, and they are quick to send.

    Raises Faults if there is no such plot.
    """
    plot = inputs.plot(plot_id)
    grid = plot_window(inputs, plot, project)
    pits = needed_pits(inputs.pits, grid, project.soil.pit_range_m)
    places = MultiPoint([(p.x, p.y) for p in pits])
    ground = shapely.union_all([shapely.box(*grid.bounds), plot.outline, places])
    soil = tuple(itertools.compress(inputs.soil, _touch([a.polygon for a in inputs.soil], ground)))
    return replace(
        inputs,
        plots=(plot,),
        features={k: _within_reach(g, k, grid, project) for k, g in inputs.features.items()},
        # One that is far away still tells that soil polygons were given.
        soil=soil or inputs.soil[:1],
        pits=pits,
        standing=_standing_on(inputs.standing, grid),
        fence_lines={k: v for k, v in inputs.fence_lines.items() if k == plot_id},
    )


def plot_window(inputs: Inputs, plot: Plot, project: Project) -> Grid:
    """The grid on which a plot is computed: its own ground and land.margin_m round it."""
    crs, bounds = CRS.from_user_input(inputs.crs), _bounds(plot, inputs.fence_lines)
    return window(inputs.elevation, crs, inputs.cell_m, bounds, project.land.margin_m)


def plot_reach(inputs: Inputs, plot: Plot, project: Project) -> Grid:
    """All ground that is read for a plot, its window and what lies round it."""
    window = plot_window(inputs, plot, project)
    return around_grid(inputs.elevation, CRS.from_user_input(inputs.crs), window) or window


def _bounds(plot: Plot, lines: Mapping[str, tuple[GivenLine, ...]]) -> tuple[float, float, float, float]:
    """Bounds of a plot with the fence lines given for it, which may leave it."""
    west, south, east, north = shapely.total_bounds(
        [plot.outline, *(line.outline for line in lines.get(plot.plot_id, ()))]
    )
    return float(west), float(south), float(east), float(north)


def _within_reach(
    geometries: tuple[BaseGeometry, ...], kind: str, grid: Grid, project: Project
) -> tuple[BaseGeometry, ...]:
    reach = max([*project.keep_away().values(), FAR_M if kind in FAR_KINDS else 0.0], default=0.0)
    west, south, east, north = grid.bounds
    around = shapely.box(west - reach, south - reach, east + reach, north + reach)
    return tuple(itertools.compress(geometries, _touch(geometries, around)))


def _standing_on(standing: tuple[Standing, ...], grid: Grid) -> tuple[Standing, ...]:
    return tuple(itertools.compress(standing, _touch([s.geometry for s in standing], shapely.box(*grid.bounds))))


def _touch(geometries: Sequence[BaseGeometry], ground: BaseGeometry) -> Mask:
    """Which of the geometries touch the ground."""
    # Prepared, so that many thousands take milliseconds.
    shapely.prepare(ground)
    found: Mask = shapely.intersects(np.array(geometries, dtype=object), ground)
    return found


def _far_kinds(
    features: Mapping[str, tuple[BaseGeometry, ...]], windows: Sequence[Grid], project: Project
) -> list[Note]:
    """A note for each kind of which nothing is near any plot: perhaps its file is in another CRS than it says."""
    notes = []
    for kind, geometries in features.items():
        if not any(_within_reach(geometries, kind, grid, project) for grid in windows):
            nearest = min(g.distance(shapely.box(*grid.bounds)) for g in geometries for grid in windows)
            name = getattr(project.inputs, kind).name
            notes.append(
                Note(
                    "input left out",
                    "{file}: nothing lies within reach of any plot",
                    "The nearest is {distance} away.",
                    {"file": name, "distance": Quantity(nearest, "distance")},
                )
            )
    return notes


def _shifts(outlines: tuple[Outline, ...], elevation: Elevation, crs: CRS) -> list[Note]:
    """A note for each change of CRS, of plots or elevation, that is not accurate."""
    lon, lat = (float(v) for v in crs_.lonlat(outlines[0].geometry, outlines[0].crs))
    notes = []
    for what, own in dict.fromkeys([*(("Plots", o.crs) for o in outlines), ("Elevations", elevation.crs)]):
        accuracy = crs_.shift_accuracy(own, crs, lon, lat)
        if accuracy is None or accuracy > crs_.SHIFT_NOTED_M:
            known = phrase("unknown accuracy")
            if accuracy is not None:
                known = phrase("an accuracy of about {accuracy}", accuracy=as_given(accuracy, "dimension"))
            better = crs_.better_shift(own, crs, lon, lat)
            hint, values = "Give all inputs in one CRS where that matters.", dict[str, Value]()
            if better:
                hint = (
                    "One of about {better} needs the file {file}, which PROJ does not find here (projsync fetches it): "
                    "install it, or give all inputs in one CRS."
                )
                values = {"better": as_given(better[0], "dimension"), "file": better[1]}
            notes.append(
                Note(
                    "coordinates",
                    "{what} were moved from {from_crs} to {to_crs} with {known}",
                    hint,
                    {
                        "what": what,
                        "from_crs": crs_.shown(own),
                        "to_crs": crs_.shown(crs),
                        "known": known,
                        **values,
                    },
                    size=accuracy or 0.0,
                )
            )
    return notes
