"""Whole runs in a blink: the rooms between reading and writing stand aside.

What is read, and whether a plot is computed, kept or fails, is decided outside them.
"""

import json
from types import SimpleNamespace

import numpy as np
from click.testing import CliRunner
from shapely.geometry import box

from made_inputs import NORTH, NORTH_PLOT, SOUTH_PLOT, WEST
from packpale.cli import commands
from packpale.review.model import PlotSummary
from packpale.review.summary import write_summary

WEST_PLOT = box(WEST + 20, NORTH - 180, WEST + 90, NORTH - 110)
PLOTS = {"north": NORTH_PLOT, "south": SOUTH_PLOT, "west": WEST_PLOT}


def let_rooms_stand_aside(monkeypatch):
    """Rooms that only say how high the ground of a plot is."""

    def write_plot(result, project, folder):
        site = result.site
        (folder / "setting_out.csv").write_text(f"{np.nanmean(site.elevation)}\n", encoding="utf-8")
        summary = PlotSummary(site.plot_id, folder.name, {"reason": "", "feasible": False}, (), site.notes)
        write_summary(summary, folder / "result.json")
        return summary

    def write_run(finished, ranking, project, record, folder, *, plots):
        (folder / "ranking.csv").write_text("\n".join(finished.briefs), encoding="utf-8")
        (folder / "run.json").write_text(json.dumps(record), encoding="utf-8")

    nothing_fits = SimpleNamespace(feasible=False, notes=(), packs=())
    monkeypatch.setattr("packpale.land.assess.assess", lambda site, project: SimpleNamespace(notes=()))
    monkeypatch.setattr("packpale.enclosure.place.place", lambda site, land, project, pricing: nothing_fits)
    monkeypatch.setattr("packpale.run.pricing.pricing_of", lambda site, land, project: None)
    monkeypatch.setattr("packpale.review.plot.write_plot", write_plot)
    monkeypatch.setattr("packpale.review.run.write_run", write_run)
    monkeypatch.setattr("packpale.run.run.rank", lambda summaries, weights, **options: None)


def run(made, *options, more=""):
    """The command in this process: its result, and how each plot ended."""
    config = made.text(made.settings_text() + more, "land.toml")
    out = made.folder / "out"
    command = ["run", str(config), "--out", str(out), "--workers", "1", *options]
    done = CliRunner().invoke(commands, command)
    record = out / "run.json"
    plots = json.loads(record.read_text(encoding="utf-8"))["plots"] if record.exists() else {}
    return done, {name: plot["status"] for name, plot in plots.items()}
