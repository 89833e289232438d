"""Menus of invented plots, for the tests of what is shown of them."""

import dataclasses

from packpale.enclosure.egg import Egg
from packpale.enclosure.model import Alternative

BOUND_M2 = 30_000.0


def alternative(aim, value, area, price, *, plot, over=0.0):
    """A line of an area [m2] in the middle of a plot of the factory."""
    grid = plot.site.grid
    at = {"big_x": grid.west + 150.0, "big_y": grid.north - 150.0, "axis_bearing_deg": 123.0}
    egg = Egg.from_shape(0.6, 1.3, **at, area=area) if area else None
    return Alternative(aim, value, BOUND_M2, egg, over, price) if egg else Alternative(aim, value, BOUND_M2)


def with_menu(plot, *, dearer=1.0, largest=21_000.0, budget=None):
    """The plot with sizes of 0.5, 1 and 2 ha and one that does not fit, shares and a budget."""
    sizes = ((0.5, 5_000.0, 60_000.0), (1.0, 10_000.0, 82_000.0), (2.0, 20_000.0, 118_000.0))
    rows = [
        alternative("size", ha, area if area <= largest else None, dearer * price, plot=plot, over=4.0 * ha)
        for ha, area, price in (*sizes, (5.0, 50_000.0, 0.0))
    ]
    rows += [
        alternative(
            "share", share, largest * part, dearer * (40_000 + 3.6 * largest * part), plot=plot, over=9.0 * share
        )
        for share, part in ((0.0, 0.7), (0.1, 1.0), (0.2, 1.2))
    ]
    if budget is not None:
        rows.append(alternative("budget", budget, 12_000.0, 0.999 * budget, plot=plot))
    enclosure = dataclasses.replace(plot.enclosure, alternatives=tuple(rows))
    return dataclasses.replace(plot, enclosure=enclosure)
