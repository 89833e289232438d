"""Plots on a Dask cluster of this machine: same files, workers that end, a scheduler that is lost, workers unfit."""

import logging
import os
import pickle
import signal
import socket
import subprocess
import sys
import time
from concurrent.futures import CancelledError, Future
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from made_cluster import Machine, wait_until
from made_inputs import NORTH_PLOT, Made
from packpale import cli, cluster, many_plots, one_plot
from packpale.cluster import ClusterExecutor, WorkersEnded, cluster_executor, code_hash
from packpale.enclosure.proof import Prepared
from packpale.faults import Faults
from packpale.run import run
from packpale.site.inputs import open_inputs

cloudpickle = pytest.importorskip("cloudpickle", reason="the extra cluster is not installed")
KilledWorker = pytest.importorskip("distributed", reason="the extra cluster is not installed").KilledWorker
pytest.importorskip("distributed", reason="the extra cluster is not installed")


@pytest.fixture(scope="module")
def machine(tmp_path_factory):
    """A cluster of this machine; the last test of the file breaks it."""
    made = Machine(tmp_path_factory.mktemp("cluster"))
    yield made
    made.stop()


@pytest.fixture
def looked_at(tmp_path):
    """What a worker looks at, all as it should be."""
    mark, file = tmp_path / "mark-1", tmp_path / "dem.tif"
    mark.write_text(mark.name, encoding="utf-8")
    file.write_bytes(b"1234")
    return {"mark": mark, "files": {str(file): 4}, "versions": cluster._versions(), "code": code_hash()}


def test_a_worker_in_order_has_nothing_to_say(looked_at):
    assert cluster._looking(**looked_at)() == []


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"mark": Path("/no/such/folder/mark-1")}, "cannot read and write the output folder"),
        (
            {"files": {"/no/such/dem.tif": 4}},
            "does not see 1 of 1 input files as they are here, such as /no/such/dem.tif",
        ),
        ({"versions": {"numpy": "1.0"}}, f"has numpy {version('numpy')}, here 1.0; install packpale"),
        ({"code": "0"}, "has another packpale than the"),
    ],
)
def test_a_worker_says_what_is_not_in_order(looked_at, other, said):
    lines = cluster._looking(**{**looked_at, **other})()
    assert len(lines) == 1
    assert said in lines[0]


def test_a_file_of_another_size_and_another_folder_of_that_name_are_told(looked_at):
    Path(*looked_at["files"]).write_bytes(b"12345")
    looked_at["mark"].write_text("mark-2", encoding="utf-8")
    lines = cluster._looking(**looked_at)()
    assert [line.split(";")[-1] for line in lines] == [" share folder and inputs with it under the same path"] * 2
    assert "has another folder at" in lines[0]
    assert "does not see 1 of 1" in lines[1]


def test_a_worker_without_packpale_can_be_asked(looked_at):
    script = "import sys, pickle; sys.modules['packpale'] = None; print(pickle.load(sys.stdin.buffer)())"
    sent = cloudpickle.dumps(cluster._looking(**looked_at))
    done = subprocess.run([sys.executable, "-c", script], input=sent, capture_output=True, check=True)
    assert "cannot use packpale" in done.stdout.decode()


def test_what_many_workers_say_is_one_line():
    lines = cluster._by_worker({"c": ["is late"], "a": ["is late", "is old"], "b": ["is late"]})
    assert lines == ["worker a and 2 more: is late", "worker a: is old"]


def test_nothing_at_the_address_and_no_extra_are_one_line(tmp_path, monkeypatch):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    monkeypatch.setattr(cluster, "CONNECT_S", 0.2)
    with (
        pytest.raises(Faults, match=f"--cluster {address}: no scheduler answers"),
        cluster_executor(address, folder=tmp_path, files=[]),
    ):
        pass
    monkeypatch.setitem(sys.modules, "distributed", None)
    with (
        pytest.raises(Faults, match=r'not installed; pip install "packpale\[cluster\]"'),
        cluster_executor(address, folder=tmp_path, files=[]),
    ):
        pass


def test_a_worker_that_comes_late_with_another_packpale_computes_nothing():
    with pytest.raises(Faults, match=r"worker on .*: has another packpale; install packpale"):
        cluster._alone("of another packpale", pytest.fail)


class Client:
    """Stands for a connection: what a call ends with, and which workers there are."""

    def __init__(self, ends_with=None):
        self.ends_with, self.workers, self.status = ends_with, {"a": {}}, "running"
        self.scheduler_comm = SimpleNamespace(comm=SimpleNamespace(closed=lambda: False))

    def get_executor(self, **_options):
        return self

    def submit(self, *_call):
        ended = Future()
        ended.set_exception(self.ends_with)
        return ended

    def scheduler_info(self):
        return {"workers": self.workers}


@pytest.mark.parametrize(
    ("ended", "told", "said"),
    [
        (KilledWorker("a plot", "a worker", 3), WorkersEnded, "each worker computing this plot was ended from outside"),
        (ModuleNotFoundError("not here", name="packpale"), Faults, "a worker has no packpale; install packpale"),
        (CancelledError(), Faults, "the connection to the scheduler was lost"),
        (ZeroDivisionError("no such luck"), ZeroDivisionError, "no such luck"),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, BaseException) else "",
)
def test_what_ended_a_call_is_told(ended, told, said):
    executor = ClusterExecutor(Client(ended), "tcp://192.0.2.7:8786")
    with pytest.raises(told, match=said):
        executor.submit(len, "abc").result(timeout=1)


def test_a_cluster_without_workers_is_given_up_after_a_while(monkeypatch):
    client = Client()
    executor = ClusterExecutor(client, "tcp://192.0.2.7:8786")
    now = time.monotonic()
    monkeypatch.setattr(time, "monotonic", lambda: now + 1000)
    executor.raise_if_lost()
    client.workers = {}
    monkeypatch.setattr(time, "monotonic", lambda: now + 1050)
    executor.raise_if_lost()
    monkeypatch.setattr(time, "monotonic", lambda: now + 1070)
    with pytest.raises(Faults, match="no worker is left; start some, and the same command goes on"):
        executor.raise_if_lost()


def test_a_plot_whose_workers_were_ended_fails_and_the_run_goes_on():
    ended = Future()
    ended.set_exception(WorkersEnded("each worker was ended"))
    outcome = many_plots._ended(ended, SimpleNamespace(plot_id="north"))
    assert (outcome.plot_id, outcome.status, outcome.reason) == ("north", "failed", "each worker was ended")


def test_workers_read_the_inputs_of_a_run_from_one_file(tmp_path, monkeypatch):
    made = Made(tmp_path)
    project = made.project()
    inputs = open_inputs(project)
    (tmp_path / ".partial").mkdir()
    jobs = [one_plot.Job(inputs, project, p.plot_id, p.plot_id, tmp_path, "key") for p in inputs.plots]
    file = many_plots._shared_in_a_file(jobs)
    assert file.parent == tmp_path / ".partial"
    assert one_plot._read_back(file) == inputs
    # What a process of this machine has prepared beside them is taken over when they are read.
    taken = []
    monkeypatch.setattr(Prepared, "take_over", lambda prepared: taken.append((prepared.p, prepared.q)))
    file = many_plots._shared_in_a_file(jobs, Prepared((0.1, 0.5), (0.2, 1.2), tables=None))
    assert one_plot._read_back(file) == inputs
    assert taken == [((0.1, 0.5), (0.2, 1.2))]
    assert len(pickle.dumps(replace(jobs[0], inputs=file))) < len(pickle.dumps(jobs[0]))


def test_a_connection_lost_while_a_result_is_on_its_way_has_no_message_of_the_library(tmp_path, monkeypatch, caplog):
    distributed = pytest.importorskip("distributed", reason="the extra cluster is not installed")

    def refused(*_given, **_options):
        raise OSError("refused")

    monkeypatch.setattr(distributed, "Client", refused)
    with (
        pytest.raises(Faults, match="no scheduler answers"),
        cluster_executor("tcp://192.0.2.7:8786", folder=tmp_path, files=[]),
    ):
        pass
    for error in (distributed.comm.CommClosedError("stream is closed"), ValueError("something else")):
        try:
            raise error
        except (OSError, ValueError):
            logging.getLogger("tornado.application").exception("in a callback")
    assert [str(record.exc_info[1]) for record in caplog.records] == ["something else"]


def test_workers_beside_a_cluster_are_refused():
    command = ["run", "demo.toml", "--workers", "2", "--cluster", "tcp://127.0.0.1:1"]
    done = CliRunner().invoke(cli.commands, command)
    assert done.exit_code == 2
    assert "--workers: has no effect beside --cluster" in done.stderr


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


def waiting_call(folder):
    """A call for a worker: notes the worker's process in a file, then waits until it is told to go on."""
    script = f'echo $PPID >> "{folder}/seen"; while [ ! -e "{folder}/go" ]; do sleep 0.02; done'
    return subprocess.call, ["sh", "-c", script]


def seen(folder):
    file = folder / "seen"
    return [int(line) for line in file.read_text(encoding="utf-8").split()] if file.exists() else []


def test_a_worker_ended_hands_its_call_to_another_and_a_lost_scheduler_is_told(machine, tmp_path):
    with cluster_executor(machine.address, folder=tmp_path, files=[machine.file]) as executor:
        assert not list(tmp_path.glob("mark-*"))
        call = executor.submit(*waiting_call(tmp_path))
        wait_until(lambda: seen(tmp_path))
        os.kill(seen(tmp_path)[0], signal.SIGKILL)
        wait_until(lambda: len(seen(tmp_path)) == 2)
        assert not call.done()
        (tmp_path / "go").touch()
        assert call.result(timeout=30) == 0
        assert len(set(seen(tmp_path))) == 2
        # The worker left has two threads and still makes one call at a time.
        (tmp_path / "go").unlink()
        calls = [executor.submit(*waiting_call(tmp_path)) for _ in range(2)]
        wait_until(lambda: len(seen(tmp_path)) == 3)
        time.sleep(0.3)
        assert len(seen(tmp_path)) == 3
        executor.raise_if_lost()
        machine.scheduler.kill()
        for lost in calls:
            with pytest.raises(Faults, match=r"connection to the scheduler was lost.*the same command goes on"):
                lost.result(timeout=30)
        with pytest.raises(Faults, match="connection to the scheduler was lost"):
            executor.raise_if_lost()
        (tmp_path / "go").touch()
