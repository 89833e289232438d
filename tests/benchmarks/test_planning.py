"""A plan against the run that it plans."""

import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from packpale.planning import WITHIN

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", ["demo", "real_ground"])
@pytest.mark.parametrize("workers", [1, 2])
def test_a_run_takes_what_was_planned(name, workers, tmp_path):
    config = ROOT / "config" / f"{name}.toml"
    planned = packpale("check", config, "--plan", "--workers", workers)
    minutes = re.search(r"time: \d workers? ([\d.]+) min", planned).group(1)
    size, unit = re.search(r"writes: about ([\d.]+) (MB|GB)", planned).groups()
    started = time.monotonic()
    packpale("run", config, "--out", tmp_path / "out", "--workers", workers)
    took = (time.monotonic() - started) / 60
    wrote = sum(f.stat().st_size for f in (tmp_path / "out" / "plots").rglob("*") if f.is_file())
    written = float(size) * {"MB": 1e6, "GB": 1e9}[unit]
    print(  # noqa: T201 - the figures are what the benchmark is for
        f"\n{name}, {workers} workers: planned {minutes} min, took {took:.2f}; "
        f"planned {written / 1e6:.0f} MB, wrote {wrote / 1e6:.0f}"
    )
    assert took / WITHIN <= float(minutes) <= took * WITHIN
    assert wrote / WITHIN <= written <= wrote * WITHIN


def packpale(*arguments):
    command = [sys.executable, "-m", "packpale.cli", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT)
    assert done.returncode == 0, done.stderr
    return done.stdout
