"""The summary of a plot: its figures, and reading back what was written."""

import dataclasses
import math

import numpy as np
import pytest

from packpale.review.summary import layer_rows, read_summary, summarise, write_summary
from packpale.values.notes import Note, phrase
from packpale.values.quantity import Span, given, printed
from review import factory


@pytest.fixture
def summary(fitting):
    return summarise(fitting, factory.project(), "north-field", None)


def test_reads_back_the_same(summary, tmp_path):
    write_summary(summary, tmp_path / "result.json")
    back = read_summary(tmp_path / "result.json")
    assert dataclasses.asdict(back) == dataclasses.asdict(summary)
    write_summary(back, tmp_path / "again.json")
    assert (tmp_path / "again.json").read_bytes() == (tmp_path / "result.json").read_bytes()


@pytest.mark.parametrize("text", ["", "{", "[]", '{"plot_id": "a"}'])
def test_a_damaged_file_is_no_summary(tmp_path, text):
    (tmp_path / "result.json").write_text(text)
    with pytest.raises(ValueError):  # noqa: PT011 - json's error is a ValueError with a message of its own
        read_summary(tmp_path / "result.json")


def test_a_file_cut_short_is_no_summary(summary, tmp_path):
    file = tmp_path / "result.json"
    write_summary(summary, file)
    file.write_bytes(file.read_bytes()[:-20])
    with pytest.raises(ValueError):  # noqa: PT011 - as above
        read_summary(file)


def test_means_are_weighted_by_area(fitting):
    small, large = fitting.enclosure.packs[0], fitting.enclosure.packs[0]
    egg = large.fit.egg
    half = dataclasses.replace(
        egg,
        big_radius=egg.big_radius / 2,
        small_radius=egg.small_radius / 2,
        centre_spacing=egg.centre_spacing / 2,
    )
    small = dataclasses.replace(
        small, number=2, fit=dataclasses.replace(small.fit, egg=half), mean_suitability=0.2, mean_slope=0.5
    )
    large = dataclasses.replace(large, mean_suitability=0.7, mean_slope=0.1)
    two = dataclasses.replace(
        fitting, enclosure=dataclasses.replace(fitting.enclosure, packs=(large, small)), earthworks=None, care=None
    )
    figures = summarise(two, factory.project(), "two", None).figures
    # At half the size the area is a quarter: weights 4 and 1.
    assert figures["mean_suitability"] == pytest.approx((4 * 0.7 + 0.2) / 5)
    slopes = math.degrees(math.atan(0.1)), math.degrees(math.atan(0.5))
    assert figures["mean_slope_deg"] == pytest.approx((4 * slopes[0] + slopes[1]) / 5)
    assert figures["smallest_enclosure_m2"] == pytest.approx(egg.area / 4)
    assert figures["enclosed_area_m2"] == pytest.approx(egg.area * 5 / 4)


def test_no_figure_is_none_and_not_a_number_that_is_none(fitting, barren):
    figures = summarise(barren, factory.project(), "a", None).figures
    assert figures["feasible"] is False
    assert figures["cost_p50"] is None
    volumes = dataclasses.replace(
        fitting.earthworks.volumes[0], invert=np.full(fitting.enclosure.packs[0].alignment.x.shape, np.nan)
    )
    plot = dataclasses.replace(fitting, earthworks=dataclasses.replace(fitting.earthworks, volumes=(volumes,)))
    assert math.isnan(next(iter(layer_rows(plot, factory.project())["stations"]))["invert_m"])


def test_notes_of_all_rooms_stand_once(fitting):
    same, other = Note("corners", "the same"), Note("corners", "another")
    twice = dataclasses.replace(fitting, land=dataclasses.replace(fitting.land, notes=(same, same, other)))
    notes = summarise(twice, factory.project(), "a", None).notes
    assert notes[:3] == (factory.MENDED, same, other)
    assert all(notes.count(note) == 1 for note in notes)


def test_notes_read_back_as_they_were(tmp_path, fitting):
    values = {
        "as_set": given(1.2, "dimension"),
        "rule": printed(25, "ft"),
        "spans": (Span(1.0, 2.5, "length"), Span(3.0, 4.0, "length")),
        "inner": phrase("{n} of {name}", n=3, name="{setting} 5 m"),
        "name": factory.HOSTILE,
        "none": (),
    }
    note = Note("corners", "{as_set} {rule} {spans}", "{inner} {name} {none}", values, (1, 2), 12.5, 3.0, "a")
    whole = dataclasses.replace(fitting, land=dataclasses.replace(fitting.land, notes=(note,)))
    summary = summarise(whole, factory.project(), "a", None)
    assert note in summary.notes
    write_summary(summary, tmp_path / "result.json")
    assert read_summary(tmp_path / "result.json").notes == summary.notes


def test_notes_read_back_count_as_the_same(summary, tmp_path):
    """Of a run some plots are computed and others are kept: what both say is said once."""
    write_summary(summary, tmp_path / "result.json")
    back = read_summary(tmp_path / "result.json")
    assert len(summary.notes) > 3
    assert set(summary.notes) == set(back.notes)
