"""Stretches of a closed line along which something holds."""

import numpy as np
import pytest

from packpale.earthworks.model import Stretch
from packpale.earthworks.stretches import stretches, total, where
from packpale.review.words import FILES, plain


def found(text, **more):
    """Stretches of 2 m steps from one sign a station; x holds. Values are 0, 1, 2, ..."""
    return stretches(np.array([c == "x" for c in text]), np.arange(len(text), dtype=float), step=2.0, **more)


def test_each_station_stands_for_a_step_centred_on_it():
    # Stations 2 and 3 of 8, at chainages 4 and 6: from 3 to 7 m.
    assert found("..xx....") == (Stretch(3.0, 7.0, 4.0, 3.0),)


def test_run_through_the_beginning_is_one():
    assert found("x..x..xx") == (Stretch(5.0, 7.0, 2.0, 3.0), Stretch(11.0, 1.0, 6.0, 7.0))


def test_smallest_value_where_that_is_the_worst():
    assert found(".xxx....", largest=False)[0].worst == 1.0


def test_all_or_nothing():
    assert found("........") == ()
    assert found("xxxx") == (Stretch(0.0, 0.0, 8.0, 3.0),)
    assert found("") == ()


def test_only_the_last_or_only_the_first_station():
    assert found("...x") == (Stretch(5.0, 7.0, 2.0, 3.0),)
    assert found("x...") == (Stretch(7.0, 1.0, 2.0, 0.0),)


@pytest.mark.parametrize("seed", range(20))
def test_lengths_add_up_to_the_stations_and_none_touch(seed):
    holds = np.random.default_rng(seed).random(40) < 0.6
    runs = stretches(holds, np.zeros(40), step=0.5)
    assert total(runs) == pytest.approx(0.5 * holds.sum())
    # Every stretch holds exactly the stations inside it.
    inside = np.zeros(40, bool)
    for run in runs:
        chainage = (np.arange(40) * 0.5 - run.start) % 20.0
        inside |= chainage < run.length
    np.testing.assert_array_equal(inside, holds)
    assert len(runs) == (holds & ~np.roll(holds, 1)).sum()


def test_longest_few_in_words():
    runs = tuple(Stretch(10.0 * k, 10.0 * k + k, float(k), 0.0) for k in range(1, 7))
    assert plain(FILES.say(where(runs, most=2))) == "at chainage 50 to 55 m, 60 to 66 m and 4 shorter"
    assert plain(FILES.say(where(runs[:1]))) == "at chainage 10 to 11 m"
    assert FILES.say(where(found("xxxx"))) == "all the way round"
