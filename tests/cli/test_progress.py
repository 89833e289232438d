"""What a user sees while a run goes on."""

import pytest

from packpale.cli.progress import COMPILING, watching
from packpale.run.plot import PlotOutcome
from packpale.run.pool import Progress


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
        progress.compiling = False
        watch(progress, None)
        assert said() == []


def test_later_runs_do_not_speak_of_compiling(said):
    with watching() as watch:
        watch(Progress(total=2), None)
    assert said() == []
