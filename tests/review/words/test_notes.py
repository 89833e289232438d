"""What a reader must know: what concerns all plots once, the gravest first, in a line or in full, and for files."""

from packpale.review.words import Wording
from packpale.review.words.notes import LONGEST, for_files, in_short, told_once
from packpale.values.notes import Note
from packpale.values.quantity import Quantity, printed

METRIC, FEET = Wording(imperial=False, currency="EUR"), Wording(imperial=True, currency="USD")
WEIGHTS = Note("weights contradict", "the weights contradict each other")
DEEP = Note(
    "deep trench",
    "the trench is {limit} deep or more over {length}",
    "Pump it.",
    {"limit": printed(5, "ft"), "length": Quantity(9.0, "length")},
    (1,),
)
WATER = Note("trench in water", "the trench stands in water over {length}", values={"length": Quantity(9.0, "length")})


def lines(notes, most, wording=METRIC, *, several_packs=True):
    return [line.replace("\u00a0", " ") for line in in_short(notes, most, wording, several_packs=several_packs)]


def test_the_gravest_come_first_and_no_more_than_asked_for():
    assert lines([WEIGHTS, WATER, DEEP], 2) == [
        # A trench in water speaks first among what may hurt somebody.
        "The trench stands in water over 9 m",
        "Pack 1: the trench is 5 ft (1.52 m) deep or more over 9 m",
    ]


def test_a_rule_keeps_its_unit_in_the_readers_units_too():
    assert lines([DEEP], 1, FEET, several_packs=False) == ["The trench is 5 ft deep or more over 30 ft"]


def test_a_line_that_is_too_long_ends_in_an_ellipsis():
    (line,) = lines([Note("corners", "word " * 60)], 1)
    assert line.endswith(" …")
    assert LONGEST - 8 < len(line) <= LONGEST


def test_what_all_plots_share_is_the_runs():
    own = Note("corners", "it has corners")
    found = told_once([WEIGHTS], {"a": [DEEP, WATER, WATER], "b": [WATER, own]}, {"a", "b"})
    assert found.run == (WATER, WEIGHTS)
    assert found.plots == {"a": (DEEP,), "b": (own,)}


def test_a_plot_on_which_nothing_fits_keeps_nobody_from_sharing():
    own = Note("corners", "it has corners")
    found = told_once([], {"a": [WATER], "b": [WATER], "none": [own]}, {"a", "b"})
    assert (found.run, found.plots) == ((WATER,), {"a": (), "b": (), "none": (own,)})


def test_of_a_single_plot_all_stays_with_it():
    found = told_once([WEIGHTS], {"a": [WATER]}, {"a"})
    assert (found.run, found.plots) == ((WEIGHTS,), {"a": (WATER,)})


def test_what_the_run_found_of_one_plot_goes_to_that_plot():
    of_b = Note("coordinates", "lengths are off", plot="b")
    found = told_once([of_b, WEIGHTS], {"a": [WATER], "b": []}, {"a", "b"})
    assert (found.run, found.plots) == ((WEIGHTS,), {"a": (WATER,), "b": (of_b,)})


def test_files_hold_sentences_in_metres_with_keys_and_plain_signs():
    note = Note(
        "gate too narrow",
        "gates of {gate}",
        "Raise {setting:fence.gate_width_m}.",
        {"gate": Quantity(-4.0, "dimension")},
    )
    assert for_files([WEIGHTS], {"a: b": [note]}) == [
        "The weights contradict each other.",
        "a: b: Gates of -4.00 m. Raise fence.gate_width_m.",
    ]
