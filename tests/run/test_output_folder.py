"""The output folder: one run at a time, nothing half done, nothing lost, nothing outside it."""

import os
import subprocess
import sys
import unicodedata
from pathlib import Path

import pytest
from click.testing import CliRunner

from made_inputs import Made
from packpale.cli import commands
from packpale.faults import Faults
from packpale.run.output_folder import KEY, PARTIAL, folder_names, output_folder, put_in_place

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
    with output_folder(tmp_path):
        line = rf"^{tmp_path}: another run \(process {os.getpid()}\) is writing there; wait for its end or choose .+$"
        with pytest.raises(Faults, match=line), output_folder(tmp_path):
            pass
        # Being refused leaves the first one's hold alone.
        with pytest.raises(Faults, match="another run"), output_folder(tmp_path):
            pass
    assert not (tmp_path / PARTIAL).exists()
    with output_folder(tmp_path):
        pass


def test_the_command_says_so_with_status_2(tmp_path):
    made = Made(tmp_path)
    config, out = made.text(made.settings_text(), "land.toml"), tmp_path / "out"
    with output_folder(out):
        done = CliRunner().invoke(commands, ["run", str(config), "--out", str(out)])
    assert done.exit_code == 2
    process = f"another run (process {os.getpid()})"
    assert done.stderr == f"{out}: {process} is writing there; wait for its end or choose another --out\n"


def test_a_killed_run_leaves_no_hold(tmp_path):
    code = (
        "import sys, time, pathlib; from packpale.run.output_folder import output_folder\n"
        "with output_folder(pathlib.Path(sys.argv[1])): print('held', flush=True); time.sleep(60)"
    )
    words = [sys.executable, "-c", code, str(tmp_path)]
    with subprocess.Popen(words, env=ENVIRONMENT, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout.readline() == "held\n"
        with pytest.raises(Faults, match=rf"another run \(process {other.pid}\)"), output_folder(tmp_path):
            pass
        other.kill()
    with output_folder(tmp_path):
        pass


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
    with output_folder(tmp_path) as name:
        assert [p.name for p in (tmp_path / PARTIAL).iterdir()] == [name]
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
        with output_folder(tmp_path) as name:
            built = folder_of(tmp_path / PARTIAL / name / "me-1" / "a", "new")
            monkeypatch.setattr(Path, "rename", once)
            put_in_place(built, target)

    with pytest.raises(KeyboardInterrupt):
        run()
    monkeypatch.undo()
    assert not target.exists()
    with output_folder(tmp_path):
        assert (target / "setting_out.csv").read_text(encoding="utf-8") == "new"


def test_a_worker_of_a_killed_run_puts_nothing_in_place(tmp_path):
    with output_folder(tmp_path):
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
        output_folder(out).__enter__()
    assert sorted(p.name for p in outside.iterdir()) == [KEY, "setting_out.csv"]


def test_a_link_in_the_place_of_a_plot_makes_way_and_what_it_leads_to_stays(tmp_path):
    outside = folder_of(tmp_path / "outside", "mine")
    (tmp_path / "out" / "plots").mkdir(parents=True)
    target = tmp_path / "out" / "plots" / "a"
    target.symlink_to(outside)
    with output_folder(tmp_path / "out") as name:
        put_in_place(folder_of(tmp_path / "out" / PARTIAL / name / "me-1" / "a", "new"), target)
    assert not target.is_symlink()
    assert (target / "setting_out.csv").read_text(encoding="utf-8") == "new"
    assert (outside / "setting_out.csv").read_text(encoding="utf-8") == "mine"


def test_folder_names_are_safe_and_never_shared():
    ids = [
        "north",
        "North",
        "nOrth",
        "../../etc",
        "a/b",
        "a:b",
        "con",
        "CON.txt",
        "",
        "x" * 200,
        ".",
        "..",
        "a b",
        "a-b",
    ]
    names = folder_names(ids)
    assert list(names) == ids
    assert len({n.casefold() for n in names.values()}) == len(ids)
    assert names["a-b"] == "a-b"
    for name in names.values():
        assert set(name) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-")
        assert 0 < len(name) <= 70
    assert names["con"] != "con"
    assert folder_names(ids[::-1]) == names


def test_folder_names_keep_letters_of_any_script(tmp_path):
    ids = ["Müllerwiese", "поле 3", "北の畑", "खेत", "pré-salé"]
    names = folder_names(ids)
    assert names["Müllerwiese"] == "Müllerwiese"
    assert names["北の畑"] == "北の畑"
    assert names["खेत"] == "खेत"
    assert names["поле 3"].startswith("поле-3-")
    for name in names.values():
        (tmp_path / name).mkdir()


def test_no_id_takes_the_folder_of_one_that_a_check_sum_was_put_behind():
    other = folder_names(["a b"])["a b"]
    for ids in ([other, "a b"], ["a b", other]):
        names = folder_names(ids)
        assert names[other] == other
        assert names["a b"] != other


def test_letters_that_a_disk_takes_for_the_same_get_folders_of_their_own():
    composed, apart = "caf\u00e9", "cafe\u0301"
    names = folder_names([composed, apart, "CAFÉ", "straße", "strasse"])
    assert len({unicodedata.normalize("NFC", n).casefold() for n in names.values()}) == 5


def test_the_longest_name_fits_a_disk(tmp_path):
    name = folder_names(["𝒳" * 300])["𝒳" * 300]
    (tmp_path / f"{name}.stage").touch()
    (tmp_path / name).mkdir()
