"""Whole runs, made once through the command line as a user makes them."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from filelock import FileLock

ROOT = Path(__file__).parents[2]


def packpale_run(config, out, *more):
    command = [sys.executable, "-m", "packpale.cli", "run", str(config), "--out", str(out), *more]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT)


@pytest.fixture(scope="session")
def run_command():
    return packpale_run


def finished_run(name, tmp_path_factory):
    """The run of a settings file of config/, made by the first process of the tests that asks for it."""
    shared = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent
    out, complete = shared / name / "out", shared / name / "complete"
    with FileLock(shared / f"{name}.lock"):
        if not complete.exists():
            done = packpale_run(ROOT / "config" / f"{name}.toml", out, "--workers", "2")
            assert done.returncode == 0, done.stderr
            complete.touch()
    return out


@pytest.fixture(scope="session")
def real_ground(tmp_path_factory):
    """The run on real laser-scanned ground."""
    return finished_run("real_ground", tmp_path_factory)


@pytest.fixture(scope="session")
def screening(tmp_path_factory):
    """The run on a coarse geographic elevation model."""
    return finished_run("highland_screening", tmp_path_factory)


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """The run of the demo."""
    return finished_run("demo", tmp_path_factory)
