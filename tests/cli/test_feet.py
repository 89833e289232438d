"""Imperial users see feet in every message, beside the metres that files and settings are in."""

import pytest
from click.testing import CliRunner
from shapely.geometry import box

from made_inputs import NORTH, WEST, Made
from packpale.cli import commands
from packpale.cli.feet import says_imperial, with_feet


@pytest.mark.parametrize(
    ("line", "told"),
    [
        # Exact by definition: 1 ft = 0.3048 m, 1 mi = 5280 ft, 1 acre = 43,560 ft2, 1 yd3 = 27 ft3.
        ("cells of 0.3048 m", "cells of 0.3048 m (1 ft)"),
        ("allowed are -500 to 9000 m; set", "allowed are -500 to 9000 m (-1,640 to 29,528 ft); set"),
        ("8.09 ha, 100 km away", "8.09 ha (20 acres), 100 km (62.1 mi) away"),
        ("1,000 m2 and 7.646 m3", "1,000 m2 (10,764 ft2) and 7.646 m3 (10 yd3)"),
        (
            "5 minutes, 12 MB, 3 m/s, 5.5e-05 m",
            "5 minutes, 12 MB, 3 m/s, 5.5e-05 m (0.00018 ft)",
        ),
        ("a 2m.tif at 50.5 N, plot_1 m", "a 2m.tif at 50.5 N, plot_1 m"),
    ],
)
def test_each_quantity_has_its_feet_behind_it(line, told):
    assert with_feet(line) == told


def test_faults_notes_and_sizes_have_feet_where_the_settings_say_so(tmp_path):
    made = Made(tmp_path)
    settings = made.text('units = "imperial"\n' + made.settings_text(), "land.toml")
    checked = CliRunner().invoke(commands, ["check", str(settings)])
    assert "0.84 ha (2.08 acres)" in checked.output
    assert "cells of 1 m (3.28 ft)" in checked.output
    assert checked.output.splitlines()[-1] == f"next: packpale run {settings}"
    made.plots(("tiny", box(WEST + 50.6, NORTH - 50.9, WEST + 50.9, NORTH - 50.6)), ("away", box(0, 0, 90, 90)))
    made.text('units = "imperial"\n' + made.settings_text(), "land.toml")
    for command in (["check", str(settings)], ["run", str(settings), "--out", str(tmp_path / "out")]):
        faulty = CliRunner().invoke(commands, command)
        assert faulty.exit_code == 2
        assert "(0.09 m2 (0.969 ft2))" in faulty.stderr
    made.text(made.settings_text(), "land.toml")
    assert "ft2" not in CliRunner().invoke(commands, ["check", str(settings)]).stderr


def test_what_cannot_be_told_is_metric(tmp_path):
    file = tmp_path / "x.toml"
    assert not says_imperial(file)
    file.write_bytes(b"\xff")
    assert not says_imperial(file)
    file.write_text("units = ", encoding="utf-8")
    assert not says_imperial(file)
    file.write_text('units = "imperial"', encoding="utf-8")
    assert says_imperial(file)
