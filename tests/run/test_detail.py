"""Which plots of a run are screened and which computed in full; the rooms stand aside."""

import json
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner
from shapely.geometry import box

import quick_runs
from made_inputs import NORTH, WEST, Made
from packpale import cli
from packpale.review.model import PlotSummary
from packpale.review.summary import DRAWS, write_summary
from packpale.run.ranking import RANKED_BY

NAMES = [f"p{k}" for k in range(6)]
SUITS = dict(zip(NAMES, (0.3, 0.9, 0.5, 0.8, 0.2, 0.7), strict=True))
"""Mean suitability as screened; in full p5 turns out poor."""


@pytest.fixture
def made(tmp_path):
    made = Made(tmp_path)
    made.plots(*side_by_side())
    return made


def side_by_side():
    return [(name, box(WEST + 5 + 30 * k, NORTH - 60, WEST + 30 + 30 * k, NORTH - 20)) for k, name in enumerate(NAMES)]


@pytest.fixture
def computed(monkeypatch):
    """Plots in the order in which they were computed, with a mark for those that were screened."""
    seen = []

    def writes(screened):
        def write(result, project, folder):
            plot = result.site.plot_id
            seen.append(f"{plot}, screened" if screened else plot)
            land = 0.1 if plot == "p5" and not screened else SUITS[plot]
            figures = dict.fromkeys(RANKED_BY, 1.0) | {"mean_suitability": land, "feasible": True, "reason": ""}
            summary = PlotSummary(plot, folder.name, figures, (), (), screened=screened)
            write_summary(summary, folder / "result.json")
            if not screened:
                np.save(folder / DRAWS, np.zeros((2, 1)))
            return summary

        return write

    def write_run(finished, ranking, project, record, folder, *, plots):
        rows = [f"{r.plot_id}{' screened' if finished.briefs[r.plot_id].screened else ''}" for r in ranking.rows]
        (folder / "ranking.csv").write_text("\n".join(rows), encoding="utf-8")
        (folder / "run.json").write_text(json.dumps(record), encoding="utf-8")

    monkeypatch.setattr("packpale.run.run.LEAST_MARGIN", 0)
    monkeypatch.setattr("packpale.run.run.MARGIN", 0)
    nothing = SimpleNamespace(feasible=False, notes=(), packs=())
    monkeypatch.setattr("packpale.land.assess.assess", lambda site, project: SimpleNamespace(notes=()))
    for name in ("place", "screened"):
        monkeypatch.setattr(f"packpale.enclosure.place.{name}", lambda *given: nothing)
    monkeypatch.setattr("packpale.run.pricing.pricing_of", lambda site, land, project: None)
    monkeypatch.setattr("packpale.review.plot.write_plot", writes(False))
    monkeypatch.setattr("packpale.review.plot.write_screened_plot", writes(True))
    monkeypatch.setattr("packpale.review.run.write_run", write_run)
    monkeypatch.setattr("packpale.run.run._draws_of", lambda *given: [[1.0], [0.0]])
    monkeypatch.setattr(
        "packpale.run.run.rank", lambda plots, weights, **more: ORIGINAL(plots, weights, draws=1, seed=1)
    )
    return seen


from packpale.run.ranking import rank as ORIGINAL  # noqa: E402, N812 - as it was before a test puts another in its place


def detail(many):
    return f"\n[run]\ndetail = {many}\n"


def ranking(made):
    return (made.folder / "out" / "ranking.csv").read_text(encoding="utf-8").splitlines()


def ran(made, many, *options):
    done, plots = quick_runs.run(made, *options, more=detail(many))
    assert done.exit_code == 0, done.output
    return plots


def test_as_few_plots_as_get_detail_are_not_screened(made, computed):
    ran(made, 6)
    assert sorted(computed) == NAMES
    assert ranking(made) == ["p1", "p3", "p2", "p0", "p4", "p5"]


def test_plots_are_computed_from_west_to_east_as_they_lie_side_by_side(made, computed):
    made.plots(*reversed(side_by_side()))
    ran(made, 6)
    assert computed == NAMES


def test_the_first_get_detail_and_who_moves_up_as_well(made, computed):
    ran(made, 3)
    # Screened all six; p1, p3, p5 come first; in full p5 falls back, and p2 is third.
    assert sorted(computed[:6]) == [f"{name}, screened" for name in NAMES]
    assert sorted(computed[6:9]) == ["p1", "p3", "p5"]
    assert computed[9:] == ["p2"]
    assert ranking(made) == ["p1", "p3", "p2", "p0 screened", "p4 screened", "p5"]


def test_some_more_are_computed_in_full_for_what_screening_may_miss(made, computed, monkeypatch):
    monkeypatch.setattr("packpale.run.run.LEAST_MARGIN", 2)
    ran(made, 2)
    assert sorted(computed[6:10]) == ["p1", "p2", "p3", "p5"]
    assert computed[10:] == ["p0"]


def test_as_few_plots_as_get_detail_with_some_more_are_not_screened(made, computed, monkeypatch):
    monkeypatch.setattr("packpale.run.run.MARGIN", 0.5)
    ran(made, 4)
    assert sorted(computed) == NAMES


@pytest.mark.parametrize(("many", "told"), [(2, True), (3, False)])
def test_check_tells_how_many_are_screened_and_computed_in_full(made, monkeypatch, many, told):
    monkeypatch.setattr("packpale.run.run.LEAST_MARGIN", 3)
    config = made.text(made.settings_text() + detail(many), "land.toml")
    done = CliRunner().invoke(cli.commands, ["check", str(config)])
    assert done.exit_code == 0, done.output
    line = "detail: all 6 plots are screened, then the first 5 of the ranking computed in full (run.detail = 2"
    assert (line in done.output) is told


def test_going_on_computes_nothing_twice(made, computed):
    ran(made, 2)
    computed.clear()
    assert set(ran(made, 2).values()) == {"kept"}
    assert computed == []
    ran(made, 4)
    # The first two stand already.
    assert sorted(computed) == ["p0", "p2", "p5"]
    computed.clear()
    # Less detail takes none away.
    ran(made, 1)
    assert computed == []


def test_a_plot_that_is_named_gets_detail_and_the_others_stay_in_the_ranking(made, computed):
    ran(made, 2)
    computed.clear()
    assert ran(made, 2, "--plot", "p4") == {name: "done" if name == "p4" else "kept" for name in NAMES}
    assert computed == ["p4"]
    assert "p4" in ranking(made)
    assert len(ranking(made)) == 6
    # It keeps it.
    computed.clear()
    ran(made, 2)
    assert computed == []


def test_a_plot_that_is_named_first_is_computed_alone(made, computed):
    assert ran(made, 2, "--plot", "p4") == {"p4": "done"}
    assert computed == ["p4"]


def test_all_plots_in_full_once_screened(made, computed):
    ran(made, 2)
    computed.clear()
    ran(made, 6)
    assert sorted(computed) == ["p0", "p2", "p4", "p5"]


def test_a_plot_in_full_stays_so_where_other_inputs_change(made, computed):
    ran(made, 2)
    computed.clear()
    # Another raster, the same ground under all plots.
    made.raster(file="again.tif", nodata=-1.0)
    ran(made, 2)
    assert computed == []


def test_fresh_screens_anew(made, computed):
    ran(made, 2)
    computed.clear()
    ran(made, 2, "--fresh")
    assert len(computed) == 8
