"""Plots in parallel: which come first, how many at one time, what becomes of killed workers, Ctrl-C."""

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import CancelledError, Executor, Future
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from pathlib import Path

import pytest

import made_workers
from packpale.run import pool
from packpale.run.memory import worker_bytes
from packpale.run.output_folder import PARTIAL
from packpale.run.plot import Job, PlotOutcome
from packpale.run.pool import Plots, Progress, compute_here
from packpale.settings import read_settings

ROOT = Path(__file__).parents[2]
ENVIRONMENT = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT / "pipeline"), str(ROOT / "tests")])}


def jobs_of(out, *kinds, cells=1):
    """Jobs without inputs: each fails, unless its kind does something worse first."""
    (out / PARTIAL / "run").mkdir(parents=True, exist_ok=True)
    project = read_settings(ROOT / "config" / "demo.toml")
    sizes = cells if isinstance(cells, list) else [cells] * len(kinds)
    return [
        kind(None, size, project, f"{kind.__name__}{n}", f"{n}", out, "")
        for n, (kind, size) in enumerate(zip(kinds, sizes, strict=True))
    ]


def silent(progress, finished):
    pass


class Held(Executor):
    """An executor whose calls end only when they are let go; it notes what it was given."""

    def __init__(self):
        self.given, self.running = [], []

    def submit(self, fn, job):
        call = Future()
        self.given.append(job.plot_id)
        self.running.append((job, call))
        return call

    def let_go(self, *_):
        if self.running:
            job, call = self.running.pop(0)
            call.set_result(PlotOutcome(job.plot_id, "done", "", 1.0, None))


def most_at_once(jobs, **limits):
    """How many calls an executor ever had, and in which order it was given them."""
    executor = Held()
    most = 0

    def look():
        nonlocal most
        most = max(most, len(executor.running))
        executor.let_go()

    plots = Plots(jobs, Progress(total=len(jobs)), silent)
    # Futures are waited for a second at a time; nobody has to wait here.
    with pytest.MonkeyPatch.context() as quick:
        quick.setattr(pool, "wait", lambda running, **_: ([f for f in running if f.done()], None))
        quick.setattr(pool, "LOOK_S", 0.0)
        assert plots.compute(executor, check=look, **limits) == []
    assert set(plots.outcomes) == {job.plot_id for job in jobs}
    return most, executor.given


def test_the_largest_plots_come_first(tmp_path):
    jobs = jobs_of(tmp_path, *[Job] * 5, cells=[3, 9, 1, 7, 9])
    _, order = most_at_once(jobs, at_once=2, memory=1e12)
    assert order == ["Job1", "Job4", "Job3", "Job0", "Job2"]


def test_plots_of_about_one_size_stay_in_their_order(tmp_path):
    jobs = jobs_of(tmp_path, *[Job] * 4, cells=[140_000, 4, 160_000, 500_000])
    _, order = most_at_once(jobs, at_once=2, memory=1e12)
    assert order == ["Job3", "Job0", "Job2", "Job1"]


@pytest.mark.parametrize(
    ("memory", "most"),
    [
        pytest.param(1e12, 4, id="as many as there are workers"),
        pytest.param(3.5 * worker_bytes(1_000_000), 3, id="as many as there is memory for"),
        pytest.param(0.5 * worker_bytes(1_000_000), 1, id="one at least"),
    ],
)
def test_no_more_plots_at_one_time_than_workers_and_memory_allow(tmp_path, memory, most):
    jobs = jobs_of(tmp_path, *[Job] * 8, cells=1_000_000)
    assert most_at_once(jobs, at_once=4, memory=memory)[0] == most


def test_a_large_plot_has_fewer_small_ones_beside_it(tmp_path):
    jobs = jobs_of(tmp_path, *[Job] * 3, cells=[10_000_000, 1, 1])
    assert most_at_once(jobs, at_once=3, memory=worker_bytes(10_000_000) + 1.5 * worker_bytes(1))[0] == 2


def test_what_a_worker_gets_is_made_when_it_is_sent(tmp_path):
    made = []

    def send(job):
        made.append(job.plot_id)
        return replace(job, cells=7)

    class Full(Held):
        """Looks at what it is given."""

        def submit(self, fn, job):
            assert job.cells == 7
            # No more are made than are being computed.
            assert len(made) == len(self.given) + 1
            return super().submit(fn, job)

    jobs = jobs_of(tmp_path, *[Job] * 5)
    executor = Full()
    plots = Plots(jobs, Progress(5), silent, send)
    with pytest.MonkeyPatch.context() as quick:
        quick.setattr(pool, "LOOK_S", 0.0)
        plots.compute(executor, at_once=2, memory=1e12, check=executor.let_go)
    assert made == executor.given == [f"Job{n}" for n in range(5)]


def compiled(monkeypatch, *, before):
    monkeypatch.setattr(pool, "compiled_before", lambda: before)


def test_a_plot_whose_worker_is_killed_twice_fails_and_the_others_end(tmp_path, monkeypatch):
    compiled(monkeypatch, before=True)
    kinds = [made_workers.Deadly, *[made_workers.Slow] * 5]
    outcomes = compute_here(jobs_of(tmp_path, *kinds), workers=2, memory=1e12, progress=Progress(6), watch=silent)
    assert len(outcomes) == 6
    assert {o.status for o in outcomes.values()} == {"failed"}
    assert outcomes["Deadly0"].reason == (
        "the process computing this plot was ended from outside, twice, perhaps for lack of memory; "
        "use fewer --workers, a smaller land.margin_m, or a larger land.cell_m"
    )
    others = {o.reason for name, o in outcomes.items() if name != "Deadly0"}
    assert others == {"AttributeError: 'NoneType' object has no attribute 'plot'"}
    # Those that were not begun when the worker was killed go on in parallel, not one by one.
    rows = (tmp_path / "processes").read_text(encoding="utf-8").split("\n")
    assert len({row.split()[1] for row in rows if row}) < 5


def test_a_plot_whose_worker_is_killed_once_is_computed_again(tmp_path, monkeypatch):
    compiled(monkeypatch, before=True)
    kinds = [made_workers.DeadlyOnce, made_workers.Slow]
    outcomes = compute_here(jobs_of(tmp_path, *kinds), workers=2, memory=1e12, progress=Progress(2), watch=silent)
    assert (tmp_path / "DeadlyOnce0-died").exists()
    assert {o.reason for o in outcomes.values()} == {"AttributeError: 'NoneType' object has no attribute 'plot'"}


def test_where_nothing_is_compiled_one_plot_is_computed_before_the_others(tmp_path, monkeypatch):
    compiled(monkeypatch, before=False)
    seen = []

    def watch(progress, finished):
        seen.append((progress.compiling, finished.plot_id if finished else None))

    jobs = jobs_of(tmp_path, *[made_workers.Slow] * 3, cells=[3, 2, 1])
    progress = Progress(3)
    outcomes = compute_here(jobs, workers=2, memory=1e12, progress=progress, watch=watch)
    assert len(outcomes) == 3
    assert seen[0] == (True, None)
    assert next(plot for _, plot in seen if plot) == "Slow0"
    assert not any(compiling for compiling, plot in seen if plot)
    first, *others = (tmp_path / "processes").read_text(encoding="utf-8").splitlines()
    assert first.split()[0] == "Slow0"
    assert first.split()[1] not in {row.split()[1] for row in others}


def test_code_that_is_kept_on_disk_counts_as_compiled(tmp_path, monkeypatch):
    from packpale.enclosure import _kernels

    class Stats:
        cache_path = str(tmp_path)

    class Kernel:
        stats = Stats

    monkeypatch.setattr(_kernels, "refine", Kernel)
    assert not pool.compiled_before()
    (tmp_path / "_kernels.refine-12.py311.nbi").touch()
    assert pool.compiled_before()


def test_a_lost_pool_never_ends_in_a_loop(tmp_path, monkeypatch):
    class Broken(Executor):
        def submit(self, *_):
            raise BrokenProcessPool

    compiled(monkeypatch, before=True)
    jobs = jobs_of(tmp_path, Job, Job)
    plots = Plots(jobs, Progress(2), silent)
    assert [job.plot_id for job in plots.compute(Broken(), at_once=2, memory=1e12)] == ["Job0"]
    assert [job.plot_id for job in plots.waiting] == ["Job1"]


class Failing(Executor):
    """An executor whose calls end with an error of its own."""

    def __init__(self, error):
        self.error = error

    def submit(self, *_):
        call = Future()
        call.set_exception(self.error)
        return call


def test_a_plot_that_an_executor_loses_fails_and_the_others_go_on(tmp_path):
    plots = Plots(jobs_of(tmp_path, Job, Job), Progress(2), silent)
    plots.compute(Failing(RuntimeError("all workers died")), at_once=1, memory=1e12)
    assert {o.reason for o in plots.outcomes.values()} == {"RuntimeError: all workers died"}
    assert len(plots.outcomes) == 2


def test_a_call_that_is_given_up_ends_the_run(tmp_path):
    plots = Plots(jobs_of(tmp_path, Job, Job), Progress(2), silent)
    with pytest.raises(CancelledError):
        plots.compute(Failing(CancelledError()), at_once=1, memory=1e12)


def test_a_worker_ends_with_the_run_that_started_it():
    words = [sys.executable, made_workers.__file__]
    with subprocess.Popen(words, env=ENVIRONMENT, stdout=subprocess.PIPE, text=True) as run:
        worker = int(run.stdout.readline())
        os.kill(worker, 0)
        run.kill()
    deadline = time.monotonic() + 10
    while time.monotonic() < deadline and alive(worker):
        time.sleep(0.02)
    assert not alive(worker)


def alive(pid):
    try:
        # A process that has ended, but that nobody has asked for its status yet, is no longer alive.
        return Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def test_workers_leave_ctrl_c_to_the_run(tmp_path, monkeypatch):
    compiled(monkeypatch, before=True)
    seen = []

    class Asked(Executor):
        """Hands each call on to a worker, and asks it what it does at Ctrl-C."""

        def __init__(self, workers):
            self.workers = workers

        def submit(self, fn, job):
            seen.append(self.workers.submit(signal.getsignal, signal.SIGINT))
            return self.workers.submit(fn, job)

    with pool.process_pool(2) as workers:
        Plots(jobs_of(tmp_path, Job, Job), Progress(2), silent).compute(Asked(workers), at_once=2, memory=1e12)
        assert [call.result() for call in seen] == [signal.SIG_IGN] * 2
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


CTRL_C = """
import os, signal, sys, time
from packpale.cli.messages import errors_as_lines
from packpale.run.pool import _ctrl_c_for_this_process_alone, process_pool
if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)
    with errors_as_lines(debug=False):
        with process_pool(2) as pool:
            with _ctrl_c_for_this_process_alone():
                calls = [pool.submit(time.sleep, 1000) for _ in range(3)]
            time.sleep({wait})
            print(time.time(), flush=True)
            os.killpg(0, signal.SIGINT)
            calls[0].result()
"""


@pytest.mark.parametrize("pause", [0, 0.05, 1.0], ids=["starting", "loading", "computing"])
def test_ctrl_c_ends_the_run_and_its_workers_at_once_with_one_line(tmp_path, pause):
    script = tmp_path / "run.py"
    script.write_text(CTRL_C.format(wait=pause), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, str(script)],
        capture_output=True,
        text=True,
        check=False,
        start_new_session=True,
        timeout=30,
        env=ENVIRONMENT,
    )
    assert (done.returncode, done.stderr) == (130, "stopped; the same command goes on where it was\n")
    assert time.time() - float(done.stdout) < 10
