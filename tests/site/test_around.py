"""The ground round a window: how far, how coarse, and that its cells are means of the window's own."""

import numpy as np
import pytest
from pyproj import CRS
from shapely.geometry import box

from made_inputs import NORTH, WEST, Made, write_raster
from packpale.site import around
from packpale.site.inputs import open_inputs, plot_window, read_site
from told import told


@pytest.fixture
def made(tmp_path):
    made = Made(tmp_path)
    rng = np.random.default_rng(4)
    made.inputs["elevation"] = [write_raster(tmp_path / "ground.tif", 100 + rng.normal(size=(90, 120)))]
    made.plots(("north", box(WEST + 40, NORTH - 60, WEST + 70, NORTH - 40)))
    return made


def read(made):
    inputs = open_inputs(made.project())
    return inputs, read_site(inputs, "north", made.project())


def test_all_that_was_supplied_is_there_and_the_window_s_cells_are_the_same(made):
    _, site = read(made)
    assert site.around.grid.bounds == (WEST, NORTH - 90, WEST + 120, NORTH)
    assert site.around.grid.cell == site.grid.cell == 1
    rows, cols = site.grid.shape
    top, left = round(NORTH - site.grid.north), round(site.grid.west - WEST)
    np.testing.assert_array_equal(site.around.elevation[top : top + rows, left : left + cols], site.elevation)


@pytest.mark.parametrize("most", [5000, 2000, 400])
def test_where_that_is_much_cells_are_wholes_of_the_window_s(made, monkeypatch, most):
    _, fine = read(made)
    monkeypatch.setattr(around, "MOST_CELLS", most)
    _, site = read(made)
    grid, ground = site.around.grid, site.around.elevation
    factor = round(grid.cell)
    assert factor > 1
    assert ground.size <= most
    assert any(f"read in cells of {factor} m" in note for note in told(site.notes))
    assert not any("read in cells of" in note for note in told(fine.notes))
    west, south, east, north = grid.bounds
    assert west <= WEST < west + factor
    assert north - factor < NORTH <= north
    assert south <= NORTH - 90
    assert east >= WEST + 120
    # Counted from the raster's corner, as those of all plots.
    assert (WEST - west) % factor == (north - NORTH) % factor == 0
    # A cell in the middle, by hand; and one that sticks out is the mean of what there is.
    for r, c in ((5, 4), (0, 0)):
        top, left = round(NORTH - north) + r * factor, round(west - WEST) + c * factor
        of = fine.around.elevation[max(top, 0) : top + factor, max(left, 0) : left + factor]
        assert ground[r, c] == pytest.approx(of.mean())


def test_squares_of_plots_side_by_side_are_the_same(made, monkeypatch):
    made.plots(
        ("north", box(WEST + 41, NORTH - 62, WEST + 70, NORTH - 40)),
        ("south", box(WEST + 46, NORTH - 80, WEST + 70, NORTH - 63)),
    )
    monkeypatch.setattr(around, "MOST_CELLS", 400)
    monkeypatch.setattr(around, "FAR_M", 13.0)
    inputs = open_inputs(made.project())
    one, other = (read_site(inputs, p, made.project()).around for p in ("north", "south"))
    size = one.grid.cell
    assert size == other.grid.cell > 2
    down, right = (one.grid.north - other.grid.north) / size, (other.grid.west - one.grid.west) / size
    assert down == int(down) > 0
    assert right == int(right) > 0
    of_one = one.elevation[int(down) :, int(right) :]
    of_other = other.elevation[: of_one.shape[0], : of_one.shape[1]]
    assert of_other.size > 30
    np.testing.assert_array_equal(of_one[: of_other.shape[0], : of_other.shape[1]], of_other)


def test_it_reaches_no_farther_than_set(made, monkeypatch):
    monkeypatch.setattr(around, "FAR_M", 7.0)
    inputs, site = read(made)
    west, south, east, north = plot_window(inputs, inputs.plots[0], made.project()).bounds
    assert site.around.grid.bounds == (west - 7, south - 7, east + 7, north + 7)


def test_with_screening_it_reaches_less_far_in_larger_cells(made, monkeypatch):
    monkeypatch.setattr(around, "NEAR_M", 7.0)
    monkeypatch.setattr(around, "FEWER_CELLS", 9000)
    inputs = open_inputs(made.project())
    west, south, east, north = plot_window(inputs, inputs.plots[0], made.project()).bounds
    found = [read_site(inputs, "north", made.project(), screening=s).around.grid for s in (True, False)]
    assert found[0].bounds == (west - 7, south - 7, east + 7, north + 7)
    assert [g.cell for g in found] == [1, 1]
    assert found[1].bounds == (WEST, NORTH - 90, WEST + 120, NORTH)
    monkeypatch.setattr(around, "FEWER_CELLS", 500)
    assert read_site(inputs, "north", made.project(), screening=True).around.grid.cell > 1


def test_where_the_window_holds_all_there_is_nothing_round_it(made):
    made.settings["land"]["margin_m"] = 200.0
    inputs, site = read(made)
    assert site.around is None
    assert around.around_grid(inputs.elevation, CRS.from_user_input(inputs.crs), site.grid) is None


def test_a_file_that_ends_early_beside_the_window_costs_what_lies_there_alone(made, tmp_path):
    broken = write_raster(tmp_path / "beside.tif", np.random.default_rng(1).normal(size=(300, 300)), west=WEST + 120)
    broken.write_bytes(broken.read_bytes()[: broken.stat().st_size // 2])
    made.inputs["elevation"].append(broken)
    _, site = read(made)
    assert site.around is None
    assert np.isfinite(site.elevation).all()
    assert any("ground farther away than" in note.lower() for note in told(site.notes))
