"""What a user sees while a run goes on."""

import time

import pytest

from packpale.many_plots import Progress
from packpale.one_plot import PlotOutcome
from packpale.progress import COMPILING, watching


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
        progress.compiled()
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
        progress.compiled()
        assert time.monotonic() - progress.started < 500
        progress.compiled()
        progress.started = time.monotonic() - 30
        progress.compiled()
        progress.done = 2
        watch(progress, done("second"))
        assert said() == ["plot second: done in 2.0 s; 2 of 4, about 30 s left"]
