"""Whole runs killed at random moments: the run that goes on ends with the bytes of one that nobody disturbed.

    pytest tests/benchmarks/test_killed.py -s              50 kills, about 10 to 20 minutes
    PACKPALE_KILLS=5 pytest tests/benchmarks/test_killed.py -s
    PACKPALE_MINUTES=30 pytest tests/benchmarks/test_killed.py -s      as many of the 50 as that time has room for

A run is killed as `kill -9` does, with its workers still at work, again and again until it has ended by itself; then
the next one begins from nothing, until the kills are used up. One kill in four falls into the run's last step, while
the files of all plots together are written and put in place, and one in four takes a worker alone, after which the run
has to end by itself. Compared is every file that two undisturbed runs have the same, and that no plot's folder is ever
seen half done.
"""

import os
import random
import re
import signal
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import fiona
import psutil
import pytest
from shapely.geometry import box, mapping

from made_inputs import NORTH, NORTH_PLOT, SOUTH_PLOT, WEST, Made

ROOT = Path(__file__).parents[2]
KILLS = int(os.environ.get("PACKPALE_KILLS", "50"))
MINUTES = float(os.environ.get("PACKPALE_MINUTES", "600"))
SEED = int(os.environ.get("PACKPALE_SEED", "7"))
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT / "pipeline")}
NOT_THE_SAME = ("run.json",)
"""Holds how long each plot took, and whether it was kept."""
LARGE = (".html", ".pdf", ".xlsx")
"""Compared too where two undisturbed runs have the same bytes."""


def command(config, out):
    return [sys.executable, "-m", "packpale.cli", "run", str(config), "--out", str(out), "--workers", "2"]


def files(out):
    """Every file by its place in the folder: its bytes, without how long a fit took where it says that."""
    return {p.relative_to(out).as_posix(): content(p) for p in sorted(out.rglob("*")) if p.is_file()}


def content(file):
    if file.name == "result.json":
        return re.sub(rb'"fit_s": [\d.e-]+', b"", file.read_bytes())
    if file.suffix == ".gpkg":
        layers = {}
        for name in fiona.listlayers(file):
            with fiona.open(file, layer=name) as source:
                rows = [(row.geometry and mapping(row.geometry), dict(row.properties)) for row in source]
            layers[name] = repr([(g, {k: v for k, v in p.items() if k != "fit_s"}) for g, p in rows])
        return layers
    return file.read_bytes()


@pytest.fixture(scope="module")
def config(tmp_path_factory):
    """Three small plots with little to compute."""
    made = Made(tmp_path_factory.mktemp("made"))
    made.plots(
        ("north", NORTH_PLOT), ("south", SOUTH_PLOT), ("west", box(WEST + 20, NORTH - 180, WEST + 90, NORTH - 110))
    )
    quick = "[trench]\nworking_strip_m = 1.0\n[enclosure]\nmin_radius_m = 5.0\nproof_gap = 0.1\n[run]\ndraws = 100\n"
    return made.text(made.settings_text() + quick, "land.toml")


@dataclass
class Tally:
    """What was done to runs, and what it left."""

    anywhere: int = 0
    last_step: int = 0
    worker: int = 0
    half_done: int = 0
    in_last_step: int = 0
    ended: int = 0

    @property
    def kills(self):
        return self.anywhere + self.last_step + self.worker


def workers_of(run):
    """Processes of a run that compute plots."""
    with suppress(psutil.NoSuchProcess):
        for child in psutil.Process(run.pid).children(recursive=True):
            with suppress(psutil.NoSuchProcess):
                if any("spawn_main" in word for word in child.cmdline()):
                    yield child


def waited_for(condition, run, seconds=600.0):
    """Whether a condition came true before a run ended."""
    until = time.monotonic() + seconds
    while run.poll() is None and time.monotonic() < until:
        if condition():
            return True
        time.sleep(0.005)
    return False


def started(config, out):
    words = command(config, out)
    return subprocess.Popen(words, env=ENVIRONMENT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)


def kill(run, draw, out, lasted, tally):
    """Kill a run, or a worker of it, at a random moment; whether the run itself was killed and did not end before."""
    building = out / ".partial" / "files.run"
    way = draw.choice(["anywhere", "anywhere", "last step", "worker"])
    if way == "last step":
        if not waited_for(building.exists, run):
            return False
        moment = draw.uniform(0.0, 1.05 * lasted["last step"])
    elif way == "worker":
        if not waited_for(lambda: next(workers_of(run), None), run):
            return False
        moment = draw.uniform(0.0, 0.8 * lasted["run"])
    else:
        moment = draw.uniform(0.0, 1.05 * lasted["run"])
    with suppress(subprocess.TimeoutExpired):
        run.wait(moment)
        return False
    if way == "worker":
        if found := list(workers_of(run)):
            with suppress(psutil.NoSuchProcess):
                draw.choice(found).kill()
                tally.worker += 1
        return False
    run.send_signal(signal.SIGKILL)
    run.wait()
    tally.anywhere += way == "anywhere"
    tally.last_step += way == "last step"
    tally.half_done += (out / ".partial").exists()
    tally.in_last_step += building.exists()
    return True


def undisturbed(config, out):
    """A run nobody disturbs: its files, and how long it and its last step lasted. [s]"""
    begun = time.monotonic()
    with started(config, out) as run:
        assert waited_for((out / ".partial" / "files.run").exists, run)
        last = time.monotonic()
        said = run.communicate()[1]
    assert run.returncode == 0, said
    now = time.monotonic()
    return files(out), {"run": now - begun, "last step": now - last}


def test_a_run_killed_again_and_again_ends_with_the_same_bytes(config, tmp_path, capsys):
    whole = tmp_path / "whole"
    expected, _ = undisturbed(config, whole)
    second, lasted = undisturbed(config, tmp_path / "again")
    assert expected.keys() == second.keys()
    compared = {name for name, content in expected.items() if second[name] == content}
    # Without a kill nothing else may differ: keys, tables, rasters, drawings.
    differing = {n for n in expected if n not in compared}
    assert {Path(n).suffix for n in differing if n not in NOT_THE_SAME} <= set(LARGE), differing
    draw = random.Random(SEED)  # noqa: S311 - moments, no secrets
    tally = Tally()
    until = time.monotonic() + 60 * MINUTES
    while tally.kills < KILLS and time.monotonic() < until:
        out = tmp_path / f"run-{tally.ended}"
        killed = True
        while killed:
            with started(config, out) as run:
                more = tally.kills < KILLS and time.monotonic() < until
                killed = more and kill(run, draw, out, lasted, tally)
                if not killed:
                    said = run.communicate()[1]
                    assert run.returncode == 0, said
            # Workers of a killed run may be at work for a moment yet.
            for folder in (out / "plots").glob("*"):
                assert files(folder).keys() == files(whole / "plots" / folder.name).keys()
        tally.ended += 1
        found = files(out)
        assert found.keys() == expected.keys()
        assert {name for name in compared if found[name] != expected[name]} == set()
    with capsys.disabled():
        print(  # noqa: T201 - the figures are what the benchmark is for
            f"\n{tally.kills} kills over {lasted['run']:.1f} s a run: {tally.anywhere} at any moment, "
            f"{tally.last_step} in the last step of {lasted['last step']:.1f} s, {tally.worker} of a worker alone; "
            f"{tally.half_done} left something half done, {tally.in_last_step} of them files of all plots; "
            f"{tally.ended} runs went on to their end with {len(compared)} of {len(expected)} files the same bytes; "
            f"differing without a kill too: {', '.join(sorted(differing))}"
        )
