"""Notes as values: what they may hold, and which comes first."""

import pytest

from packpale.values.notes import KINDS, SEVERITIES, Note, ordered, phrase
from packpale.values.quantity import Quantity


def test_every_kind_has_a_severity_and_they_stand_by_it():
    ranks = [SEVERITIES.index(severity) for severity in KINDS.values()]
    assert ranks == sorted(ranks)
    assert set(ranks) == set(range(len(SEVERITIES)))


def test_the_gravest_comes_first_then_the_larger_of_a_kind():
    small, large = (Note("deep trench", f"deep over {n} of it", size=n) for n in (1.0, 9.0))
    escape, unknown = Note("bare apron", "bare"), Note("coordinates", "somewhere")
    assert ordered([unknown, small, escape, large]) == [escape, large, small, unknown]


def test_of_a_kind_and_a_size_the_first_told_stays_first():
    notes = [Note("corners", text) for text in "bac"]
    assert ordered(notes) == notes


def test_a_kind_nobody_knows_is_refused():
    with pytest.raises(ValueError, match="no such kind"):
        Note("rain of frogs", "it rains")


@pytest.mark.parametrize(
    ("template", "values"),
    [("over {length}", {}), ("over", {"length": 1}), ("over {length.value}", {"length.value": 1}), ("{0}", {"0": 1})],
)
def test_each_value_has_its_place_and_each_place_its_value(template, values):
    with pytest.raises(ValueError, match="place"):
        phrase(template, **values)
    with pytest.raises(ValueError, match="place"):
        Note("corners", template, values=values)


def test_settings_in_a_phrase_within_are_named_too():
    inner = phrase("raise {setting:land.margin_m}")
    note = Note(
        "corners", "see {inner}", "Lower {setting:fence.gates}. {n}", {"inner": (inner,), "n": Quantity(1, "count")}
    )
    assert set(note.settings) == {"land.margin_m", "fence.gates"}
