"""The front door: commands say what they do, faults come as lines on stderr with the right exit status."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from packpale import cli
from packpale.run import run
from packpale.values import register
from packpale.values.curves import criteria, shallow_excavations

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def packpale(*arguments, cwd=ROOT):
    """Run the command as a user does."""
    command = [sys.executable, "-m", "packpale.cli", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=cwd, env=os.environ)


def test_every_command_has_an_example_and_stands_in_readme():
    for name, command in cli.commands.commands.items():
        assert f"Example: packpale {name}" in command.help
        assert f"`packpale {name}" in README


def test_every_option_stands_in_readme():
    for name, command in cli.commands.commands.items():
        row = re.search(rf"(?m)^\| `packpale {name}[^\n]*", README).group()
        options = {o for p in command.params for o in p.opts if o.startswith("--")} - {"--debug"}
        assert all(option in row for option in options), (name, options)


def test_sources_lists_every_default_with_status_and_source():
    done = packpale("sources")
    assert done.returncode == 0
    for value in register().values():
        assert f"{value.key} = {value.number}" in done.stdout
        assert f"{value.status}: {value.source}" in done.stdout
    curves = [*shallow_excavations().values(), *criteria().values()]
    assert len(curves) > 10
    for curve in curves:
        assert f"{curve.subject}, {curve.quantity}: 0 at {curve.zero_at:g}, 1 at {curve.one_at:g}" in done.stdout
        assert f"{curve.status}: {curve.source}" in done.stdout


def test_comparisons_that_are_missing_are_faults_before_anything_is_computed(tmp_path):
    text = (ROOT / "config" / "real_ground.toml").read_text(encoding="utf-8")
    text = text.replace("../data_samples", (ROOT / "data_samples").as_posix()).replace("[land]", PAIRWISE + "[land]", 1)
    settings = tmp_path / "land.toml"
    settings.write_text(text, encoding="utf-8")
    done = packpale("check", settings)
    assert done.returncode == 2
    assert "pairwise" in done.stderr
    assert "diggability" in done.stderr


PAIRWISE = "[land.pairwise]\nslope = {drainage = 2}\ndiggability = {drainage = 3}\n"


def test_faults_are_lines_on_stderr_and_exit_2_and_nothing_is_written(tmp_path):
    settings = tmp_path / "land.toml"
    settings.write_text('[inputs]\nelevation = "no.tif"\nplots = "no.gpkg"\nplot_id = "id"\n', encoding="utf-8")
    for command in (["check", settings], ["run", settings, "--out", tmp_path / "out"]):
        done = packpale(*command)
        assert done.returncode == 2
        assert done.stdout == ""
        lines = done.stderr.strip().splitlines()
        assert len(lines) == 2
        assert any("no.tif" in line for line in lines)
        assert any("no.gpkg" in line for line in lines)
    assert not (tmp_path / "out").exists()


def test_start_then_check_is_valid(tmp_path):
    real = ROOT / "data_samples" / "real"
    done = packpale(
        "start", tmp_path / "land", "--elevation", real / "lidar_1m_utm15n.tif", "--plots", real / "plots.geojson"
    )
    assert done.returncode == 0, done.stderr
    target = tmp_path / "land" / "packpale.toml"
    assert done.stdout.splitlines()[-1] == f"next: packpale check {target}"
    checked = packpale("check", target)
    assert checked.returncode == 0, checked.stderr
    assert "no fault; 3 plots" in checked.stdout
    again = packpale("start", tmp_path / "land")
    assert again.returncode == 2
    assert "exists and is not overwritten" in again.stderr


def test_an_error_in_the_program_is_one_line_and_exit_1_and_a_traceback_only_on_request(monkeypatch):
    def broken(*_args, **_kwargs):
        raise ZeroDivisionError("no such luck")

    monkeypatch.setattr(run, "run", broken)
    short = CliRunner().invoke(cli.commands, ["run", "x.toml"])
    assert short.exit_code == 1
    assert short.stderr.strip().splitlines() == [
        "error in the program: ZeroDivisionError: no such luck; --debug shows where"
    ]
    long = CliRunner().invoke(cli.commands, ["run", "x.toml", "--debug"])
    assert long.exit_code == 1
    assert "Traceback" in long.stderr


def test_stopping_says_that_the_run_goes_on(monkeypatch):
    def stopped(*_args, **_kwargs):
        raise KeyboardInterrupt

    monkeypatch.setattr(run, "run", stopped)
    result = CliRunner().invoke(cli.commands, ["run", "x.toml"])
    assert result.exit_code == 130
    assert "goes on where it was" in result.stderr


def test_readme_commands_for_own_land_exist():
    used = set(re.findall(r"packpale (start|run|check|sources|fit|compare)\b", README))
    assert used <= set(cli.commands.commands)


@pytest.mark.parametrize("config", sorted((ROOT / "config").glob("*.toml")), ids=lambda p: p.stem)
def test_ready_made_settings_have_no_fault(config):
    done = packpale("check", config)
    assert done.returncode == 0, done.stderr
    assert "no fault" in done.stdout


def test_each_process_works_with_one_thread_where_nobody_says_otherwise(monkeypatch):
    monkeypatch.setattr(os, "environ", {"OMP_NUM_THREADS": "3"})
    monkeypatch.setattr("sys.argv", ["packpale", "--help"])
    with pytest.raises(SystemExit):
        cli.main()
    assert os.environ == {"OMP_NUM_THREADS": "3", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
