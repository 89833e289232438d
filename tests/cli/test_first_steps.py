"""The page for first-time users: its commands are typed as they stand, and what it says appears does appear."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image

from made_inputs import NORTH_PLOT, write_raster, write_vector
from packpale.cli import commands

CONFIG = Path(__file__).parents[2] / "config"
PAGE = (CONFIG / "FIRST-STEPS.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```(\w+)\n(.*?)```", PAGE, re.DOTALL)
TYPED = [line for kind, text in BLOCKS if kind == "sh" for line in text.splitlines() if "packpale " in line]
SHOWN = [text.splitlines() for kind, text in BLOCKS if kind == "text"]


def typed(line):
    words = line.removeprefix(".venv/bin/packpale ").split()
    return CliRunner().invoke(commands, words)


def test_the_example_is_started_and_what_appears_is_what_stands_there(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    start, run = TYPED[:2]
    done = typed(start)
    assert done.exit_code == 0, done.output
    appeared = done.output.splitlines()
    assert len(SHOWN[0]) > 3
    assert set(SHOWN[0]) <= set(appeared)
    # The next line to type is the one that was said.
    assert appeared[-1] == "next: " + run.removeprefix(".venv/bin/")
    assert run.endswith(f"--out {Path(SHOWN[1][0]).parent}")


def test_own_land_goes_on_to_check_and_to_the_line_that_is_said(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write_raster(tmp_path / "heights.tif")
    rows = [({"name": "one"}, NORTH_PLOT)]
    write_vector(tmp_path / "fields.shp", rows, driver="ESRI Shapefile", geometry="Polygon")
    start, check = TYPED[2:]
    assert typed(start).exit_code == 0
    checked = typed(check)
    assert checked.exit_code == 0
    assert checked.output.splitlines()[-1] == SHOWN[2][0]


def test_windows_has_the_same_commands_under_its_own_names():
    (bat,) = [text for kind, text in BLOCKS if kind == "bat"]
    (first,) = [text for kind, text in BLOCKS if kind == "sh" and "venv .venv" in text]
    assert bat.replace("py -m", "python3 -m").replace(r".venv\Scripts" + "\\", ".venv/bin/") == first


@pytest.mark.parametrize("link", re.findall(r"\]\(([^)]+)\)", PAGE))
def test_links_and_pictures_are_there_and_light(link):
    target = CONFIG / link
    assert target.exists()
    if target.suffix == ".png":
        assert target.stat().st_size < 200_000
        with Image.open(target) as picture:
            assert picture.width >= 800
