"""What a user sees while a run goes on."""

import time

import pytest

from packpale.many_plots import Progress
from packpale.one_plot import PlotOutcome
from packpale.progress import COMPILING, PLAIN_EVERY_S, watching


@pytest.fixture
def said(capsys):
    """Lines on stderr so far, where that is no terminal."""

    def lines():
        return capsys.readouterr().err.splitlines()

    return lines


def done(plot_id):
    return PlotOutcome(plot_id, "done", "", 2.0, None)


def test_a_first_run_says_once_that_it_compiles(said):
    progress = Progress(total=2, compiling=True)
    with watching() as watch:
        watch(progress, None)
        watch(progress, None)
        assert said() == [COMPILING]
        progress.begin()
        watch(progress, None)
        assert said() == []


def test_reading_is_told_every_few_seconds(said, monkeypatch):
    now = time.monotonic()
    monkeypatch.setattr(time, "monotonic", lambda: now)
    progress = Progress(total=2)
    with watching() as watch:
        for part, later in ((0.1, 1), (0.41999, PLAIN_EVERY_S), (0.5, 0), (0.999, PLAIN_EVERY_S)):
            progress.read, now = part, now + later
            watch(progress, None)
        assert said() == ["reading elevations: 41 %", "reading elevations: 99 %"]
        progress.begin()
        assert progress.started == now
        watch(progress, None)
        assert said() == []


def test_later_runs_do_not_speak_of_compiling(said):
    with watching() as watch:
        watch(Progress(total=2), None)
    assert said() == []


def test_time_left_is_not_judged_by_the_time_that_compiling_took(said):
    progress = Progress(total=4, compiling=True)
    progress.started -= 1000
    with watching() as watch:
        watch(progress, None)
        assert said() == [COMPILING]
        progress.begin()
        assert time.monotonic() - progress.started < 500
        progress.begin()
        progress.started = time.monotonic() - 30
        progress.begin()
        progress.done = 2
        watch(progress, done("second"))
        assert said() == ["plot second: done in 2.0 s; 2 of 4, about 30 s left"]
