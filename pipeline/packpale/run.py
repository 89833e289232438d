"""A whole run: its inputs, its plots, what is kept from an earlier one, and the files of all plots together."""

import errno
import os
import re
import shutil
import zlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from packpale import __version__
from packpale.crew import Apart, Crew
from packpale.faults import Faults, Gathering
from packpale.free_memory import give_back, look_past_what_stays
from packpale.holding import KEY, PARTIAL, PLOTS, held
from packpale.keys import file_hash, run_key, settings_hash, shown_settings
from packpale.many_plots import Progress, Watcher, compute_here, compute_on_cluster
from packpale.one_plot import (
    Job,
    PlotOutcome,
    finished_under,
    nearly_full,
)
from packpale.ranking import rank
from packpale.result import FinishedPlots, PlotBrief, PlotSummary
from packpale.settings import Project, read_settings
from packpale.site.inputs import Inputs, open_inputs

PAGES_BESIDE_WORKERS = 6
"""With more plots the workers end before the run's files are written, each by a process of its own, and its pages after
the others: all need much memory, and what they took is free again when the process ends."""
FILES_AT_ONCE = 2
"""So many of those files are written at one time: together they need about as much memory as the pages alone."""


@dataclass(frozen=True)
class RunOutcome:
    """What a run leaves: its folder and how every plot ended, in the order of the plots."""

    folder: Path
    plots: tuple[PlotOutcome, ...]

    @property
    def complete(self) -> bool:
        return all(p.status != "failed" for p in self.plots)


def run(
    settings: Path,
    *,
    out: Path,
    plots: Sequence[str] = (),
    workers: int = 1,
    cluster: str | None = None,
    fresh: bool = False,
    watch: Watcher = lambda progress, finished: None,
    crew: Crew | None = None,
) -> RunOutcome:
    """Compute the plots of a settings file into the folder ``out``.

    Plots already complete there from the same settings and version, and from the same inputs as far as they concern
    the plot, are kept unless ``fresh``. Nothing outside ``out`` is written; a plot appears under ``out/plots`` only
    when it is complete. With the address of a Dask scheduler as ``cluster`` its workers compute the plots, else
    ``workers`` processes of this machine, those of a ``crew`` if they have been begun already.

    Raises Faults if settings or inputs are at fault, or another run is writing to ``out``; then nothing is written.
    Raises Faults too if the cluster cannot serve or is lost; then the same call goes on where it was.
    """
    crew = crew or Crew(workers)
    with crew:
        project, inputs = read_and_open(settings)
        chosen = _chosen(inputs, plots)
        folders = folder_names([p.plot_id for p in inputs.plots])
        seen = {f: _seen(f) for f in inputs.files}
        # Relative names: the same inputs in another place, or on another machine, are the same inputs.
        home = settings.resolve().parent
        hashes = {Path(os.path.relpath(f, home)).as_posix(): file_hash(f) for f in sorted(set(inputs.files))}
        key = run_key(project, hashes)
        # The crew once more: it leaves while the folder is still held.
        with held(out) as name, crew:
            kept = {} if fresh else _kept(out, {p.plot_id: f"{key}-{p.plot_id}" for p in inputs.plots}, folders)
            left = [plot_id for plot_id in chosen if plot_id not in kept]
            progress = Progress(total=len(left))
            give_back()
            progress.begin()
            if crew.at_hand and len(chosen) <= PAGES_BESIDE_WORKERS:
                _load_pages()
            jobs = [Job(inputs, project, p, folders[p], out, f"{key}-{p}", name, fresh) for p in left]
            if cluster is None:
                outcomes = {**kept, **compute_here(jobs, workers, progress, watch, crew)}
            else:
                outcomes = {**kept, **compute_on_cluster(cluster, jobs, inputs.files, progress, watch)}
            _refuse_changed(seen, [job.finished for job in jobs])
            ordered = tuple(outcomes[plot_id] for plot_id in chosen)
            few = len(ordered) <= PAGES_BESIDE_WORKERS
            with _what_failed_is_told(ordered, out), _for_files(crew, apart=not few) as executor:
                write_run_files(ordered, project, hashes, inputs, out, executor=executor, page_last=not few)
    return RunOutcome(out, ordered)


def _kept(out: Path, keys: Mapping[str, str], folders: Mapping[str, str]) -> dict[str, PlotOutcome]:
    """Plots that an earlier run completed under the same key."""
    briefs = {p: finished_under(out / PLOTS / folders[p], 0, key) for p, key in keys.items()}
    return {p: PlotOutcome(p, "kept", "", 0.0, brief) for p, brief in briefs.items() if brief}


@contextmanager
def _for_files(crew: Crew, *, apart: bool) -> Iterator[Executor | None]:
    """Processes for the files of all plots: those of the crew, or others when these have ended; None without any."""
    if apart and crew.at_hand:
        crew.leave()
        with Apart(min(crew.workers, FILES_AT_ONCE)) as processes:
            yield processes
    else:
        yield crew.at_hand


def _load_pages() -> None:
    """Load what this process will need at the end, now that the workers load and it would only wait for them."""
    from packpale.review.run import load_pages

    load_pages()


@contextmanager
def _what_failed_is_told(outcomes: Sequence[PlotOutcome], out: Path) -> Iterator[None]:
    """Tell also of the plots that failed, should the block fail, and of a full disk as such."""
    try:
        yield
    except Exception as error:
        told: Exception = error
        if isinstance(error, OSError) and error.errno and not error.filename:
            told = OSError(error.errno, error.strerror, str(out))
        elif not isinstance(error, OSError | MemoryError | Faults) and nearly_full(out):
            told = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(out))
        for outcome in outcomes:
            if outcome.status == "failed":
                # Else nobody would learn of it: there is no outcome of the run to return.
                told.add_note(f"plot {outcome.plot_id}: failed: {outcome.reason}")
        if told is error:
            raise
        raise told from error


def read_and_open(settings: Path) -> tuple[Project, Inputs]:
    """Read the settings and open every input; nothing is computed.

    Raises Faults with all faults of the inputs and of the comparisons between criteria; those of the settings file
    itself come first and alone, since they say which inputs there are.
    """
    from packpale.land.pairwise import comparison_matrix

    project = read_settings(settings)
    faults = Gathering()
    if project.land.pairwise is not None:
        try:
            comparison_matrix(project.land.pairwise)
        except ValueError as error:
            faults.lines.extend(str(error).splitlines())
    inputs = None
    with faults.gather():
        inputs = open_inputs(project)
    if inputs is None or faults.lines:
        raise Faults(faults.lines)
    return project, inputs


def folder_names(plot_ids: Sequence[str]) -> dict[str, str]:
    """A folder name for each plot: the id where it can stand as one, else a plain form of it and a check sum.

    Two ids that differ only in case, or in what a file name cannot hold, get different folders.
    """
    names: dict[str, str] = {}
    seen: set[str] = set()
    for plot_id in sorted(plot_ids):
        name = re.sub(r"[^A-Za-z0-9_-]+", "-", plot_id).strip("-")[:60]
        reserved = re.fullmatch(r"(?i)con|prn|aux|nul|com\d|lpt\d", name)
        if not name or name != plot_id or reserved or name.lower() in seen:
            name = f"{name or 'plot'}-{zlib.crc32(plot_id.encode()):08x}"
        seen.add(name.lower())
        names[plot_id] = name
    return names


def write_run_files(
    outcomes: Sequence[PlotOutcome],
    project: Project,
    hashes: Mapping[str, str],
    inputs: Inputs,
    out: Path,
    *,
    executor: Executor | None = None,
    page_last: bool = False,
) -> None:
    from packpale.review.run import write_run

    look_past_what_stays()
    own = [o.brief for o in outcomes if o.brief]
    briefs = {b.plot_id: b for b in own}
    finished = FinishedPlots(briefs, partial(_read_again, briefs, inputs.notes, out / PLOTS))
    ranking = rank(own, project.ranking.weights, draws=project.run.draws, seed=project.run.seed)
    record = {
        "version": __version__,
        "settings_hash": settings_hash(project),
        "settings": shown_settings(project),
        "crs": inputs.crs,
        "input_hashes": dict(hashes),
        "seed": project.run.seed,
        "plots": {
            o.plot_id: {"status": o.status, "reason": _reason(o), "seconds": round(o.seconds, 3)} for o in outcomes
        },
        "warnings": [
            *_told_of_the_outdated(out / PLOTS, {b.folder for b in own}),
            *inputs.notes,
            *(f"{b.plot_id}: {n}" for b in own for n in b.notes),
        ],
    }
    # No folder of a plot has a dot in its name.
    building = out / PARTIAL / "files.run"
    shutil.rmtree(building, ignore_errors=True)
    building.mkdir(parents=True)
    write_run(finished, ranking, project, record, building, plots=out / PLOTS, executor=executor, page_last=page_last)
    for file in sorted(building.iterdir()):
        file.replace(out / file.name)


def _told_of_the_outdated(plots: Path, current: Collection[str]) -> list[str]:
    """What an earlier run left beside the plots of this one: its setting-out data may be of another line."""
    others = sorted(f.name for f in plots.iterdir() if f.name not in current) if plots.is_dir() else []
    return [
        f"The folder {plots.name}/{name} is left from an earlier run and no part of these results: "
        "do not build from what is in it."
        for name in others
    ]


def _reason(outcome: PlotOutcome) -> str:
    return outcome.reason or (str(outcome.brief.figures.get("reason") or "") if outcome.brief else "")


def _read_again(briefs: Mapping[str, PlotBrief], notes: Sequence[str], plots: Path, plot_id: str) -> PlotSummary:
    """Summary of a plot from its folder, with ``notes``, which hold for all plots, before its own."""
    from packpale.review.summary import read_summary

    file = plots / briefs[plot_id].folder / "result.json"
    try:
        own = read_summary(file)
    except (OSError, ValueError) as error:
        raise Faults(
            [f"{file}: cannot be read back ({error}); start the same command again, it redoes that"]
        ) from error
    # What holds for all plots is no part of a plot's own files: it may change when another plot does.
    return replace(own, notes=tuple(dict.fromkeys((*notes, *own.notes))))


def _chosen(inputs: Inputs, wanted: Sequence[str]) -> list[str]:
    known = [p.plot_id for p in inputs.plots]
    unknown = [w for w in wanted if w not in known]
    if unknown:
        raise Faults([f"--plot {w}: no such plot; the plots are {', '.join(known)}" for w in unknown])
    return [p for p in known if p in wanted] if wanted else known


def _seen(file: Path) -> tuple[int, int]:
    state = file.stat()
    return state.st_size, state.st_mtime_ns


def _refuse_changed(seen: Mapping[Path, tuple[int, int]], finished: Sequence[Path]) -> None:
    """Raise Faults if an input has changed since it was looked at: plots may have read either.

    The first key of the plots of this run is taken back, so that the next one looks at what they read.
    """
    changed = [f for f, state in seen.items() if not f.exists() or _seen(f) != state]
    if not changed:
        return
    for folder in finished:
        with suppress(OSError):
            reads = (folder / KEY).read_text(encoding="utf-8").splitlines()[1:]
            (folder / KEY).write_text("\n".join(["", *reads, ""]), encoding="utf-8")
    raise Faults(
        [
            f"{f}: changed while the run was going on; start the same command again, it redoes what that concerns"
            for f in changed
        ]
    )
