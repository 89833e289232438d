"""What a change between two runs makes the second one do again, and what trouble while writing leaves behind.

The rooms between reading and writing stand aside here (`quick_runs.py`); whole runs with all rooms are in
`test_going_on.py`.
"""

import errno
import json
import os
import re
import shutil
import signal
import warnings
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner
from shapely.affinity import translate
from shapely.geometry import LineString, MultiPolygon, Point, box

from made_inputs import CRS, NORTH, NORTH_PLOT, SOUTH_PLOT, WEST, Made, centres, plane, write_raster, write_vector
from packpale.cli import commands
from packpale.faults import LESS_MEMORY
from packpale.run.output_folder import PARTIAL
from packpale.run.run import ERRORS
from quick_runs import PLOTS, WEST_PLOT, let_rooms_stand_aside, run


@pytest.fixture
def made(tmp_path, monkeypatch):
    """Three plots, and rooms that only say how high the ground is."""
    let_rooms_stand_aside(monkeypatch)
    made = Made(tmp_path)
    made.plots(*PLOTS.items())
    return made


def redone(made, **options):
    done, statuses = run(made, **options)
    assert done.exit_code == 0, done.output
    assert set(statuses) == set(PLOTS)
    assert not (made.folder / "out" / PARTIAL).exists()
    return {name for name, status in statuses.items() if status == "done"}


def test_nothing_changed_nothing_is_redone(made):
    assert redone(made) == set(PLOTS)
    assert redone(made) == set()


def test_a_changed_plot_alone_is_redone(made):
    redone(made)
    made.plots(("north", translate(NORTH_PLOT, 1)), ("south", SOUTH_PLOT), ("west", WEST_PLOT))
    assert redone(made) == {"north"}
    assert redone(made) == set()


def test_ground_that_changed_under_one_plot_redoes_that_one_and_those_whose_views_and_water_it_may_change(
    made, monkeypatch
):
    redone(made)
    values = plane(*centres(200, 200)).astype("float32")
    values[130:140, 120:140] += 1
    write_raster(made.folder / "dem.tif", values)
    assert redone(made) == set(PLOTS)
    # Farther away than ground counts it is no matter.
    monkeypatch.setattr("packpale.site.around.FAR_M", 5.0)
    run(made, "--fresh")
    values[130:140, 120:140] += 1
    write_raster(made.folder / "dem.tif", values)
    assert redone(made) == {"south"}


def test_ground_that_changed_farther_away_than_it_counts_redoes_none(made, monkeypatch):
    monkeypatch.setattr("packpale.site.around.FAR_M", 5.0)
    redone(made)
    values = plane(*centres(200, 200)).astype("float32")
    values[0:5, 190:200] += 1
    write_raster(made.folder / "dem.tif", values)
    assert redone(made) == set()


def test_a_pit_redoes_the_plots_it_reaches(made):
    near = f"x,y,depth_to_rock_m\n{WEST + 50},{NORTH - 50},1.0\n"
    made.pits(near)
    redone(made)
    # So far that it is nearest to no cell, and pulls none.
    made.pits(near + f"{WEST + 50_000},{NORTH},3.0\n")
    assert redone(made) == set()
    made.pits(near.replace("1.0", "1.1"))
    assert redone(made) == set(PLOTS)


def test_surroundings_redo_the_plots_within_reach(made):
    def cables(*lines):
        rows = [({"name": "x"}, line) for line in lines]
        made.inputs["services"] = write_vector(made.folder / "s.gpkg", rows)

    near = LineString([(WEST + 30, NORTH - 12), (WEST + 35, NORTH - 17)])
    cables(near)
    redone(made)
    cables(near, LineString([(WEST + 9000, NORTH), (WEST + 9000, NORTH - 10)]))
    assert redone(made) == set()
    cables(translate(near, 1))
    assert redone(made) == {"north"}
    made.inputs["dwellings"] = write_vector(made.folder / "d.gpkg", [({"name": "x"}, Point(WEST + 90_000, NORTH))])
    # That dwellings are given counts, though none is near: their distance is told as "far" from then on.
    assert redone(made) == set(PLOTS)


def test_settings_redo_every_plot(made):
    redone(made)
    assert redone(made, more="max_slope_deg = 10\n") == set(PLOTS)


def test_settings_that_only_the_run_s_files_depend_on_redo_none_and_stand_in_them(made):
    redone(made)
    more = "[ranking]\nweights = {land = 1, space = 0, price = 0}\n[run]\nmemory_mb = 3000\n"
    assert redone(made, more=more) == set()
    record = json.loads((made.folder / "out" / "run.json").read_text(encoding="utf-8"))
    assert record["settings"]["ranking"]["weights"] == {"land": 1.0, "space": 0.0, "price": 0.0}


def test_inputs_that_change_places_redo_every_plot_they_concern(made):
    """The same files under other keys of the settings."""
    for name, line in (
        ("a", LineString([(WEST + 30, NORTH - 12), (WEST + 35, NORTH - 17)])),
        ("b", LineString([(WEST + 60, NORTH - 30), (WEST + 65, NORTH - 35)])),
    ):
        write_vector(made.folder / f"{name}.gpkg", [({"name": name}, line)])
    made.inputs |= {"access": made.folder / "a.gpkg", "services": made.folder / "b.gpkg"}
    redone(made)
    assert redone(made) == set()
    made.inputs |= {"access": made.folder / "b.gpkg", "services": made.folder / "a.gpkg"}
    assert redone(made) == set(PLOTS)


def test_tiles_in_another_order_are_looked_at_again(made):
    """Where tiles overlap the first one counts."""
    made.raster(plane(*centres(200, 200)).astype("float32") + 5, file="other.tif")
    made.inputs["elevation"] = ["dem.tif", "other.tif"]
    redone(made)
    made.inputs["elevation"] = ["other.tif", "dem.tif"]
    assert redone(made) == set(PLOTS)


def test_a_change_of_the_code_redoes_every_plot(made, monkeypatch):
    redone(made)
    monkeypatch.setattr("packpale.run.cache_key.code_digest", lambda: "of other code")
    monkeypatch.setattr("packpale.run.run.code_digest", lambda: "of other code")
    monkeypatch.setattr("packpale.run.plot.code_digest", lambda: "of other code")
    assert redone(made) == set(PLOTS)


def test_an_input_that_changes_while_a_run_goes_on_is_told_and_the_next_run_redoes_what_it_concerns(made, monkeypatch):
    from packpale.review import plot as rooms

    write, dem = rooms.write_plot, made.folder / "dem.tif"
    before = dem.read_bytes()
    values = plane(*centres(200, 200)).astype("float32") + 1
    written = []

    def changing(result, project, folder):
        # The first plot is read before, the others after.
        if not written:
            write_raster(dem, values)
        written.append(result.site.plot_id)
        return write(result, project, folder)

    with monkeypatch.context() as once:
        once.setattr(rooms, "write_plot", changing)
        done, _ = run(made)
    assert done.exit_code == 2
    line = f"{dem}: changed while the run was going on; start the same command again, it redoes what that concerns"
    assert done.stderr.splitlines()[-1] == line
    # The file is as it was when the run began.
    dem.write_bytes(before)
    assert len(written) == 3
    assert redone(made) == set(written[1:])


def test_a_file_that_comes_beside_an_input_while_a_run_goes_on_is_told(made, monkeypatch):
    """Such as the log of a GeoPackage that somebody edits."""
    from packpale.review import plot as rooms

    write, log = rooms.write_plot, made.folder / "own.gpkg-wal"

    def editing(result, project, folder):
        log.write_bytes(b"rows")
        return write(result, project, folder)

    with monkeypatch.context() as once:
        once.setattr(rooms, "write_plot", editing)
        done, _ = run(made)
    assert done.exit_code == 2
    assert f"{log}: changed while the run was going on" in done.stderr


def warnings_of(made):
    return json.loads((made.folder / "out" / "run.json").read_text(encoding="utf-8"))["warnings"]


def test_results_that_an_earlier_run_left_are_told(made, monkeypatch):
    redone(made)
    assert not [w for w in warnings_of(made) if "earlier run" in w]
    made.plots(("north", NORTH_PLOT), ("south", translate(SOUTH_PLOT, 1)))

    def failing(site, land, project):
        raise ValueError("no")

    monkeypatch.setattr("packpale.enclosure.place.place", failing)
    done, statuses = run(made)
    assert done.exit_code == 3
    assert statuses == {"north": "kept", "south": "failed"}
    told = [w.split()[2] for w in warnings_of(made) if "left from an earlier run" in w]
    assert told == ["plots/south", "plots/west"]


def test_fresh_redoes_every_plot(made):
    redone(made)
    done, statuses = run(made, "--fresh")
    assert done.exit_code == 0
    assert set(statuses.values()) == {"done"}


def test_a_damaged_result_is_redone(made):
    redone(made)
    plots = made.folder / "out" / "plots"
    (plots / "north" / "result.json").write_text("{", encoding="utf-8")
    (plots / "south" / "key.txt").write_text("", encoding="utf-8")
    shutil.move(plots / "west", made.folder / "elsewhere")
    (plots / "west").symlink_to(made.folder / "elsewhere")
    assert redone(made) == set(PLOTS)
    assert not (plots / "west").is_symlink()


def test_a_corrupt_tile_in_the_middle_fails_its_plot_and_the_others_end(made):
    values = plane(*centres(208, 208)).astype("float32")
    options = {"tiled": True, "blockxsize": 16, "blockysize": 16, "compress": "deflate"}
    made.raster(values, file="tiled.tif", **options)
    whole = (made.folder / "tiled.tif").read_bytes()
    # Find the block at the middle of the southern plot: its bytes alone change when its cells do.
    values[144:160, 128:144] += np.arange(16, dtype="float32")
    write_raster(made.folder / "other.tif", values, **options)
    other = (made.folder / "other.tif").read_bytes()
    first = next(i for i, (a, b) in enumerate(zip(whole, other, strict=False)) if a != b and i > 8000)
    (made.folder / "tiled.tif").write_bytes(whole[:first] + bytes(24) + whole[first + 24 :])
    done, statuses = run(made)
    failed = [name for name, status in statuses.items() if status == "failed"]
    assert done.exit_code == 3, done.output
    assert len(failed) == 1
    line = f"plot {failed[0]}: failed: tiled.tif: cannot be read to its end ("
    assert sum(said.startswith(line) for said in done.stderr.splitlines()) == 1
    assert [name for name, status in statuses.items() if status == "done"] == [p for p in PLOTS if p not in failed]
    assert not (made.folder / "out" / "plots" / failed[0]).exists()
    # The check, which computes nothing, has it as a fault.
    checked = CliRunner().invoke(commands, ["check", str(made.folder / "land.toml")])
    assert checked.exit_code == 2
    assert checked.stderr.startswith(f'plot "{failed[0]}": tiled.tif: cannot be read to its end (')
    (made.folder / "tiled.tif").write_bytes(whole)
    # The others too: what lies round them was not known.
    assert redone(made) == set(PLOTS)


@pytest.mark.parametrize("writes", range(6))
def test_a_disk_that_fills_up_fails_plots_or_ends_the_run_and_the_next_goes_on(made, monkeypatch, writes):
    whole = made.folder / "whole"
    redone(made)
    (made.folder / "out").rename(whole)
    left = writes

    def room(*_):
        nonlocal left
        left -= 1
        if left < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "some file")

    write_text = type(whole).write_text

    def filling(path, text, **options):
        if path.suffix in (".csv", ".txt", ".json"):
            write_text(path, text[: len(text) // 2], **options)
            room()
        return write_text(path, text, **options)

    with monkeypatch.context() as full:
        full.setattr(type(whole), "write_text", filling)
        done, _ = run(made)
    trouble = (
        "some file: No space left on device while writing (the output folder|the plot's files|the run's files); "
        "make room and start the same command again, it goes on where it was$"
    )
    said = done.stderr.splitlines()
    assert done.exit_code in (2, 3)
    assert re.search(trouble, said[-1])
    assert "Traceback" not in done.output
    # The run's own file could not be written either, or all was.
    finished = {p.name for p in (made.folder / "out" / "plots").glob("*")}
    assert len(finished) == min(writes // 2, 3)
    assert redone(made) == set(PLOTS) - finished
    for name in PLOTS:
        files = [sorted(p.name for p in (base / "plots" / name).iterdir()) for base in (whole, made.folder / "out")]
        assert files[0] == files[1]
        one, two = ((base / "plots" / name / "setting_out.csv").read_bytes() for base in (whole, made.folder / "out"))
        assert one == two


def test_a_disk_that_is_full_at_the_end_is_said_with_the_folder(made, monkeypatch):
    def full(*_, **__):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("packpale.review.run.write_run", full)
    done, _ = run(made)
    assert done.exit_code == 2
    todo = "make room and start the same command again, it goes on where it was"
    what = "No space left on device while writing the run's files"
    assert done.stderr.splitlines()[-1] == f"{made.folder / 'out'}: {what}; {todo}"


def test_where_files_of_two_runs_may_be_mixed_there_is_no_record(made, monkeypatch):
    """run.json says that the files beside it belong together."""
    redone(made)
    replace = Path.replace

    def stopped(path, target):
        if path.name == "ranking.csv":
            raise KeyboardInterrupt
        return replace(path, target)

    with monkeypatch.context() as once:
        once.setattr(Path, "replace", stopped)
        done, _ = run(made)
    assert done.exit_code == 130
    assert not (made.folder / "out" / "run.json").exists()
    redone(made)
    assert (made.folder / "out" / "run.json").exists()


def test_plots_that_failed_are_told_when_the_end_of_the_run_fails_too(made, monkeypatch):
    def no_room(*_, **__):
        raise MemoryError

    monkeypatch.setattr("packpale.review.run.write_run", no_room)
    monkeypatch.setattr("packpale.enclosure.place.place", no_room)
    done, _ = run(made)
    assert done.exit_code == 2
    failed = [f"plot {name}: failed: not enough memory; {LESS_MEMORY}" for name in PLOTS]
    assert done.stderr.splitlines()[-4:] == [*failed, f"not enough memory; {LESS_MEMORY}"]


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="limits the memory of a copy of this process")
def test_a_plot_too_large_for_the_memory_there_is_fails_and_the_next_run_completes_it(made):
    import resource

    # Two pieces of ground far apart: little to read, and a window of some 2,250 x 2,250 cells round them.
    beyond = 2000.0
    tile = write_raster(made.folder / "far.tif", west=WEST + beyond, north=NORTH - beyond)
    made.inputs["elevation"].append(tile)
    far = MultiPolygon([box(WEST + 110, NORTH - 90, WEST + 170, NORTH - 20), translate(SOUTH_PLOT, beyond, -beyond)])
    made.plots(*PLOTS.items(), ("far", far))
    copy = _forked()
    if copy == 0:
        try:
            pages = int(Path("/proc/self/statm").read_text(encoding="utf-8").split()[0])
            limit = pages * resource.getpagesize() + 100_000_000
            resource.setrlimit(resource.RLIMIT_AS, (limit, resource.getrlimit(resource.RLIMIT_AS)[1]))
            done, statuses = run(made)
            told = {"exit": done.exit_code, "plots": statuses, "said": done.stderr.splitlines()}
            (made.folder / "told.json").write_text(json.dumps(told), encoding="utf-8")
        finally:
            os._exit(0)
    os.waitpid(copy, 0)
    told = json.loads((made.folder / "told.json").read_text(encoding="utf-8"))
    assert told["exit"] == 3
    assert told["plots"] == {**dict.fromkeys(PLOTS, "done"), "far": "failed"}
    (line,) = [said for said in told["said"] if said.startswith("plot far: failed: ")]
    assert line.startswith("plot far: failed: not enough memory (Unable to allocate ")
    assert line.endswith(f"; {LESS_MEMORY}")
    out = made.folder / "out"
    assert {p.name for p in (out / "plots").iterdir()} == set(PLOTS)
    assert not (out / PARTIAL).exists()
    done, statuses = run(made)
    assert done.exit_code == 0, done.stderr
    assert statuses == {**dict.fromkeys(PLOTS, "kept"), "far": "done"}


def _forked():
    """A copy of this process, as os.fork."""
    with warnings.catch_warnings():
        # From Python 3.12 on a fork is warned of where libraries have started threads; the copy needs none of them.
        warnings.simplefilter("ignore", DeprecationWarning)
        return os.fork()


@pytest.mark.parametrize("free", [1_000_000, 1_000_000_000], ids=["a full disk", "room enough"])
def test_trouble_of_a_library_on_a_full_disk_is_told_as_a_full_disk(made, monkeypatch, free):
    # GDAL and others do not say that it was for lack of room.
    def broken(*_, **__):
        raise RuntimeError("write failed")

    monkeypatch.setattr("packpale.run.plot.shutil.disk_usage", lambda _: SimpleNamespace(free=free))
    with monkeypatch.context() as at_the_end:
        at_the_end.setattr("packpale.review.run.write_run", broken)
        done, _ = run(made)
    said = done.stderr.splitlines()[-1]
    if free > 1e7:
        assert (done.exit_code, said) == (1, "error in the program: RuntimeError: write failed; --debug shows where")
    else:
        todo = "make room and start the same command again, it goes on where it was"
        what = "No space left on device while writing the run's files"
        assert (done.exit_code, said) == (2, f"{made.folder / 'out'}: {what}; {todo}")
    monkeypatch.setattr("packpale.review.plot.write_plot", broken)
    done, statuses = run(made, "--fresh")
    assert set(statuses.values()) == {"failed"}
    hint = "; less than 10 MB are free: make room and start the same command again" if free < 1e7 else ""
    where = made.folder / "out" / ERRORS
    assert f"plot north: failed: RuntimeError: write failed{hint}; {where} shows where" in done.stderr.splitlines()
    assert where.read_text(encoding="utf-8").count("in broken") == 3


def test_nothing_is_written_outside_the_output_folder_whatever_plots_are_called_and_links_lead_to(made):
    outside = made.folder / "outside"
    outside.mkdir()
    for name in ("ranking.csv", "run.json"):
        (outside / name).write_text("mine", encoding="utf-8")
    out = made.folder / "out"
    out.mkdir()
    for name in ("ranking.csv", "run.json"):
        (out / name).symlink_to(outside / name)
    made.plots(("../../evil", NORTH_PLOT), ("/etc", SOUTH_PLOT), ("..", WEST_PLOT))
    made.text(made.settings_text(), "land.toml")
    before = {p for p in made.folder.rglob("*") if out not in p.parents}
    done, statuses = run(made)
    assert done.exit_code == 0, done.output
    assert set(statuses) == {"../../evil", "/etc", ".."}
    assert {p for p in made.folder.rglob("*") if out not in p.parents} == before
    assert {(outside / name).read_text(encoding="utf-8") for name in ("ranking.csv", "run.json")} == {"mine"}
    assert not (out / "ranking.csv").is_symlink()
    assert len({p.parent for p in (out / "plots").glob("*/setting_out.csv")}) == 3


def test_an_output_folder_that_cannot_be_written_is_said_in_one_line(made, monkeypatch):
    def read_only(path, *_, **__):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS), str(path))

    monkeypatch.setattr("packpale.run.output_folder.Path.mkdir", read_only)
    done, _ = run(made)
    assert done.exit_code == 2
    where = made.folder / "out" / PARTIAL
    todo = "allow writing there, or choose another folder"
    assert done.stderr == f"{where}: Read-only file system while making the output folder; {todo}\n"


def test_notes_that_hold_for_all_plots_are_told_and_redo_none(made):
    redone(made)
    rows = [({"name": "a"}, Point(WEST + 50_000, NORTH))]
    made.inputs["services"] = write_vector(made.folder / "s.gpkg", rows, crs=CRS)
    redone(made)
    write_vector(made.folder / "s.gpkg", [*rows, ({"name": "b"}, None)], crs=CRS)
    assert redone(made) == set()
    record = json.loads((made.folder / "out" / "run.json").read_text(encoding="utf-8"))
    assert "s.gpkg: 1 of 2 features have no geometry and were left out." in record["warnings"]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a copy of this process")
@pytest.mark.parametrize("renames", [0, 1, 2, 5, 6, 7])
def test_killed_before_any_rename_the_next_run_ends_with_the_same_bytes(made, monkeypatch, renames):
    # Two renames for each of three plots that stand already, then one for each of the run's own two files.
    redone(made)
    out = made.folder / "out"
    before = contents(out)
    left = renames

    def killed_at_last(rename):
        def renaming(path, target):
            nonlocal left
            left -= 1
            if left < 0:
                os.kill(os.getpid(), signal.SIGKILL)
            return rename(path, target)

        return renaming

    with monkeypatch.context() as deadly:
        for name in ("rename", "replace"):
            deadly.setattr(Path, name, killed_at_last(getattr(Path, name)))
        copy = _forked()
        if copy == 0:
            try:
                run(made, "--fresh")
            finally:
                os._exit(0)
        _, status = os.waitpid(copy, 0)
    assert os.WIFSIGNALED(status)
    assert os.WTERMSIG(status) == signal.SIGKILL
    assert (out / PARTIAL).exists()
    complete = {key.parent.name.removesuffix(".old") for key in out.rglob("key.txt")}
    assert complete == set(PLOTS)
    # Whatever was whole is kept, the plots put aside among them.
    assert redone(made) == set()
    assert contents(out) == before


def contents(out):
    """Every file but run.json, which says how long each plot took."""
    files = (p for p in out.rglob("*") if p.is_file() and p.name != "run.json")
    return {p.relative_to(out).as_posix(): p.read_bytes() for p in files}
