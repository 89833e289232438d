"""Imperial users see feet in every message, beside the metres that files and settings are in."""

import pytest
from click.testing import CliRunner
from shapely.geometry import box

from made_inputs import NORTH, WEST, Made
from packpale.cli import commands
from packpale.cli.messages import says_imperial
from packpale.faults import Faults, in_words
from packpale.review.words.notes import as_messages, for_files
from packpale.units import feet_too, measured
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, given, printed


@pytest.mark.parametrize(
    ("figure", "metric", "feet"),
    [
        # Exact by definition: 1 ft = 0.3048 m, 1 mi = 5280 ft, 1 acre = 43,560 ft2.
        (lambda: measured(0.3048, "m"), "0.3048 m", "(1 ft)"),
        (lambda: measured(-500, "m", to=9000), "-500 to 9000 m", "(-1,640 to 29,500 ft)"),
        (lambda: measured(8.094, "ha", ".2f"), "8.09 ha", "(20 acres)"),
        (lambda: measured(100, "km", ",.0f"), "100 km", "(62.1 mi)"),
        (lambda: measured(1000, "m2", ",.0f"), "1,000 m2", "(10,800 ft2)"),
        (lambda: measured(5.5e-05, "m"), "5.5e-05 m", "(0.00018 ft)"),
    ],
)
def test_a_figure_in_a_message_has_its_feet_behind_it(figure, metric, feet):
    assert figure() == metric
    with feet_too():
        assert figure() == f"{metric} {feet}"
        with feet_too(False):
            assert figure() == metric
        assert figure() == f"{metric} {feet}"
    assert figure() == metric


def test_words_and_names_in_a_message_are_left_alone():
    with feet_too():
        assert in_words(Faults("a 2 m.tif: cells of 3 m")) == "a 2 m.tif: cells of 3 m"


def test_notes_on_a_terminal_have_both_units():
    note = Note(
        "packs too near",
        "{near} apart on {area}, {share} of it",
        "A rule asks for {rule}; raise {setting:enclosure.separation_m}.",
        {
            "near": given(10.0, "distance"),
            "area": Quantity(20_234.28, "area"),
            "share": Quantity(0.5, "share"),
            "rule": printed(25, "ft"),
        },
    )
    (metric,), (both,) = (as_messages([note], {}, imperial=i) for i in (False, True))
    assert metric == (
        "10 m apart on 2.02 ha, 50 % of it. A rule asks for 25 ft (7.62 m); raise enclosure.separation_m."
    )
    assert both == (
        "10 m (33 ft) apart on 2.02 ha (5.00 acres), 50 % of it. A rule asks for 25 ft (7.62 m); raise "
        "enclosure.separation_m."
    )
    assert for_files([note], {}) == [metric]


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
