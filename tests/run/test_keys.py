"""What makes a plot's key change: everything its files depend on, and nothing else."""

from packpale.keys import run_key, settings_hash
from packpale.settings import Project

INPUTS = {"elevation": ["dem.tif"], "plots": "plots.gpkg", "plot_id": "name"}


def project(**enclosure):
    return Project.model_validate({"inputs": INPUTS, "enclosure": enclosure})


def test_where_a_fence_line_lies_is_no_matter_but_that_it_is_given_is():
    # The plots' own file may serve as the fence lines: then the files are the same with and without.
    hashes = {"plots.gpkg": "1"}
    without, here, there = project(), project(fence_line="plots.gpkg"), project(fence_line="/elsewhere/plots.gpkg")
    assert run_key(here, hashes) == run_key(there, hashes)
    assert settings_hash(here) == settings_hash(there)
    assert run_key(here, hashes) != run_key(without, hashes)
    assert settings_hash(here) != settings_hash(without)
    layer = project(fence_line="plots.gpkg", fence_line_layer="old")
    assert run_key(layer, hashes) != run_key(here, hashes)


def test_the_step_of_pegs_counts():
    hashes = {"plots.gpkg": "1"}
    other = project().model_copy(update={"setting_out": project().setting_out.model_copy(update={"step_m": 5.0})})
    assert run_key(other, hashes) != run_key(project(), hashes)


def test_the_memory_a_worker_may_take_does_not_count():
    less = project()
    less = less.model_copy(update={"run": less.run.model_copy(update={"memory_mb": 100.0})})
    other = project()
    other = other.model_copy(update={"run": other.run.model_copy(update={"draws": 200})})
    assert run_key(less, {}) == run_key(project(), {})
    assert settings_hash(less) == settings_hash(project())
    assert run_key(other, {}) != run_key(project(), {})
