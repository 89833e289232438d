"""Whole runs killed at random moments: the run that goes on ends with the bytes of one that nobody disturbed.

    pytest tests/benchmarks/test_killed.py -s              50 kills, about 10 to 20 minutes
    PACKPALE_KILLS=5 pytest tests/benchmarks/test_killed.py -s
    PACKPALE_MINUTES=30 pytest tests/benchmarks/test_killed.py -s      as many of the 50 as that time has room for

A run is killed as `kill -9` does, with its workers still at work, again and again until it has ended by itself; then
the next one begins from nothing, until the kills are used up. Compared is every file that two undisturbed runs have the
same, and that no plot's folder is ever seen half done.
"""

import os
import random
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import fiona
import pytest
from shapely.geometry import box, mapping

from made_inputs import NORTH, NORTH_PLOT, SOUTH_PLOT, WEST, Made

ROOT = Path(__file__).parents[2]
KILLS = int(os.environ.get("PACKPALE_KILLS", "50"))
MINUTES = float(os.environ.get("PACKPALE_MINUTES", "600"))
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


def test_a_run_killed_again_and_again_ends_with_the_same_bytes(config, tmp_path, capsys):
    whole, again = ("whole", "again")
    subprocess.run(command(config, tmp_path / whole), env=ENVIRONMENT, check=True, capture_output=True)
    started = time.monotonic()
    subprocess.run(command(config, tmp_path / again), env=ENVIRONMENT, check=True, capture_output=True)
    seconds = time.monotonic() - started
    expected, second = files(tmp_path / whole), files(tmp_path / again)
    assert expected.keys() == second.keys()
    compared = {name for name, content in expected.items() if second[name] == content}
    # Without a kill nothing else may differ: keys, tables, rasters, drawings.
    differing = {n for n in expected if n not in compared}
    assert {Path(n).suffix for n in differing if n not in NOT_THE_SAME} <= set(LARGE), differing
    draw = random.Random(7)  # noqa: S311 - moments, no secrets
    kills = ended = left_over = 0
    until = time.monotonic() + 60 * MINUTES
    while kills < KILLS and time.monotonic() < until:
        out = tmp_path / f"run-{ended}"
        while True:
            with subprocess.Popen(
                command(config, out), env=ENVIRONMENT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
            ) as run:
                if kills < KILLS and time.monotonic() < until:
                    try:
                        run.wait(draw.uniform(0.0, 1.05 * seconds))
                    except subprocess.TimeoutExpired:
                        run.send_signal(signal.SIGKILL)
                        run.wait()
                        kills += 1
                        left_over += (out / ".partial").exists()
                        for folder in (out / "plots").glob("*"):
                            there = files(folder)
                            assert there.keys() == files(tmp_path / whole / "plots" / folder.name).keys()
                        continue
                said = run.communicate()[1]
                assert run.returncode == 0, said
            ended += 1
            found = files(out)
            assert found.keys() == expected.keys()
            assert {name for name in compared if found[name] != expected[name]} == set()
            break
    with capsys.disabled():
        print(  # noqa: T201 - the figures are what the benchmark is for
            f"\n{kills} kills over {seconds:.1f} s a run, {left_over} of them left a half-done folder; "
            f"{ended} runs went on to their end with {len(compared)} of {len(expected)} files the same bytes; "
            f"differing without a kill too: {', '.join(sorted(differing))}"
        )
