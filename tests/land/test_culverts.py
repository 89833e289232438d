"""A bank across a field: with a pipe under it, or a stream through it, the field drains; without it is a lake."""

import dataclasses

import numpy as np
import pytest
from shapely.geometry import LineString, Point, box

from packpale.land.assess import assess
from packpale.land.culverts import carved, opened
from packpale.site import Around, Grid
from told import told

ROWS, COLS = 80, 41
BANK = slice(40, 44)
TENTH_MM = 1e-4
"""What single precision keeps of levels. [m]"""


def field():
    """Ground that falls by 2 % to the south and from both sides to its middle column, a bank of 3 m across it."""
    row, col = np.mgrid[:ROWS, :COLS]
    z = 100 - 0.02 * row + 0.02 * np.abs(col - 20)
    z[BANK] = z[39, 20] + 3
    z[:, [0, -1]] = 200.0
    z[0] = 200.0
    return z


def pipe(cell=1.0, first=38.5, last=45.5):
    """Under the bank along the middle column; y counts from the south edge at 2000."""
    return LineString([(1020.5 * cell - 1000 * (cell - 1), 2000 + (ROWS - first) * cell), (1020.5, 2000 + ROWS - last)])


def test_a_bank_makes_a_lake_and_a_pipe_under_it_none(make_site, make_project):
    z = field()
    closed = assess(make_site(z), make_project())
    # Closed form: up to the top of the bank, all ground behind it.
    behind = np.zeros(z.shape, bool)
    behind[1 : BANK.start, 1:-1] = True
    top = z[BANK.start, 20]
    lake = behind & (z < top)
    np.testing.assert_allclose(closed.ponding[lake], top - z[lake], atol=TENTH_MM)
    assert closed.ponding[39, 20] == pytest.approx(3.0)
    opened = assess(make_site(z, features={"culverts": (pipe(),)}), make_project())
    assert opened.ponding[:, 1:-1].max() == pytest.approx(0.0, abs=1e-9)
    # All water from behind the bank goes through the pipe, and the ground itself is what it was.
    cells = (BANK.start) * COLS
    assert opened.upstream_area[BANK.start, 20] == pytest.approx(cells, rel=0.06)
    np.testing.assert_array_equal(opened.slope, closed.slope)


def test_a_pipe_counts_by_its_lower_end_and_what_lies_past_it(make_site, make_project):
    z = field()
    found = assess(make_site(z, features={"culverts": (pipe(first=25.5, last=45.5),)}), make_project())
    assert found.ponding[:, 1:-1].max() == pytest.approx(0.0, abs=1e-9)  # a longer one too
    raised = z.copy()
    raised[44:, :] += 2.0  # the ground below the bank, and with it the lower end
    found = assess(make_site(raised, features={"culverts": (pipe(),)}), make_project())
    # It rises to the first ground past the pipe.
    assert found.ponding[37, 20] == pytest.approx(raised[46, 20] - raised[37, 20])


def test_what_is_no_line_on_known_ground_changes_nothing():
    z, grid = field(), Grid(1000.0, 2000.0 + ROWS, 1.0, ROWS, COLS)
    holed = z.copy()
    holed[45, 20] = np.nan
    outside = LineString([(1020.5, 2041.5), (1020.5, 1990.0)])
    assert carved(z, grid, (Point(1020, 2040), box(1019, 2034, 1022, 2042), outside)) is z
    np.testing.assert_array_equal(carved(holed, grid, (pipe(),)), holed)
    found = carved(z, grid, (pipe(),))
    assert (found != z).sum() == 4 + 3  # the bank, and the ground above the lower end
    assert found[BANK, 20] == pytest.approx(z[45, 20])


def test_a_pipe_beyond_the_window_counts_too(make_site, make_project):
    z = field()
    whole = make_site(z, features={"culverts": (pipe(),)})
    rows, cols = slice(50, 75), slice(5, 36)
    window = dataclasses.replace(
        make_site(z[rows, cols], features=whole.features),
        grid=whole.grid.part(rows, cols),
        elevation=z[rows, cols].copy(),
        around=Around(whole.grid, z),
    )
    expected = assess(whole, make_project()).upstream_area[rows, cols]
    np.testing.assert_array_equal(assess(window, make_project()).upstream_area, expected)
    assert expected.max() > 40 * COLS


def stream(first=5.5, last=75.5, x=1020.5):
    return LineString([(x, 2000 + ROWS - first), (x, 2000 + ROWS - last)])


def test_a_stream_through_a_bank_opens_it_to_its_lower_foot(make_site, make_project):
    """Closed form: 4 cells of bank, level 0.02 x 44 below the top of the field; all water passes, nothing stands."""
    z, grid = field(), Grid(1000.0, 2000.0 + ROWS, 1.0, ROWS, COLS)
    top, foot = z[40, 20], z[44, 20]
    for line in (stream(), stream().reverse()):
        found, banks = opened(z, grid, (line,), widest=6.0)
        assert found[BANK, 20] == pytest.approx(foot)
        assert np.argwhere(found != z).tolist() == [[r, 20] for r in range(40, 44)]
        assert banks == [pytest.approx(top - foot)]
    land = assess(make_site(z, features={"watercourses": (stream(),)}), make_project(bank_m=6.0))
    assert land.ponding[:, 1:-1].max() == pytest.approx(0.0, abs=1e-9)
    assert land.upstream_area[BANK.start, 20] == pytest.approx(BANK.start * COLS, rel=0.06)
    assert "At 1 place a mapped watercourse was let through a bank, up to 3.10 m high" in told(land.notes)[0]


def test_a_stream_goes_through_no_hill(make_site, make_project):
    z, grid = field(), Grid(1000.0, 2000.0 + ROWS, 1.0, ROWS, COLS)
    # Four cells are 4 m wide: an element of less finds a place on top.
    for widest in (0.0, 3.0):
        found, banks = opened(z, grid, (stream(),), widest=widest)
        assert found is z
        assert banks == []
    land = assess(make_site(z, features={"watercourses": (stream(),)}), make_project(bank_m=3.0))
    assert land.ponding[39, 20] == pytest.approx(3.0)
    # Nor does one that ends on the bank, or is mapped as an area.
    for feature in (stream(last=41.5), stream(first=42.5), stream().buffer(3.0)):
        assert opened(z, grid, (feature,), widest=6.0)[0] is z
    # A slope that falls all the way stays as it is, to the last bit, also where the line leaves the ground.
    slope = 100 - 0.3 * np.mgrid[:ROWS, :COLS][0]
    assert opened(slope, grid, (stream(first=-20.0, last=95.0),), widest=20.0)[0] is slope


def test_streams_beyond_missing_ground_and_beyond_the_window_do_no_harm():
    z, grid = field(), Grid(1000.0, 2000.0 + ROWS, 1.0, ROWS, COLS)
    holed = z.copy()
    holed[44:48, 20] = np.nan
    # What lies behind the gap is not known: there may be no lower foot.
    np.testing.assert_array_equal(opened(holed, grid, (stream(),), widest=6.0)[0], holed)
    found, _ = opened(z, grid, (stream(first=-30.0, last=95.0),), widest=6.0)
    np.testing.assert_array_equal(found, opened(z, grid, (stream(),), widest=6.0)[0])
