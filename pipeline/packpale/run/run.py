"""A whole run: its inputs, its plots, what is kept from an earlier one, and the files of all plots together."""

import errno
import math
import os
import secrets
import shutil
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from packpale import __version__
from packpale.faults import Faults, Gathering, doing, in_words
from packpale.review.model import FinishedPlots, PlotBrief, PlotSummary
from packpale.run.cache_key import (
    code_digest,
    input_files,
    input_hashes,
    near_elevation,
    run_key,
    settings_hash,
    shown_settings,
)
from packpale.run.cluster import AT_ONCE
from packpale.run.cluster import cluster as cluster_at
from packpale.run.memory import check_memory, memory_for_plots, window_cells
from packpale.run.output_folder import KEY, PARTIAL, PLOTS, folder_names, output_folder
from packpale.run.plot import SCREENED, Job, PlotOutcome, finished_under, nearly_full
from packpale.run.pool import Plots, Progress, Watcher, compute_here
from packpale.run.ranking import rank
from packpale.settings import Project, read_settings
from packpale.site import Array, Plot
from packpale.site.inputs import Inputs, cut_to, open_inputs
from packpale.site.prices import with_prices
from packpale.values.notes import Note

ERRORS = "errors.log"
"""File in the output folder with the tracebacks of plots that a bug has ended; there only where there was one."""
RECORD = "run.json"
STRIP_M = 1000.0
"""Width of the strips from west to east in which plots are computed one after the other. [m]"""
MARGIN, LEAST_MARGIN = 0.25, 5
"""Plots computed in full beyond run.detail, as a part of it and at least: so that none of the true first is missed."""


@dataclass(frozen=True)
class RunOutcome:
    """What a run leaves: its folder and how every plot ended, in the order of the plots."""

    folder: Path
    plots: tuple[PlotOutcome, ...]

    @property
    def complete(self) -> bool:
        return all(p.status != "failed" for p in self.plots)


@dataclass(frozen=True)
class Opened:
    """Settings and inputs of a run, read and checked."""

    project: Project
    inputs: Inputs
    cells: Mapping[str, int]
    """Of every plot's window."""
    memory: float
    """That plots may take together. [bytes]"""


def run(
    settings: Path,
    *,
    out: Path,
    plots: Sequence[str] = (),
    settled_line: Path | None = None,
    workers: int = 1,
    cluster: str | None = None,
    fresh: bool = False,
    watch: Watcher = lambda progress, finished: None,
) -> RunOutcome:
    """Compute the plots of a settings file into the folder ``out``.

    Where there are more plots than run.detail and some, all are screened, and then the first of the ranking and those
    that ``plots`` names are computed in full. With ``plots``, others then take part only as far as they stand
    there already.

    Plots already complete there from the same settings and code, and from the same inputs as far as they concern the
    plot, are kept unless ``fresh``. Nothing outside ``out`` is written; a plot appears under ``out/plots`` only when it
    is complete. With the address of a Dask scheduler as ``cluster`` its workers compute the plots, else ``workers``
    processes of this machine. ``settled_line`` stands for enclosure.settled_line of the settings.

    Raises Faults if settings or inputs are at fault, or another run is writing to ``out``; then nothing is written.
    Raises Faults too if the cluster cannot serve or is lost; then the same call goes on where it was.
    """
    opened = read_and_open(settings, check_memory_here=cluster is None, settled_line=settled_line)
    project, inputs = opened.project, opened.inputs
    named = _chosen(inputs, plots)
    screening = are_screened(project, len(inputs.plots))
    folders = folder_names([p.plot_id for p in inputs.plots])
    places = {p.plot_id: _strip_and_west(p) for p in inputs.plots}
    files = input_files(project, inputs)
    with doing("reading the inputs"):
        seen = {f: _seen(f) for of_role in files.values() for f in of_role}
        hashes = input_hashes(files, settings.parent)
    # What lies on a network may have changed: each plot is read again, and kept where that brought nothing new.
    remote = near_elevation(project, inputs).is_remote
    key = secrets.token_hex(16) if remote else run_key(project, hashes)
    with output_folder(out) as name:
        every = [p.plot_id for p in inputs.plots] if screening else named
        keys = {p: f"{key}-{p}" for p in every}
        outcomes = {} if fresh else _kept(out, keys, folders, screened_too=screening)
        chosen = [p for p in every if not plots or p in named or p in outcomes]
        finished: list[Path] = []

        def compute(wanted: Sequence[str], *, screened: bool) -> None:
            jobs = [
                Job(
                    inputs=inputs,
                    cells=opened.cells[plot_id],
                    project=project,
                    plot_id=plot_id,
                    folder=folders[plot_id],
                    out=out.absolute(),
                    key=keys[plot_id],
                    run=name,
                    fresh=fresh,
                    screening=screened,
                    code=code_digest(),
                )
                for plot_id in sorted(wanted, key=places.__getitem__)
            ]
            progress.total += len(jobs)
            finished.extend(job.finished for job in jobs)
            if cluster is None:
                done = compute_here(
                    jobs, workers=workers, memory=opened.memory, progress=progress, watch=watch, send=_cut
                )
            else:
                done = _compute_on_cluster(cluster, jobs, progress, watch)
            outcomes.update(done)

        progress = Progress(total=0)
        compute([p for p in chosen if p not in outcomes and (not plots or not screening)], screened=screening)
        while screening and (missing := _without_detail(chosen, named if plots else (), outcomes, project)):
            compute(missing, screened=False)
        _refuse_changed(seen, input_files(project, inputs), finished)
        ordered = tuple(outcomes[plot_id] for plot_id in chosen)
        with _failed_plots_are_told(ordered, out), doing("writing the run's files", out):
            _log_errors(ordered, out)
            write_run_files(ordered, project, hashes, inputs, out)
    return RunOutcome(out, ordered)


def read_and_open(
    settings: Path, *, check_memory_here: bool = True, all_readable: bool = False, settled_line: Path | None = None
) -> Opened:
    """Read the settings and open every input; nothing is computed.

    Raises Faults with all faults of the inputs, of the comparisons between criteria, and of plots too large for the
    memory of this machine unless ``check_memory_here`` is False; with ``all_readable`` also of plots under which the
    elevation cannot be read, which fail in a run. Those of the settings file itself come first and alone, since they
    say which inputs there are.
    """
    from packpale.land.pairwise import comparison_matrix

    project = read_settings(settings)
    if settled_line is not None:
        project = with_settled_line(project, settled_line)
    faults, memory = Gathering(), memory_for_plots(project)
    with faults.gather():
        project = with_prices(project)
    if project.land.pairwise is not None:
        try:
            comparison_matrix(project.land.pairwise)
        except ValueError as error:
            faults.lines.extend(str(error).splitlines())
    opened = None
    with faults.gather():
        inputs = open_inputs(project)
        cells = window_cells(inputs, project)
        opened = Opened(project, inputs, cells, memory)
        if all_readable:
            faults.lines += inputs.unreadable
        if check_memory_here:
            check_memory(cells, project, cell_m=inputs.cell_m, memory=memory)
    if opened is None or faults.lines:
        raise Faults(*faults.lines)
    return opened


def with_settled_line(project: Project, file: Path) -> Project:
    """The project with ``file`` as its enclosure.settled_line. Raises Faults."""
    if project.enclosure.fence_line is not None:
        raise Faults("--line: enclosure.fence_line gives the lines of all plots already; leave one of the two out")
    if not file.is_file():
        raise Faults(f"--line {file}: no such file; give the one that the map of a plot has saved")
    enclosure = project.enclosure.model_copy(update={"settled_line": file.absolute()})
    return project.model_copy(update={"enclosure": enclosure})


def in_full(project: Project) -> int:
    """How many plots are computed in full where there are so many that they are screened: run.detail, and some more.

    Screening may take a plot for a few places worse than it is.
    """
    return project.run.detail + max(LEAST_MARGIN, math.ceil(MARGIN * project.run.detail))


def are_screened(project: Project, plots: int) -> bool:
    """Whether a run of so many plots screens them."""
    return plots > in_full(project)


def _without_detail(
    chosen: Sequence[str], named: Collection[str], outcomes: Mapping[str, PlotOutcome], project: Project
) -> list[str]:
    """Plots that are to be computed in full and are not yet: the first of the ranking, and those that are named."""
    briefs = {p: brief for p in chosen if p in outcomes and (brief := outcomes[p].brief)}
    ranking = rank(list(briefs.values()), project.ranking.weights, draws=1, seed=project.run.seed)
    best = [place.plot_id for place in ranking.rows if place.feasible][: in_full(project)]
    wanted = dict.fromkeys([*best, *named])
    return [p for p in wanted if p not in outcomes or ((brief := briefs.get(p)) is not None and brief.screened)]


def _compute_on_cluster(
    address: str, jobs: Sequence[Job], progress: Progress, watch: Watcher
) -> dict[str, PlotOutcome]:
    plots = Plots(jobs, progress, watch, _cut)
    if jobs:
        with cluster_at(address) as (workers, check):
            everything = float("inf")
            plots.compute(workers, at_once=AT_ONCE, memory=everything, check=check, refused=workers.refused)
    return plots.outcomes


def _strip_and_west(plot: Plot) -> tuple[int, float]:
    """Where a plot comes in the order of computing: plots side by side look at the same ground, which is kept."""
    west, _, _, north = plot.outline.bounds
    return -math.floor(north / STRIP_M), west


def _cut(job: Job) -> Job:
    """The job with no more of the inputs than its plot needs."""
    return replace(job, inputs=cut_to(job.inputs, job.plot_id, job.project))


def _kept(
    out: Path, keys: Mapping[str, str], folders: Mapping[str, str], *, screened_too: bool
) -> dict[str, PlotOutcome]:
    """Plots that an earlier run completed under the same key, those that were only screened as well if so asked."""
    briefs = {}
    for p, key in keys.items():
        folder = out / PLOTS / folders[p]
        briefs[p] = finished_under(folder, 0, key)
        if briefs[p] is None and screened_too:
            briefs[p] = finished_under(folder, 0, key + SCREENED)
    return {p: PlotOutcome(p, "kept", "", 0.0, brief) for p, brief in briefs.items() if brief}


def _chosen(inputs: Inputs, wanted: Sequence[str]) -> list[str]:
    known = [p.plot_id for p in inputs.plots]
    unknown = [w for w in wanted if w not in known]
    if unknown:
        raise Faults(*[f"--plot {w}: no such plot; the plots are {', '.join(known)}" for w in unknown])
    return [p for p in known if p in wanted] if wanted else known


@contextmanager
def _failed_plots_are_told(outcomes: Sequence[PlotOutcome], out: Path) -> Iterator[None]:
    """Tell also of the plots that failed, should the block fail, and of a full disk as such."""
    try:
        yield
    except Exception as error:
        told: Exception = error
        if not isinstance(error, MemoryError | Faults) and nearly_full(out):
            # Libraries do not always say that it was for lack of room.
            full = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(out))
            told = Faults(in_words(full, while_doing="writing the run's files"))
        for outcome in outcomes:
            if outcome.status == "failed":
                # Else nobody would learn of it: there is no outcome of the run to return.
                told.add_note(f"plot {outcome.plot_id}: failed: {outcome.reason}")
        if told is error:
            raise
        raise told from error


def _log_errors(outcomes: Sequence[PlotOutcome], out: Path) -> None:
    tracebacks = [f"plot {o.plot_id}\n{o.traceback}" for o in outcomes if o.traceback]
    (out / ERRORS).unlink(missing_ok=True)
    if tracebacks:
        (out / ERRORS).write_text("\n".join(tracebacks), encoding="utf-8")


def write_run_files(
    outcomes: Sequence[PlotOutcome],
    project: Project,
    hashes: Mapping[str, Sequence[tuple[str, str]]],
    inputs: Inputs,
    out: Path,
) -> None:
    """Write the files of all plots together; run.json, put in place last, says that they belong together."""
    from packpale.review.run import write_run
    from packpale.review.words.notes import for_files

    own = [o.brief for o in outcomes if o.brief]
    briefs = {b.plot_id: b for b in own}
    notes = (*_told_of_the_outdated(out / PLOTS, {b.folder for b in own}), *inputs.notes)
    finished = FinishedPlots(briefs, partial(_read_again, briefs, out / PLOTS), notes)
    ranking = rank(
        own,
        project.ranking.weights,
        draws=project.run.draws,
        seed=project.run.seed,
        drawn=partial(_draws_of, briefs, out / PLOTS),
    )
    record = {
        "version": __version__,
        "settings_hash": settings_hash(project),
        "settings": shown_settings(project),
        "crs": inputs.crs,
        "input_hashes": {f"{role}: {file}": check for role, files in hashes.items() for file, check in files},
        "seed": project.run.seed,
        "plots": {
            o.plot_id: {"status": o.status, "reason": _reason(o), "seconds": round(o.seconds, 3)} for o in outcomes
        },
        "warnings": for_files(notes, {b.plot_id: b.notes for b in own}),
    }
    # No folder of a plot has a dot in its name.
    building = out / PARTIAL / "files.run"
    shutil.rmtree(building, ignore_errors=True)
    building.mkdir(parents=True)
    write_run(finished, ranking, project, record, building, plots=out / PLOTS)
    # Killed from here on, the folder holds no record: files of two runs never pass for those of one.
    (out / RECORD).unlink(missing_ok=True)
    for file in sorted(building.iterdir(), key=lambda f: (f.name == RECORD, f.name)):
        file.replace(out / file.name)


def _told_of_the_outdated(plots: Path, current: Collection[str]) -> list[Note]:
    """What an earlier run left beside the plots of this one: its setting-out data may be of another line."""
    others = sorted(f.name for f in plots.iterdir() if f.name not in current) if plots.is_dir() else []
    return [
        Note(
            "left from another run",
            "the folder {folder} is left from an earlier run and no part of these results",
            "Do not build from what is in it.",
            {"folder": f"{plots.name}/{name}"},
        )
        for name in others
    ]


def _reason(outcome: PlotOutcome) -> str:
    return outcome.reason or (str(outcome.brief.figures.get("reason") or "") if outcome.brief else "")


def _read_again(briefs: Mapping[str, PlotBrief], plots: Path, plot_id: str) -> PlotSummary:
    """Summary of a plot from its folder."""
    from packpale.review.summary import read_summary

    file = plots / briefs[plot_id].folder / "result.json"
    try:
        return read_summary(file)
    except (OSError, ValueError) as error:
        raise Faults(f"{file}: cannot be read back ({error}); start the same command again, it redoes that") from error


def _draws_of(briefs: Mapping[str, PlotBrief], plots: Path, plot_id: str, most: int) -> Array:
    """The first draws of a plot from its folder; of one that was only screened its middle estimate for all of them."""
    from packpale.review.summary import DRAWS, read_draws

    if briefs[plot_id].screened:
        return np.stack([np.full(most, briefs[plot_id].figures["cost_p50"]), np.zeros(most)])
    file = plots / briefs[plot_id].folder / DRAWS
    try:
        return read_draws(file, most)
    except (OSError, ValueError) as error:
        raise Faults(f"{file}: cannot be read back ({error}); start the same command again, it redoes that") from error


def _seen(file: Path) -> tuple[int, int]:
    state = file.stat()
    return state.st_size, state.st_mtime_ns


def _refuse_changed(
    seen: Mapping[Path, tuple[int, int]], files: Mapping[str, Sequence[Path]], finished: Sequence[Path]
) -> None:
    """Raise Faults if an input has changed since it was looked at, or one has come: plots may have read either.

    The first key of the plots of this run is taken back, so that the next one looks at what they read.
    """
    now = {f for of_role in files.values() for f in of_role}
    changed = [f for f in {**seen, **dict.fromkeys(sorted(now))} if not f.exists() or seen.get(f) != _seen(f)]
    if not changed:
        return
    for folder in finished:
        with suppress(OSError):
            reads = (folder / KEY).read_text(encoding="utf-8").splitlines()[1:]
            (folder / KEY).write_text("\n".join(["", *reads, ""]), encoding="utf-8")
    raise Faults(
        *[
            f"{f}: changed while the run was going on; start the same command again, it redoes what that concerns"
            for f in changed
        ]
    )
