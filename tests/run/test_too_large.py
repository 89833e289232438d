"""A plot whose cells need more memory than a worker may take is refused before anything is computed."""

import re

import pytest

from made_inputs import Made
from packpale.holding import held
from packpale.one_plot import CELL_BYTES, Job, compute_plot
from packpale.site.inputs import open_inputs, plot_window


def with_memory(project, memory_mb):
    return project.model_copy(update={"run": project.run.model_copy(update={"memory_mb": memory_mb})})


@pytest.fixture
def made(tmp_path):
    return Made(tmp_path)


def outcome_of(project, folder):
    with held(folder) as name:
        return compute_plot(Job(open_inputs(project), project, "north", "north", folder, "key", name))


def cells_of(project):
    inputs = open_inputs(project)
    grid = plot_window(inputs, inputs.plot("north"), project)
    return grid.rows * grid.cols


def test_a_plot_that_needs_more_than_it_may_names_the_cell_size_that_fits(made, tmp_path):
    project = made.project()
    needed = cells_of(project) * CELL_BYTES / 1e6
    outcome = outcome_of(with_memory(project, needed * 0.5), tmp_path / "out")
    assert outcome.status == "failed"
    assert outcome.reason.startswith(f"its window has {cells_of(project):,} cells")
    assert not list((tmp_path / "out").glob("plots/*"))
    said = re.search(
        r"set land\.cell_m = ([\d.]+), a smaller land\.margin_m, or a larger run\.memory_mb", outcome.reason
    )
    made.settings["land"]["cell_m"] = float(said[1])
    coarser = cells_of(made.project()) * CELL_BYTES / 1e6
    assert 0.35 * needed < coarser <= 0.5 * needed


def test_a_plot_that_needs_as_much_as_it_may_is_computed(made, tmp_path):
    project = made.project()
    outcome = outcome_of(with_memory(project, cells_of(project) * CELL_BYTES / 1e6), tmp_path / "out")
    assert (outcome.status, outcome.reason) == ("done", "")
