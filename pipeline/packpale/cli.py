"""Front door: commands, messages, exit statuses. Heavy libraries are imported only by the commands that need them."""

import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from packpale.faults import Faults, in_words, lacks_memory
from packpale.free_memory import search_seldom, with_room_for_calls

if TYPE_CHECKING:
    from packpale.crew import Crew

EXIT_FAULT, EXIT_PLOT_FAILED, EXIT_BUG, EXIT_STOPPED = 2, 3, 1, 130
# Whether it is a file at all is told in one line by whoever reads it.
SETTINGS_FILE = click.Path(path_type=Path)
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
    workers: int | None,
    cluster: str | None,
    fresh: bool,
    debug: bool,
) -> None:
    """Compute every plot of a settings file.

    Example: packpale run config/demo.toml
    """
    with _faults_as_lines(debug), _crew(workers or _cores()) as crew:
        if cluster is not None and workers is not None:
            raise Faults(
                ["--workers: has no effect beside --cluster, whose workers are its own; leave one of the two out"]
            )
        folder = out or Path("outputs") / config.stem
        # Where a run has ended, this one may have nothing to compute, and workers would only be in its way.
        if cluster is None and len(plots) != 1 and (fresh or not (folder / "run.json").exists()):
            crew.get_ready()
        # Only now: what this loads the workers load meanwhile.
        from packpale.progress import watching
        from packpale.run import run as run_plots

        with watching() as watch:
            outcome = run_plots(
                config,
                out=folder,
                plots=plots,
                workers=crew.workers,
                cluster=cluster,
                fresh=fresh,
                watch=watch,
                crew=crew,
            )
        for plot in outcome.plots:
            if plot.status == "failed":
                click.echo(f"plot {plot.plot_id}: failed: {plot.reason}", err=True)
        click.echo(f"{folder / 'index.html'}")
        if not outcome.complete:
            sys.exit(EXIT_PLOT_FAILED)


@commands.command()
@click.argument("config", type=SETTINGS_FILE)
@click.option("--plan", "planned", is_flag=True, help="Tell what a run would take, from a few plots computed for it.")
@click.option("--workers", type=click.IntRange(1), help="Plan for so many; default: for several numbers of them.")
@debug
def check(config: Path, *, planned: bool, workers: int | None, debug: bool) -> None:
    """Read and validate everything, list every fault at once, write nothing.

    Example: packpale check config/demo.toml --plan
    """
    with _faults_as_lines(debug):
        import time

        from packpale.run import read_and_open

        if workers is not None and not planned:
            raise Faults(["--workers: has no effect without --plan; add --plan, or leave it out"])
        started = time.process_time()
        project, inputs = read_and_open(config)
        opening = time.process_time() - started
        hectares = sum(p.outline.area for p in inputs.plots) / 10_000
        click.echo(
            f"{config}: no fault; {len(inputs.plots)} plots, {hectares:.2f} ha, "
            f"in {inputs.crs}, cells of {inputs.cell_m:g} m"
        )
        for note in [*inputs.notes, *(f"{p.plot_id}: {n}" for p in inputs.plots for n in p.notes)]:
            click.echo(f"note: {note}")
        if planned:
            from packpale.planning import lines, plan

            for line in lines(plan(project, inputs, before=opening), workers=workers):
                click.echo(line)


@commands.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.option("--elevation", multiple=True, type=EXISTING_FILE, help="Elevation raster; may be repeated.")
@click.option("--plots", type=EXISTING_FILE, help="Plots file.")
@debug
def start(folder: Path, elevation: tuple[Path, ...], plots: Path | None, debug: bool) -> None:
    """Write a commented settings file: every key with its default, unit and source.

    Example: packpale start my-land --elevation dem.tif --plots plots.gpkg
    """
    with _faults_as_lines(debug):
        from packpale.start import write_settings

        click.echo(write_settings(folder, elevation, plots))


@commands.command()
@click.argument("polygons", type=EXISTING_FILE)
@click.option("--out", type=EXISTING_FILE, required=True, help="GeoPackage to write.")
@click.option("--layer", help="Layer of the file, where it has several.")
@click.option("--id", "id_column", metavar="COLUMN", help="Column that names each polygon.")
@click.option("--packs", type=int, metavar="N", help="Eggs in each polygon, 1 to 3.")
@click.option("--separation", "separation_m", type=float, metavar="M", help="Least distance between them. [m]")
@click.option("--min-radius", "min_radius_m", type=float, metavar="M", help="No bend is tighter. [m]")
@click.option("--area-ha", "area_ha", type=float, metavar="A", help="Area of each egg; default: the largest that fits.")
@click.option("--clearance", type=click.FloatRange(0), default=0.0, metavar="M", help="Free strip outside it. [m]")
@debug
def fit(
    polygons: Path,
    *,
    out: Path,
    layer: str | None,
    id_column: str | None,
    clearance: float,
    debug: bool,
    **enclosure: float | None,
) -> None:
    """Fit the largest egg into every polygon of a file; no elevation is needed.

    Example: packpale fit fields.gpkg --out eggs.gpkg --id name --min-radius 20
    """
    with _faults_as_lines(debug):
        from packpale.fitting import enclosure_wanted, fit_file
        from packpale.progress import counting

        wanted = enclosure_wanted(**enclosure)
        with counting() as watch:
            rows, notes = fit_file(
                polygons, out, layer=layer, id_column=id_column, wanted=wanted, clearance=clearance, watch=watch
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
    with _faults_as_lines(debug):
        from packpale.comparing import compare as compare_runs
        from packpale.comparing import read_both
        from packpale.review.comparison import write_comparison

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
    with _faults_as_lines(debug):
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


class _faults_as_lines:  # noqa: N801 - reads as a phrase where it is used
    """Context in which faults end the program with one line each and status 2, and bugs with one line and status 1."""

    def __init__(self, debug: bool) -> None:
        self.debug = debug

    def __enter__(self) -> None: ...

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, where: Any) -> None:
        for note in getattr(error, "__notes__", ()):
            click.echo(note, err=True)
        if isinstance(error, Faults):
            for line in error.lines:
                click.echo(line, err=True)
            sys.exit(EXIT_FAULT)
        if isinstance(error, Exception) and (isinstance(error, OSError) or lacks_memory(error)):
            click.echo(in_words(error), err=True)
            sys.exit(EXIT_FAULT)
        if isinstance(error, KeyboardInterrupt):
            click.echo("stopped; the same command goes on where it was", err=True)
            sys.exit(EXIT_STOPPED)
        if isinstance(error, Exception):
            if self.debug:
                traceback.print_exception(error)
            click.echo(f"error in the program: {in_words(error)}; --debug shows where", err=True)
            sys.exit(EXIT_BUG)


@contextmanager
def _crew(workers: int) -> Iterator["Crew"]:
    from packpale.crew import Crew

    search_seldom()
    with Crew(workers) as crew:
        yield crew


def _cores() -> int:
    import os

    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def main() -> None:
    """Entry point of the command ``packpale``."""
    with_room_for_calls(commands)


if __name__ == "__main__":
    main()
