"""Which plots a worker process takes, and what becomes of it and of the others when it is lost."""

import os
import signal
import subprocess
import sys
from concurrent.futures import wait
from dataclasses import dataclass

import numpy as np
import psutil
import pytest

from packpale.crew import FORKED, Crew, in_shares, next_job
from packpale.many_plots import FEW_EACH, shared_out


@pytest.mark.parametrize("number", [1, 2, 3, 7, 12])
def test_a_share_holds_neighbours_and_shares_are_alike_in_size(number):
    jobs = list(range(12))
    shares = in_shares(jobs, number)
    assert [job for share in shares for job in share] == jobs
    assert max(map(len, shares)) - min(map(len, shares)) <= 1
    assert len(shares) == number


def test_who_has_done_his_share_takes_the_last_of_the_largest():
    shares = in_shares(list(range(9)), 3)
    assert [next_job(shares, 0) for _ in range(3)] == [0, 1, 2]
    assert next_job(shares, 1) == 3
    assert next_job(shares, 0) == 8
    assert next_job(shares, 2) == 6


@dataclass(frozen=True)
class Sized:
    """What of a job decides who takes it."""

    plot_id: str
    area_m2: float


def test_of_few_plots_the_largest_come_first_and_many_stay_beside_each_other():
    few = [Sized(f"{n}", area) for n, area in enumerate([3.0, 9.0, 1.0, 7.0, 5.0])]
    assert [[job.area_m2 for job in share] for share in shared_out(few, 2)] == [[9.0, 5.0, 1.0], [7.0, 3.0]]
    many = [Sized(f"{n}", n % 7) for n in range(FEW_EACH * 2 + 1)]
    assert [job for share in shared_out(many, 2) for job in share] == many


def test_what_starts_the_processes_loads_no_heavy_library():
    """They are to load the rooms while the program does."""
    heavy = ["numpy", "numba", "geopandas", "rasterio", "shapely", "pydantic"]
    script = f"import sys, packpale.crew; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_job_is_given_once_whoever_asks():
    asking = iter(np.random.default_rng(4).integers(3, size=100).tolist())
    shares = in_shares(list(range(40)), 3)
    given = []
    while (job := next_job(shares, next(asking))) is not None:
        given.append(job)
    assert sorted(given) == list(range(40))
    assert [next_job(shares, n) for n in range(3)] == [None] * 3


def test_a_lost_process_makes_way_for_another_and_leaves_the_others_alone():
    with Crew(2) as crew:
        crew.get_ready()
        first, second = (crew.submit(os.getpid).result() for _ in range(2))
        assert first != second
        os.kill(first, signal.SIGKILL)
        while psutil.pid_exists(first):
            # What it is given before its end is seen is lost with it.
            wait([crew.submit(os.getpid), crew.submit(os.getpid)])
        found = {crew.submit(os.getpid).result() for _ in range(4)}
    assert second in found
    assert first not in found
    assert len(found) == 2
    assert crew.at_hand is None


@pytest.mark.skipif(not FORKED, reason="elsewhere workers start by themselves")
def test_a_key_that_stops_the_run_waits_until_a_process_has_started():
    """Else the process would be asked for by a run that is gone, and end in a traceback."""
    script = """
import os, signal
from packpale.crew import stopped_later
signal.signal(signal.SIGINT, signal.default_int_handler)
try:
    with stopped_later():
        os.kill(os.getpid(), signal.SIGINT)
        print("started", flush=True)
except KeyboardInterrupt:
    print("stopped", flush=True)
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["started", "stopped"]
