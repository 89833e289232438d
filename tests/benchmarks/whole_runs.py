"""Whole runs over an invented county, measured: time, processor time, memory, bytes, beside one read of the data.

python tests/benchmarks/whole_runs.py plots 1 10 100        # so many plots of 9 ha, windows of 0.25 million cells
python tests/benchmarks/whole_runs.py plots 100 --across 20000 # the same spread over a raster of 20,000 x 20,000 cells
python tests/benchmarks/whole_runs.py cells 1 8              # so many million cells under one plot
python tests/benchmarks/whole_runs.py cells 100 --window 4   # under plots of 4 million cells
"""

import argparse
import math
import os
import platform
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import county
import psutil
import rasterio

from packpale.run.run import read_and_open
from packpale.site.inputs import plot_window


@dataclass(frozen=True)
class Measured:
    """What one command took."""

    wall: float
    cpu: float
    """Of the process and all it started. [s]"""
    peak: int
    """Of the process and all it started, at one time; shared pages count for each. [bytes]"""
    shared_out: int
    """The same with each shared page counted once, in parts for those that share it; 0 where the system tells not."""


def measured(command: list[str]) -> Measured:
    """Run a command to its end."""
    spent: dict[int, float] = {}
    started = time.monotonic()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    peak, ended = [0, 0], threading.Event()

    def look() -> None:
        while not ended.wait(0.1):
            peak[:] = [max(pair) for pair in zip(peak, _memory(process.pid, spent), strict=True)]

    watcher = threading.Thread(target=look)
    watcher.start()
    status = process.wait()
    ended.set()
    watcher.join()
    if status:
        raise SystemExit(f"{' '.join(command)}: ended with status {status}")
    return Measured(time.monotonic() - started, sum(spent.values()), *peak)


def _memory(pid: int, spent: dict[int, float]) -> tuple[int, int]:
    """Memory of a process and all below it, and the same with shared pages counted once; notes what each has spent."""
    whole = parts = 0
    try:
        top = psutil.Process(pid)
        for process in [top, *top.children(recursive=True)]:
            try:
                held = process.memory_full_info()
            except psutil.Error:
                continue
            # Workers are not waited for by the run, so that nobody else adds up what they spend.
            used = process.cpu_times()
            spent[process.pid] = used.user + used.system
            whole += held.rss
            parts += getattr(held, "pss", 0)
    except psutil.NoSuchProcess:
        pass
    return whole, parts


def one_read(folder: Path) -> tuple[float, int]:
    """Processor time of reading every plot's window once, unpacked, and how many cells that is. [s]"""
    opened = read_and_open(folder / "county.toml")
    project, inputs = opened.project, opened.inputs
    started, cells = time.process_time(), 0
    with rasterio.open(folder / "terrain.tif") as source:
        for plot in inputs.plots:
            grid = plot_window(inputs, plot, project)
            part = rasterio.windows.from_bounds(*grid.bounds, source.transform)
            cells += source.read(1, window=part).size
    return time.process_time() - started, cells


def row(folder: Path, side: int, plots: int, plot_side: float | None, workers: int) -> str:
    """Make a county, run it, tell a line of the table."""
    county.write_terrain(folder / "terrain.tif", side)
    county.write_plots(folder / "plots.gpkg", side, plots, plot_side=plot_side)
    settings = county.write_settings(folder)
    read, cells = one_read(folder)
    out = folder / "out"
    command = [sys.executable, "-m", "packpale.cli", "run", str(settings), "--out", str(out), "--workers", str(workers)]
    took = measured(command)
    written = sum(f.stat().st_size for f in out.rglob("*") if f.is_file())
    return (
        f"| {plots:,} | {cells / 1e6:.3g} | {workers} | {took.wall:.0f} | {took.cpu:.0f} | {took.cpu / plots:.1f} | "
        f"{took.peak / 2**30:.2f} | {took.shared_out / 2**30:.2f} | {written / 1e6:.0f} | "
        f"{read:.2f} | {took.cpu / read:.0f} |"
    )


def main() -> None:
    """Run the benchmarks asked for and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["plots", "cells"])
    parser.add_argument("sizes", type=int, nargs="+")
    parser.add_argument("--workers", type=int, default=len(os.sched_getaffinity(0)))
    parser.add_argument("--window", type=int, default=8, help="most million cells under one plot")
    parser.add_argument("--across", type=int, help="cells along the raster's sides, over which plots are spread")
    given = parser.parse_args()
    machine = f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    tell(f"{date.today().isoformat()}, {machine}; x is processor time over that of one read of the windows")
    tell(
        "| plots | million cells | workers | time s | processor s | a plot | peak GiB | shared out GiB | written MB | "
        "one read s | x |"
    )
    tell("|---|---|---|---|---|---|---|---|---|---|---|")
    for size in given.sizes:
        with tempfile.TemporaryDirectory(prefix="county-") as folder:
            if given.what == "plots":
                # 9 ha and the margin round them, side by side if not spread.
                side = given.across or 510 * math.ceil(math.sqrt(size))
                line = row(Path(folder), side, size, 300.0, given.workers)
            else:
                plots = math.ceil(size / given.window)
                line = row(Path(folder), round((size * 1e6) ** 0.5), plots, None, given.workers)
        tell(line)


def tell(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
