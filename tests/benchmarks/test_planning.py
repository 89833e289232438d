"""A plan against the run that it plans, in processor time, so that other work on the machine does not count."""

import re
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from packpale.planning import WITHIN

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", ["demo", "real_ground", "highland_screening"])
def test_a_run_takes_what_was_planned(name, tmp_path):
    config = ROOT / "config" / f"{name}.toml"
    planned = packpale("check", config, "--plan", "--workers", 1)
    minutes = float(re.search(r"time: 1 worker ([\d.]+) min", planned).group(1))
    size, unit = re.search(r"writes: about ([\d.]+) (MB|GB)", planned).groups()
    before = processor_minutes()
    packpale("run", config, "--out", tmp_path / "out", "--workers", 1)
    took = processor_minutes() - before
    wrote = sum(f.stat().st_size for f in (tmp_path / "out" / "plots").rglob("*") if f.is_file())
    written = float(size) * {"MB": 1e6, "GB": 1e9}[unit]
    print(  # noqa: T201 - the figures are what the benchmark is for
        f"\n{name}: planned {minutes} min, took {took:.2f}; planned {written / 1e6:.0f} MB, wrote {wrote / 1e6:.0f}"
    )
    assert took / WITHIN <= minutes <= took * WITHIN
    assert wrote / WITHIN <= written <= wrote * WITHIN


def processor_minutes():
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return (used.ru_utime + used.ru_stime) / 60


def packpale(*arguments):
    command = [sys.executable, "-m", "packpale.cli", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT)
    assert done.returncode == 0, done.stderr
    return done.stdout
