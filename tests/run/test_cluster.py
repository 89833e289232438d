"""Plots on a Dask cluster of this machine: same files, workers that end, a scheduler that is lost, workers unfit."""

import logging
import os
import re
import signal
import socket
import sys
import time
import warnings
from concurrent.futures import CancelledError
from dataclasses import replace

import pytest
from click.testing import CliRunner

from made_cluster import Machine, wait_until
from made_inputs import NORTH_PLOT, Made
from packpale import cli
from packpale.faults import Faults
from packpale.run import cluster as clusters
from packpale.run.cache_key import code_digest
from packpale.run.cluster import cluster
from packpale.run.output_folder import output_folder
from packpale.run.plot import Job, PlotOutcome, compute_plot, lacks
from packpale.run.pool import Plots, Progress, ThisProcess
from packpale.run.run import run
from packpale.site.inputs import open_inputs

distributed = pytest.importorskip("distributed", reason="the extra cluster is not installed")


@pytest.fixture(scope="module")
def machine(tmp_path_factory):
    """A cluster of this machine; the last test of the file breaks it."""
    made = Machine(tmp_path_factory.mktemp("cluster"))
    yield made
    made.stop()


def test_nothing_at_the_address_and_no_extra_are_one_line(monkeypatch):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    monkeypatch.setattr(clusters, "CONNECT_S", 0.2)
    with pytest.raises(Faults, match=f"--cluster {address}: no scheduler answers"), cluster(address):
        pass
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(Faults, match=r'not installed; pip install "packpale\[cluster\]"'), cluster(address):
        pass


class Client:
    """Stands for a connection: its state, which workers there are, and what they say of their versions."""

    def __init__(self, said=""):
        self.workers, self.status, self.said = {"a": {}}, "running", said

    def wait_for_workers(self, *_, **__):
        if not self.workers:
            raise TimeoutError

    def get_versions(self, *, check, packages):
        assert check
        assert {"packpale", "numpy", "shapely"} <= set(packages)
        if self.said:
            warnings.warn(self.said, stacklevel=1)

    def get_executor(self, **options):
        self.options = options
        return ThisProcess()

    def nthreads(self):
        return dict.fromkeys(self.workers, 1)

    def scheduler_info(self):
        return {"workers": self.workers}

    def close(self, **_):
        self.status = "closed"


@pytest.fixture
def connected(monkeypatch):
    """Makes a stand-in what the library connects to."""

    def connect(client):
        monkeypatch.setattr(distributed, "Client", lambda *_, **__: client)
        return cluster("tcp://192.0.2.7:8786")

    return connect


def test_workers_with_other_versions_are_told_in_one_line(connected):
    rows = ["| Package | Client | Scheduler | Workers |", "| numpy | 2.4.0 | 2.4.0 | {'2.3.1', '2.4.0'} |"]
    table = "\n".join(["+---+", rows[0], "+---+", rows[1], "+---+"])
    with pytest.raises(Faults) as refused, connected(Client(f"Mismatched versions found\n\n{table}")):
        pass
    (line,) = refused.value.lines
    assert "(package, here, scheduler, workers): numpy 2.4.0 2.4.0 {'2.3.1', '2.4.0'}; install the same" in line


def test_a_cluster_without_workers_is_told(connected):
    client = Client()
    client.workers = {}
    with pytest.raises(Faults, match=r"has no worker; start some with `dask worker tcp://192\.0\.2\.7:8786"):
        connected(client).__enter__()


def test_a_cluster_that_loses_its_workers_is_given_up_after_a_while(connected, monkeypatch):
    client = Client()
    with connected(client) as (_, check):
        now = time.monotonic()
        monkeypatch.setattr(time, "monotonic", lambda: now + 1000)
        check()
        client.workers = {}
        monkeypatch.setattr(time, "monotonic", lambda: now + 1050)
        check()
        monkeypatch.setattr(time, "monotonic", lambda: now + 1070)
        with pytest.raises(Faults, match="no worker is left; start some, and the same command goes on"):
            check()


def test_a_worker_that_lacks_something_gets_no_more_and_is_told_once(connected, monkeypatch):
    client = Client()
    client.workers = {"a": {}, "b": {}, "c": {}}
    monkeypatch.setattr(clusters, "_on_worker", lambda fn, *args: fn(*args))
    with connected(client) as (workers, _):
        assert workers.submit(abs, -3).result() == 3
        assert "workers" not in client.options
        refused = PlotOutcome("north", "failed", "worker on k: does not see dem.tif", 0.0, None, unfit=True, worker="b")
        assert workers.refused(refused) == "worker on k: does not see dem.tif; its plots go to other workers (b)"
        assert workers.refused(replace(refused, plot_id="south")) == ""
        workers.submit(abs, -3)
        assert (client.options["workers"], client.options["allow_other_workers"]) == (["a", "c"], True)
        # One that comes later gets plots too.
        client.workers["d"] = {}
        workers.submit(abs, -3)
        assert client.options["workers"] == ["a", "c", "d"]
        client.workers = {"b": {}}
        monkeypatch.setattr(clusters, "NO_WORKER_S", 0.3)
        with pytest.raises(Faults, match=r"no worker can compute plots: worker on k: does not see dem\.tif; then"):
            workers.refused(refused)


@pytest.mark.parametrize(
    ("error", "status", "told"),
    [
        (CancelledError(), "running", Faults),
        (RuntimeError("closed"), "connecting", Faults),
        (ZeroDivisionError("no such luck"), "running", ZeroDivisionError),
    ],
    ids=["call given up", "connection lost", "something else"],
)
def test_a_lost_scheduler_is_told_as_such_and_nothing_else_is(connected, error, status, told):
    client = Client()

    def broken():
        with connected(client):
            client.status = status
            raise error

    with pytest.raises(told) as found:
        broken()
    assert ("the connection to the scheduler was lost" in str(found.value)) is (told is Faults)


def test_loggers_of_libraries_are_as_before_afterwards(connected):
    logger = logging.getLogger("tornado.application")
    logger.setLevel(logging.WARNING)
    with connected(Client()):
        assert logger.level > logging.CRITICAL
    assert logger.level == logging.WARNING


def test_workers_beside_a_cluster_are_refused():
    command = ["run", "demo.toml", "--workers", "2", "--cluster", "tcp://127.0.0.1:1"]
    done = CliRunner().invoke(cli.commands, command)
    assert done.exit_code == 2
    assert "--workers: has no effect beside --cluster" in done.stderr


@pytest.fixture
def job(tmp_path):
    """A job as a worker gets it."""
    made = Made(tmp_path)
    project = made.project()
    inputs = open_inputs(project)
    plot_id = inputs.plots[0].plot_id
    with output_folder(tmp_path / "out") as name:
        yield Job(inputs, 1, project, plot_id, "a", tmp_path / "out", "key", name, code=code_digest())


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"code": "of another packpale"}, "has another packpale than the run; install the same on every worker"),
        ({"run": "elsewhere"}, "does not see the output folder .*; share folder and inputs under the same path"),
    ],
    ids=["code", "folder"],
)
def test_a_worker_that_is_not_as_it_should_be_computes_nothing(job, change, said):
    outcome = compute_plot(replace(job, **change))
    assert outcome.status == "failed"
    assert outcome.unfit
    assert re.fullmatch(f"worker on .*: {said}", outcome.reason)
    assert not job.finished.exists()
    assert not outcome.traceback


def test_a_plot_of_an_unfit_worker_is_computed_by_another(job):
    """Two workers see no output folder, one no elevation, the last everything."""
    elevation = job.inputs.elevation
    gone = replace(elevation, tiles=tuple(replace(t, files=(t.path / "x", *t.files)) for t in elevation.tiles))
    changes = [{"run": "elsewhere"}, {"run": "elsewhere"}, {"inputs": replace(job.inputs, elevation=gone)}, {}]
    told, seen = [], []

    class Three(ThisProcess):
        def submit(self, fn, job):
            changed = replace(job, **changes[len(seen)])
            missing = clusters._missing_input(changed)
            seen.append(missing)
            return super().submit(lambda: lacks(job, f"does not see {missing}") if missing else fn(changed))

    def refused(outcome):
        assert outcome.unfit
        return outcome.reason

    progress = Progress(1)
    plots = Plots([job], progress, lambda p, _: told.extend(p.remarks))
    assert plots.compute(Three(), at_once=1, memory=1e12, refused=refused) == []
    assert plots.outcomes[job.plot_id].status == "done"
    assert (progress.done, progress.failed) == (1, 0)
    assert [m.name if m else None for m in seen] == [None, None, "x", None]
    # Once, though nobody took them away.
    assert len(progress.remarks) == len(progress.told) == 2
    assert "does not see the output folder" in told[0]
    assert re.search(r"worker on .*: does not see .*x; share folder and inputs", " ".join(told))


@pytest.fixture
def config(tmp_path):
    """Settings with one small plot."""
    made = Made(tmp_path)
    made.plots(("north", NORTH_PLOT))
    text = 'crs = "EPSG:25832"\n[inputs]\nelevation = "dem.tif"\nplots = "own.gpkg"\nplot_id = "name"\n'
    return made.text(text + "[land]\nmargin_m = 10\n[run]\ndraws = 1000\n", "small.toml")


def test_a_run_has_the_same_bytes_as_without_a_cluster(machine, config, tmp_path, monkeypatch):
    run(config, out=tmp_path / "here")
    monkeypatch.chdir(tmp_path)
    on_cluster = ["run", "small.toml", "--out", "there", "--cluster", machine.address]
    done = CliRunner().invoke(cli.commands, on_cluster)
    assert done.exit_code == 0, done.stderr
    assert csv_files(tmp_path / "here") == csv_files(tmp_path / "there")
    assert len(csv_files(tmp_path / "there")) > 3
    assert not (tmp_path / "there" / ".partial").exists()


def csv_files(folder):
    return {f.relative_to(folder).as_posix(): f.read_bytes() for f in sorted(folder.rglob("*.csv"))}


def test_a_worker_ended_hands_its_call_to_another_and_a_lost_scheduler_ends_the_run(machine, tmp_path):
    begun = tmp_path / "begun"
    script = f'import os, time; open("{begun}", "a").write(f"{{os.getpid()}}\\n"); time.sleep(60)'

    def work():
        with cluster(machine.address) as (on, check):
            call = on.submit(exec, script)
            wait_until(lambda: begun.exists() and begun.read_text(encoding="utf-8"))
            os.kill(int(begun.read_text(encoding="utf-8")), signal.SIGKILL)
            wait_until(lambda: len(begun.read_text(encoding="utf-8").split()) == 2)
            assert not call.done()
            check()
            machine.scheduler.kill()
            wait_until(lambda: lost(check) or call.done())
            check()
            call.result(timeout=1)

    with pytest.raises(Faults, match="the connection to the scheduler was lost"):
        work()


def lost(check):
    try:
        check()
    except Faults:
        return True
    return False
