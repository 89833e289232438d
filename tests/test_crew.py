"""Which plots a worker process takes, and what becomes of it and of the others when it is lost."""

import os
import signal
import subprocess
import sys
from concurrent.futures import wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass

import psutil
import pytest

from made_workers import waited
from packpale.crew import FORKED, Apart, Crew, OneProcess
from packpale.many_plots import largest_first


@dataclass(frozen=True)
class Sized:
    """What of a job decides who takes it."""

    plot_id: str
    area_m2: float


def test_the_largest_plots_come_first():
    jobs = [Sized(f"{n}", area) for n, area in enumerate([3.0, 9.0, 1.0, 7.0, 9.0])]
    assert [job.plot_id for job in largest_first(jobs)] == ["1", "4", "3", "0", "2"]


def test_what_starts_the_processes_loads_no_heavy_library():
    """They are to load the rooms while the program does."""
    heavy = ["numpy", "numba", "geopandas", "rasterio", "shapely", "pydantic"]
    script = f"import sys, packpale.crew; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_each_call_has_a_process_of_its_own_and_no_more_than_so_many_are_made_at_one_time():
    with Apart(2) as apart:
        calls = [apart.submit(waited, 0.4) for _ in range(4)]
        # For the last there was room when another had ended, its process with it.
        assert sum(call.done() for call in calls) == 2
        assert sum(psutil.pid_exists(call.result()[0]) for call in calls[:2]) == 0
    processes, begun, ended = zip(*(call.result() for call in calls), strict=True)
    assert len({os.getpid(), *processes}) == 5
    assert not any(map(psutil.pid_exists, processes))
    assert max(sum(b <= moment < e for b, e in zip(begun, ended, strict=True)) for moment in begun) == 2


def test_what_goes_wrong_in_a_process_of_its_own_is_told_and_hinders_no_other():
    with Apart(1) as apart:
        no_number, lost, good = apart.submit(int, "no number"), apart.submit(os._exit, 1), apart.submit(int, "7")
    with pytest.raises(ValueError, match="invalid literal"):
        no_number.result()
    with pytest.raises(BrokenProcessPool):
        lost.result()
    assert good.result() == 7


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
def test_a_key_that_stops_the_run_while_its_processes_begin_to_load_is_told_by_the_run_alone():
    script = """
import os, signal, time
from packpale.crew import Crew
signal.signal(signal.SIGINT, signal.default_int_handler)
try:
    Crew(2).get_ready()
    time.sleep({wait})
    os.killpg(0, signal.SIGINT)
    time.sleep(10)
except KeyboardInterrupt:
    print("stopped", flush=True)
"""
    for pause in (0, 0.05, 0.3):
        command = [sys.executable, "-c", script.format(wait=pause)]
        done = subprocess.run(command, capture_output=True, text=True, check=True, start_new_session=True)
        assert (done.stdout, done.stderr) == ("stopped\n", "")


def test_workers_leave_the_key_that_stops_the_run_to_the_run():
    with Crew(2) as crew, OneProcess() as alone, Apart(2) as apart:
        crew.get_ready()
        calls = [processes.submit(signal.getsignal, signal.SIGINT) for processes in (crew, alone, apart)]
        assert [call.result() for call in calls] == [signal.SIG_IGN] * 3


@pytest.mark.parametrize("busy", ["Crew(2)", "OneProcess()", "Apart(2)"])
@pytest.mark.parametrize("idle", [True, False])
def test_a_key_that_stops_the_run_ends_its_processes_at_once_and_without_a_word(busy, idle):
    """Whether they compute or wait; those of a run that is stopped have nothing to tell."""
    script = f"""
import os, signal, time
from concurrent.futures import wait
from packpale.crew import Apart, Crew, OneProcess
signal.signal(signal.SIGINT, signal.default_int_handler)
try:
    with {busy} as processes:
        processes.submit(os.getpid).result()
        call = processes.submit(time.sleep, {0.001 if idle else 1000})
        time.sleep(0.3)
        os.killpg(0, signal.SIGINT)
        time.sleep(10)
except KeyboardInterrupt:
    print("stopped", flush=True)
"""
    command = [sys.executable, "-c", script]
    done = subprocess.run(command, capture_output=True, text=True, check=True, start_new_session=True, timeout=30)
    assert (done.stdout, done.stderr) == ("stopped\n", "")


@pytest.mark.skipif(not FORKED, reason="elsewhere workers start by themselves")
@pytest.mark.parametrize("threads", [0, 1])
def test_a_key_that_stops_the_run_waits_until_a_process_has_started(threads):
    """Else the process would be asked for by a run that is gone, and end in a traceback."""
    script = f"""
import os, signal, threading, time
from packpale.crew import stopped_later
signal.signal(signal.SIGINT, signal.default_int_handler)
for _ in range({threads}):
    threading.Thread(target=time.sleep, args=(1,), daemon=True).start()
try:
    with stopped_later():
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.1)
        print("started", flush=True)
except KeyboardInterrupt:
    print("stopped", flush=True)
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["started", "stopped"]
