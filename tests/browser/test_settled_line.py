"""From opening a plot's map to a full run of the line that was settled on it."""

import csv
import json

import fiona
import pytest
from click.testing import CliRunner

from made_inputs import Made
from other_lines import FIGURES
from packpale.cli import commands

pytestmark = pytest.mark.browser


def computed(config, out, *options):
    """How each plot of a run ended, and what it printed."""
    done = CliRunner().invoke(commands, ["run", str(config), "--out", str(out), "--workers", "1", *options])
    assert done.exit_code == 0, done.output
    plots = json.loads((out / "run.json").read_text(encoding="utf-8"))["plots"]
    return {name: plot["status"] for name, plot in plots.items()}


def line_of(out, plot):
    with fiona.open(out / "plots" / plot / "layers.gpkg", layer="fence_lines") as rows:
        (row,) = rows
        return dict(row.properties)


def test_a_line_settled_on_the_map_is_computed_as_that_egg(watched, tmp_path):
    config = Made(tmp_path).text(Made(tmp_path).settings_text(), "land.toml")
    out = tmp_path / "out"
    assert computed(config, out) == {"north": "done", "south": "done"}
    fitted = line_of(out, "north")

    page = watched.open(out / "plots/north/map.html")
    page.click("#to-another")
    page.wait_for_selector("#another-figures tbody tr")
    area = float(page.input_value("#another-area"))
    for name, value in (("area", 0.8 * area), ("bearing", fitted["axis_bearing_deg"] + 3)):
        page.fill(f"#another-{name}", f"{value:.4f}")
        page.press(f"#another-{name}", "Enter")
    with page.expect_download() as saving:
        page.click("#another-save")
    assert "--line north_line.geojson" in page.text_content("#another-next")
    file = tmp_path / saving.value.suggested_filename
    saving.value.save_as(file)
    settled = json.loads(file.read_text(encoding="utf-8"))["features"][0]["properties"]

    assert computed(config, out, "--line", str(file)) == {"north": "done", "south": "kept"}
    found = line_of(out, "north")
    assert {k: found[k] for k in FIGURES} == pytest.approx({k: settled[k] for k in FIGURES}, abs=1e-6)
    assert found["origin"] == "given"
    assert found["area_m2"] == pytest.approx(8000 * area, rel=1e-3)
    # As an egg it is set out by its arcs.
    with (out / "plots/north/setting_out.csv").open(newline="", encoding="utf-8") as rows:
        assert {"flank 1", "small end"} <= {row["arc"] for row in csv.DictReader(rows)}
    assert "<Curve" in (out / "plots/north/alignment.xml").read_text(encoding="utf-8")

    assert computed(config, out) == {"north": "done", "south": "kept"}
    again = line_of(out, "north")
    assert {k: again[k] for k in FIGURES} == {k: fitted[k] for k in FIGURES}


def test_a_line_that_is_not_there_is_said_in_one_line(tmp_path):
    config = Made(tmp_path).text(Made(tmp_path).settings_text(), "land.toml")
    done = CliRunner().invoke(
        commands, ["run", str(config), "--out", str(tmp_path / "out"), "--line", "nowhere.geojson"]
    )
    assert done.exit_code == 2
    assert done.output.strip() == "--line nowhere.geojson: no such file; give the one that the map of a plot has saved"
