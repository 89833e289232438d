"""The commands. Heavy libraries are imported only by the commands that need them, so that --help starts at once."""

import os
import sys
from pathlib import Path
from typing import Any

import click

from packpale.cli.messages import EXIT_PLOT_FAILED, FIRST_SETTINGS, errors_as_lines
from packpale.faults import Faults

# Whether it is a file at all is told in one line by whoever reads it.
SETTINGS_FILE = click.Path(path_type=Path)
INPUT = click.Path(path_type=Path)
EXISTING_FILE = click.Path(dir_okay=False, path_type=Path)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(package_name="packpale")
def commands() -> None:
    """From terrain and candidate plots to scored land, an egg-shaped fence line and a priced dig-proof trench.

    Start with: packpale start my-land --elevation dem.tif --plots plots.gpkg
    """


debug = click.option("--debug", is_flag=True, help="Show the traceback of an error in the program.")


@commands.command()
@click.argument("config", type=SETTINGS_FILE)
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), help="Output folder.")
@click.option("--plot", "plots", multiple=True, metavar="ID", help="Compute this plot only; may be repeated.")
@click.option(
    "--line",
    type=INPUT,
    metavar="FILE",
    help="Use the lines settled on plots' maps; plots without one are fitted as always.",
)
@click.option("--workers", type=click.IntRange(1), help="Processes; default: one for each core.")
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Compute on a Dask cluster, such as tcp://192.0.2.7:8786 (needs packpale[cluster]).",
)
@click.option("--fresh", is_flag=True, help="Start over; without it, plots already complete are kept.")
@debug
def run(
    config: Path,
    *,
    out: Path | None,
    plots: tuple[str, ...],
    line: Path | None,
    workers: int | None,
    cluster: str | None,
    fresh: bool,
    debug: bool,
) -> None:
    """Compute every plot of a settings file.

    Example: packpale run config/demo.toml
    """
    with errors_as_lines(debug=debug, settings=config):
        if cluster is not None and workers is not None:
            raise Faults(
                "--workers: has no effect beside --cluster, whose workers are its own; leave one of the two out"
            )
        from packpale.cli.progress import watching
        from packpale.run.machine import cores
        from packpale.run.run import ERRORS
        from packpale.run.run import run as run_plots

        folder = out or Path("outputs") / config.stem
        with watching() as watch:
            outcome = run_plots(
                config,
                out=folder,
                plots=plots,
                settled_line=line,
                workers=workers or cores(),
                cluster=cluster,
                fresh=fresh,
                watch=watch,
            )
        for plot in outcome.plots:
            if plot.status == "failed":
                where = f"; {folder / ERRORS} shows where" if plot.traceback else ""
                click.echo(f"plot {plot.plot_id}: failed: {plot.reason}{where}", err=True)
                if debug and plot.traceback:
                    click.echo(plot.traceback, err=True)
        click.echo(f"{folder / 'index.html'}")
        if not outcome.complete:
            sys.exit(EXIT_PLOT_FAILED)


@commands.command()
@click.argument("config", type=SETTINGS_FILE)
@debug
def check(config: Path, *, debug: bool) -> None:
    """Read and validate everything, list every fault at once, write nothing; tell what a run would take.

    Example: packpale check config/demo.toml
    """
    with errors_as_lines(debug=debug, settings=config):
        from packpale.cli.check import lines_of
        from packpale.run.run import read_and_open

        for line in lines_of(config, read_and_open(config, all_readable=True)):
            click.echo(line)


@commands.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.option(
    "--elevation",
    multiple=True,
    metavar="PATH",
    help="Elevation raster, folder or '*.tif' of tiles, https address; may be repeated.",
)
@click.option("--plots", type=INPUT, help="Plots: vector file, track, drawing or table.")
@click.option("--soil", type=INPUT, help="Soil polygons.")
@click.option("--pits", type=INPUT, help="Table of trial pits.")
@click.option("--watercourses", type=INPUT, help="Streams, ditches, ponds.")
@click.option("--culverts", type=INPUT, help="Pipes under banks, as lines.")
@click.option("--dwellings", type=INPUT, help="Houses.")
@click.option("--services", type=INPUT, help="Buried cables and pipes.")
@click.option("--woodland", type=INPUT, help="Woods.")
@click.option("--trees-and-boulders", type=INPUT, help="Single trees and boulders.")
@click.option("--access", type=INPUT, help="Tracks and roads.")
@click.option("--viewpoints", type=INPUT, help="Places people look from.")
@click.option("--keep-out", type=INPUT, help="Areas that must not be used.")
@click.option("--fence-line", type=INPUT, help="Existing or hand-drawn fence lines.")
@click.option("--candidate", "candidates", multiple=True, metavar="ID", help="Take this plot of the file only; repeat.")
@click.option("--plots-layer", metavar="NAME", help="Layer of the plots file.")
@click.option("--plot-id", metavar="COLUMN", help="Column that names each plot.")
@click.option("--elevation-unit", type=click.Choice(["m", "ft", "us-ft"]), help="Unit of the heights.")
@click.option("--elevation-nodata", type=float, metavar="VALUE", help="Value of missing ground.")
@click.option("--cell", type=click.FloatRange(0.05, 100), metavar="M", help="Cells for ground points of LAS, LAZ. [m]")
@click.option("--crs", metavar="CODE", help="CRS to compute in, such as EPSG:25832.")
@click.option("--soil-column", "soil_columns", multiple=True, metavar="OURS=THEIRS[:UNIT]", help="Column of the soil.")
@click.option("--column", "columns", multiple=True, metavar="FILE.OURS=THEIRS[:UNIT]", help="Column of another table.")
@click.option("--title", metavar="TEXT", help="Title of all pages.")
@click.option("--units", type=click.Choice(["metric", "imperial"]), help="Units on all pages.")
@click.option("--currency", metavar="CODE", help="Currency of the prices.")
@click.option("--prices", type=INPUT, metavar="RUN", help="Write the price list with a run's quantities instead.")
@click.option("--example", is_flag=True, help="Write a small made-up example with its data instead.")
@click.option("--all", "every_key", is_flag=True, help="Write every key, with unit and source.")
@debug
def start(folder: Path, *, elevation: tuple[str, ...], plots: Path | None, debug: bool, **more: Any) -> None:
    """Open what is given, tell what it is, and write a settings file that runs as it is.

    Example: packpale start my-land --elevation dem.tif --plots plots.gpkg
    """
    imperial = more["units"] == "imperial" or more["elevation_unit"] in ("ft", "us-ft")
    with errors_as_lines(debug=debug, settings=folder / FIRST_SETTINGS, imperial=imperial):
        from packpale.cli.start import Wishes, start

        example, priced = more.pop("example"), more.pop("prices")
        if example or priced is not None:
            from packpale.cli.example import write_example
            from packpale.cli.prices import write_prices

            if elevation or plots or (example and priced) or any(v not in ((), None, False) for v in more.values()):
                name = "--example" if example else "--prices"
                raise Faults(f"{name}: writes its own files; leave the other options out")
            for line in write_example(folder).lines if example else write_prices(folder, priced):
                click.echo(line)
            return
        wishes = Wishes(**{name: more.pop(name) for name in Wishes.__dataclass_fields__})
        others = {kind: path for kind, path in more.items() if path is not None}
        for line in start(folder, elevation, plots, others, wishes).lines:
            click.echo(line)


@commands.command()
@click.argument("polygons", type=EXISTING_FILE)
@click.option("--out", type=EXISTING_FILE, required=True, help="GeoPackage to write.")
@click.option("--layer", help="Layer of the file, where it has several.")
@click.option("--id", "id_column", metavar="COLUMN", help="Column that names each polygon.")
@click.option("--crs", metavar="CODE", help="CRS of a file that states none, such as a drawing.")
@click.option("--packs", type=int, metavar="N", help="Eggs in each polygon, 1 to 3.")
@click.option("--separation", "separation_m", type=float, metavar="M", help="Least distance between them. [m]")
@click.option("--min-radius", "min_radius_m", type=float, metavar="M", help="No bend is tighter. [m]")
@click.option("--area-ha", "area_ha", type=float, metavar="A", help="Area of each egg; default: the largest that fits.")
@click.option("--clearance", type=click.FloatRange(0), default=0.0, metavar="M", help="Free strip outside it. [m]")
@click.option("--holes-inside", is_flag=True, help="Holes may lie inside the fence; only its line keeps off them.")
@debug
def fit(
    polygons: Path,
    *,
    out: Path,
    layer: str | None,
    id_column: str | None,
    crs: str | None,
    clearance: float,
    holes_inside: bool,
    debug: bool,
    **enclosure: float | None,
) -> None:
    """Fit the largest egg into every polygon of a file; no elevation is needed.

    Example: packpale fit fields.gpkg --out eggs.gpkg --id name --min-radius 20
    """
    with errors_as_lines(debug=debug):
        from packpale.cli.progress import counting
        from packpale.run.fit_file import enclosure_wanted, fit_file

        wanted = enclosure_wanted(**enclosure)
        with counting() as watch:
            rows, notes = fit_file(
                polygons,
                out,
                layer=layer,
                id_column=id_column,
                crs=crs,
                wanted=wanted,
                clearance=clearance,
                holes_inside=holes_inside,
                watch=watch,
            )
        for note in notes:
            click.echo(f"note: {note}", err=True)
        fitting = sum(bool(row.fits) for row in rows)
        click.echo(f"{out}: eggs in {fitting} of {len(rows)} features")


@commands.command()
@click.argument("first", type=click.Path(file_okay=False, path_type=Path))
@click.argument("second", type=click.Path(file_okay=False, path_type=Path))
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), help="Output folder.")
@debug
def compare(first: Path, second: Path, *, out: Path | None, debug: bool) -> None:
    """Set two finished runs side by side: what changed in settings, inputs, ranking and figures, and both lines.

    Example: packpale compare outputs/demo outputs/demo-deeper
    """
    with errors_as_lines(debug=debug):
        from packpale.review.comparison import write_comparison
        from packpale.run.compare import compare as compare_runs
        from packpale.run.compare import read_both

        runs = read_both(first, second)
        folder = out or Path("outputs") / f"{first.resolve().name}-and-{second.resolve().name}"
        write_comparison(compare_runs(*runs), folder)
        click.echo(folder / "index.html")


@commands.command()
@debug
def sources(debug: bool) -> None:
    """List every default value and every curve of the scoring: numbers, unit, status, source.

    Example: packpale sources
    """
    with errors_as_lines(debug=debug):
        from packpale.values import register
        from packpale.values.curves import criteria, shallow_excavations

        for value in register().values():
            unit = "" if value.unit == "-" else f" {value.unit}"
            click.echo(f"{value.key} = {value.number}{unit}\n    {value.status}: {value.source}")
        for table, curves in (("excavation", shallow_excavations().values()), ("criterion", criteria().values())):
            for c in curves:
                unit = "" if c.unit == "-" else f" {c.unit}"
                click.echo(
                    f"{table} {c.subject}, {c.quantity}: 0 at {c.zero_at:g}, 1 at {c.one_at:g}{unit} ({c.shape})\n"
                    f"    {c.status}: {c.source}"
                )


def main() -> None:
    """Entry point of the command ``packpale``."""
    # Plots are computed side by side: threads of each one's matrix products would only wait for one another.
    for library in ("OPENBLAS", "OMP", "MKL"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")
    commands()
