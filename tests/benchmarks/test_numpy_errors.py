"""Whole runs, pages and drawings included, in which numpy raises what it otherwise warns of, or says nothing of."""

import warnings
from pathlib import Path

import numpy as np
import pytest

from packpale.run.run import run

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", ["demo", "real_ground", "highland_screening"])
def test_a_run_gives_numpy_nothing_to_complain_of(name, tmp_path):
    with warnings.catch_warnings(), np.errstate(divide="raise", over="raise", invalid="raise"):
        # What underflows is a decayed exponential, and zero is its value.
        warnings.simplefilter("error")
        outcome = run(ROOT / "config" / f"{name}.toml", out=tmp_path / "out")
    assert [p.reason for p in outcome.plots if p.status != "done"] == []
