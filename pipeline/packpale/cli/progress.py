"""Progress of a run on stderr: a live line on a terminal, plain lines on a pipe."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from packpale.run.plot import PlotOutcome
from packpale.run.pool import Progress, Watcher

PLAIN_EVERY_S = 5.0
"""Between two plain lines of a count. [s]"""
COMPILING = "compiling the calculations for this computer, which takes up to half a minute and is done once"


@contextmanager
def watching() -> Iterator[Watcher]:
    """A watcher for ``run`` that shows plots done of all, stages and time left."""
    if not sys.stderr.isatty():
        yield _plainly()
        return
    from rich.console import Console
    from rich.live import Live
    from rich.text import Text

    with Live(Text("starting"), console=Console(stderr=True), transient=True) as live:

        def watch(progress: Progress, finished: PlotOutcome | None) -> None:
            for remark in _unsaid(progress):
                live.console.print(Text(remark))
            if finished:
                live.console.print(Text(_ended(progress, finished)))
            live.update(Text(_now(progress)))

        yield watch


@contextmanager
def counting() -> Iterator[Callable[[int, int], None]]:
    """A watcher of features done of all: a live bar on a terminal, at most one plain line a few seconds on a pipe."""
    if sys.stderr.isatty():
        from rich.console import Console
        from rich.progress import Progress as Bar

        with Bar(console=Console(stderr=True), transient=True) as bar:
            task = bar.add_task("fitting", total=None)
            yield lambda done, total: bar.update(task, completed=done, total=total)
        return
    last = time.monotonic()

    def watch(done: int, total: int) -> None:
        nonlocal last
        if time.monotonic() - last >= PLAIN_EVERY_S:
            last = time.monotonic()
            _say(f"{done} of {total} features done")

    yield watch


def _plainly() -> Watcher:
    told = False

    def watch(progress: Progress, finished: PlotOutcome | None) -> None:
        nonlocal told
        if progress.compiling and not told:
            told = True
            _say(COMPILING)
        for remark in _unsaid(progress):
            _say(remark)
        if finished:
            _say(_ended(progress, finished))

    return watch


def _unsaid(progress: Progress) -> list[str]:
    """Remarks that have not been said yet."""
    remarks = list(progress.remarks)
    progress.remarks.clear()
    return remarks


def _say(line: str) -> None:
    print(line, file=sys.stderr, flush=True)  # noqa: T201 - this is the message


def _ended(progress: Progress, finished: PlotOutcome) -> str:
    left = progress.seconds_left
    tail = f", about {_duration(left)} left" if left and progress.done < progress.total else ""
    ended = f"plot {finished.plot_id}: {finished.status} in {finished.seconds:.1f} s"
    return f"{ended}; {progress.done} of {progress.total}{tail}"


def _now(progress: Progress) -> str:
    if progress.compiling:
        return COMPILING
    left = progress.seconds_left
    working = ", ".join(f"{plot}: {stage}" for plot, stage in sorted(progress.stages.items()))
    tail = f"; about {_duration(left)} left" if left else ""
    return f"{progress.done} of {progress.total} plots done{tail}  {working}"


def _duration(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min {rest:02d} s" if minutes else f"{rest} s"
