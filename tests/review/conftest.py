"""Plots and a run that the tests of this room share; made once, never changed."""

from collections import namedtuple

import pytest

from review import factory


class Run(namedtuple("Run", "folder plots ranking settings")):
    """A finished run of invented plots."""

    def report(self, number):
        """What is told of the plot with this number, as its folder holds it."""
        from packpale.review.plot import read_report

        return read_report(self.folder / f"plots/plot-{number}")


@pytest.fixture(scope="session")
def fitting():
    return factory.result()


@pytest.fixture(scope="session")
def barren():
    return factory.nothing_fits()


@pytest.fixture(scope="session")
def run(tmp_path_factory, fitting, barren):
    """A run of three plots: one that fits, one under a hostile name, one where nothing fits, named like a formula."""
    plots = [
        fitting,
        factory.renamed(fitting, factory.HOSTILE),
        factory.renamed(barren, factory.FORMULA),
    ]
    folder = tmp_path_factory.mktemp("run")
    settings = factory.project(title=f"Estate {factory.HOSTILE}")
    return Run(folder, plots, factory.run_folder(folder, plots, settings), settings)
