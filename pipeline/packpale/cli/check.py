"""What ``packpale check`` prints of inputs without a fault: windows, cells, memory of a worker, disk."""

import shutil
from collections.abc import Iterator
from pathlib import Path

from packpale.cli.messages import FIRST_SETTINGS
from packpale.cli.start import quoted
from packpale.review.words.notes import as_messages
from packpale.run.machine import cores
from packpale.run.memory import disk_bytes, worker_bytes
from packpale.run.run import Opened, are_screened, in_full
from packpale.units import HECTARE_M2, measured


def lines_of(config: Path, opened: Opened) -> Iterator[str]:
    """Lines for the user."""
    inputs, cells = opened.inputs, opened.cells
    hectares = sum(p.outline.area for p in inputs.plots) / HECTARE_M2
    yield (
        f"{config}: no fault; {len(inputs.plots)} plots, {measured(hectares, 'ha', '.2f')}, in {inputs.crs}, "
        f"cells of {measured(inputs.cell_m, 'm')}"
    )
    detailed = in_full(opened.project) if are_screened(opened.project, len(inputs.plots)) else None
    if detailed is not None:
        yield (
            f"detail: all {len(inputs.plots)} plots are screened, then the first {detailed} of the ranking "
            f"computed in full (run.detail = {opened.project.run.detail}, and some more for what screening may miss)"
        )
    imperial = opened.project.units == "imperial"
    for note in as_messages(inputs.notes, {p.plot_id: p.notes for p in inputs.plots}, imperial=imperial):
        yield f"note: {note}"
    sizes = sorted(cells.values())
    yield f"cells: {sum(sizes):,}, in {len(sizes)} windows of {sizes[0]:,} to {sizes[-1]:,}"
    largest, most = worker_bytes(sizes[-1]), cores()
    at_once = min(most, max(1, int(opened.memory // largest)))
    yield (
        f"memory: about {largest / 1e9:.1f} GB for a worker with the largest plot; {opened.memory / 1e9:.1f} GB may be "
        f"used, enough for {at_once} at one time on {most} core{'' if most == 1 else 's'}"
    )
    free = shutil.disk_usage(Path.cwd()).free
    needed = disk_bytes(cells, detailed)
    yield f"disk: about {needed / 1e6:,.0f} MB for the plots' files; {free / 1e6:,.0f} MB are free here"
    yield f"next: {next_command(config)}"


def next_command(config: Path) -> str:
    """How to run a settings file; one that start has written gets its results beside it."""
    out = f" --out {quoted(config.parent / 'result')}" if config.name == FIRST_SETTINGS else ""
    return f"packpale run {quoted(config)}{out}"
