"""The output folder: one run at a time, nothing half done, nothing lost, nothing outside it."""

import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import made_workers
from made_inputs import Made
from packpale.cli import commands
from packpale.faults import LESS_MEMORY, Faults, in_words
from packpale.holding import KEY, PARTIAL, held, put_in_place
from packpale.many_plots import Progress, compute_here
from packpale.settings import read_settings

ROOT = Path(__file__).parents[2]
ENVIRONMENT = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT / "pipeline"), str(ROOT / "tests")])}


def folder_of(path, text, *, complete=True):
    """A plot's folder with one file, and its keys where it is complete."""
    path.mkdir(parents=True)
    (path / "setting_out.csv").write_text(text, encoding="utf-8")
    if complete:
        (path / KEY).write_text("one\ntwo\n", encoding="utf-8")
    return path


def test_a_second_run_in_the_same_folder_is_refused(tmp_path):
    with held(tmp_path):
        line = rf"^{tmp_path}: another run \(process {os.getpid()}\) is writing there; wait for its end or choose .+$"
        with pytest.raises(Faults, match=line), held(tmp_path):
            pass
        # Being refused leaves the first one's hold alone.
        with pytest.raises(Faults, match="another run"), held(tmp_path):
            pass
    assert not (tmp_path / PARTIAL).exists()
    with held(tmp_path):
        pass


def test_the_command_says_so_with_status_2(tmp_path):
    made = Made(tmp_path)
    config, out = made.text(made.settings_text(), "land.toml"), tmp_path / "out"
    with held(out):
        done = CliRunner().invoke(commands, ["run", str(config), "--out", str(out)])
    assert done.exit_code == 2
    process = f"another run (process {os.getpid()})"
    assert done.stderr == f"{out}: {process} is writing there; wait for its end or choose another --out\n"


def test_a_killed_run_leaves_no_hold(tmp_path):
    code = (
        "import sys, time, pathlib; from packpale.holding import held\n"
        "with held(pathlib.Path(sys.argv[1])): print('held', flush=True); time.sleep(60)"
    )
    words = [sys.executable, "-c", code, str(tmp_path)]
    with subprocess.Popen(words, env=ENVIRONMENT, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout.readline() == "held\n"
        with pytest.raises(Faults, match=rf"another run \(process {other.pid}\)"), held(tmp_path):
            pass
        other.kill()
    with held(tmp_path):
        pass


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


@pytest.mark.parametrize(
    ("finished", "built", "moved", "expected"),
    [
        pytest.param(None, "new", "old", "new", id="killed between the two renames"),
        pytest.param(None, None, "old", "old", id="and what was built is lost"),
        pytest.param("new", None, "old", "new", id="killed before the old one was cleared away"),
        pytest.param("old", "new", None, "old", id="killed before the first rename"),
        pytest.param(None, "new", None, "new", id="killed before a first plot was put in place"),
    ],
)
def test_a_finished_plot_is_never_lost(tmp_path, finished, built, moved, expected):
    aside = tmp_path / PARTIAL / "0a1b2c3d" / "host.domain-12"
    for text, path in ((finished, tmp_path / "plots" / "a"), (built, aside / "a"), (moved, aside / "a.old")):
        if text is not None:
            folder_of(path, text)
    folder_of(aside / "b", "half", complete=False)
    with held(tmp_path) as name:
        assert sorted(p.name for p in (tmp_path / PARTIAL).iterdir()) == [name, "run.lock"]
    assert [p.name for p in (tmp_path / "plots").iterdir()] == ["a"]
    assert (tmp_path / "plots" / "a" / "setting_out.csv").read_text(encoding="utf-8") == expected


def test_killed_between_the_two_renames_the_new_plot_is_put_in_place(tmp_path, monkeypatch):
    target = folder_of(tmp_path / "plots" / "a", "old")
    rename = Path.rename

    def once(path, to):
        if path.name == "a" and path.parent.name == "me-1":
            raise KeyboardInterrupt
        return rename(path, to)

    def run():
        with held(tmp_path) as name:
            built = folder_of(tmp_path / PARTIAL / name / "me-1" / "a", "new")
            monkeypatch.setattr(Path, "rename", once)
            put_in_place(built, target)

    with pytest.raises(KeyboardInterrupt):
        run()
    monkeypatch.undo()
    assert not target.exists()
    with held(tmp_path):
        assert (target / "setting_out.csv").read_text(encoding="utf-8") == "new"


def test_a_worker_of_a_killed_run_puts_nothing_in_place(tmp_path):
    with held(tmp_path):
        late = folder_of(tmp_path / PARTIAL / "another" / "me-1" / "a", "late")
        with pytest.raises(RuntimeError, match="another run has taken over the output folder"):
            put_in_place(late, tmp_path / "plots" / "a")
    assert not (tmp_path / "plots" / "a").exists()


@pytest.mark.parametrize("part", [PARTIAL, "plots"])
def test_a_link_that_leads_out_of_the_folder_is_refused(tmp_path, part):
    outside = folder_of(tmp_path / "outside", "mine")
    out = tmp_path / "out"
    out.mkdir()
    (out / part).symlink_to(outside)
    with pytest.raises(Faults, match=rf"^{out / part}: is a link, and nothing outside {out} is written; remove it$"):
        held(out).__enter__()
    assert sorted(p.name for p in outside.iterdir()) == [KEY, "setting_out.csv"]


def test_a_link_in_the_place_of_a_plot_makes_way_and_what_it_leads_to_stays(tmp_path):
    outside = folder_of(tmp_path / "outside", "mine")
    (tmp_path / "out" / "plots").mkdir(parents=True)
    target = tmp_path / "out" / "plots" / "a"
    target.symlink_to(outside)
    with held(tmp_path / "out") as name:
        put_in_place(folder_of(tmp_path / "out" / PARTIAL / name / "me-1" / "a", "new"), target)
    assert not target.is_symlink()
    assert (target / "setting_out.csv").read_text(encoding="utf-8") == "new"
    assert (outside / "setting_out.csv").read_text(encoding="utf-8") == "mine"


def test_a_plot_whose_worker_is_killed_is_tried_alone_and_the_others_end_together(tmp_path):
    (tmp_path / PARTIAL).mkdir()
    # Without inputs a job fails; one ends its process on top of that.
    kinds = [made_workers.Deadly, *[made_workers.Told] * 6]
    project = read_settings(ROOT / "config" / "demo.toml")
    jobs = [kind(None, project, f"{kind.__name__}{n}", f"{n}", tmp_path, "") for n, kind in enumerate(kinds)]
    outcomes = compute_here(jobs, 2, Progress(total=7), lambda progress, finished: None)
    assert len(outcomes) == 7
    assert {o.status for o in outcomes.values()} == {"failed"}
    assert outcomes["Deadly0"].reason == (
        "the process computing this plot was ended from outside, perhaps for lack of memory; "
        "use fewer --workers, a smaller run.memory_mb or land.margin_m, or a larger land.cell_m"
    )
    others = {o.reason for name, o in outcomes.items() if name != "Deadly0"}
    assert others == {"AttributeError: 'NoneType' object has no attribute 'plot'"}
    # One process each would take as long as starting it.
    assert len(set((tmp_path / "processes").read_text(encoding="utf-8").split())) <= 4


def test_trouble_with_memory_and_disk_is_said_with_what_to_do():
    with pytest.raises(MemoryError) as memory:
        np.empty(1 << 50)
    assert in_words(memory.value) == (
        "not enough memory (Unable to allocate 8.00 PiB for an array with shape (1125899906842624,) and data type "
        "float64); use fewer --workers, a smaller run.memory_mb or land.margin_m, or a larger land.cell_m"
    )
    for said in (OSError(12, "Cannot allocate memory", "dem.tif"), RuntimeError("can't start new thread")):
        assert in_words(said) == f"not enough memory ({said}); {LESS_MEMORY}"
    broken = Faults(["dem.tif: cannot be read to its end; supply a whole file"])
    broken.__cause__ = ValueError("VSIMalloc3(): Out of memory allocating 4096 bytes")
    assert in_words(broken) == f"not enough memory ({broken}); {LESS_MEMORY}"
    # A name in an input is no lack of memory.
    assert in_words(Faults(["out of memory.tif: is no raster"])) == "out of memory.tif: is no raster"
    assert in_words(ImportError("x.so: failed to map segment from shared object: Operation not permitted")) == (
        "ImportError: x.so: failed to map segment from shared object: Operation not permitted"
    )
    with pytest.raises(OSError, match="No space") as full, open("/dev/full", "w", encoding="utf-8") as file:
        file.write("x")
    assert in_words(full.value) == (
        "No space left on device; make room and start the same command again, it goes on where it was"
    )
    with pytest.raises(OSError, match="Not a directory") as closed:
        Path("/dev/null/out").mkdir()
    assert in_words(closed.value) == "/dev/null/out: Not a directory; choose another --out, or allow writing there"
