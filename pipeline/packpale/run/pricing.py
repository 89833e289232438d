"""Prices handed to the search for fence lines, which stands before the room that knows them."""

import functools
import math

from packpale.enclosure.egg import Egg
from packpale.enclosure.pricing import Pricing
from packpale.land.model import Land
from packpale.settings import Project
from packpale.site.model import Site


def pricing_of(site: Site, land: Land, project: Project) -> Pricing:
    """What fence lines cost on one plot."""
    from packpale.earthworks.line_rates import line_cost
    from packpale.earthworks.work_out import likely_price
    from packpale.enclosure.model import Fit
    from packpale.enclosure.place import staked_out

    # Without limits to run over, the largest line is the same for every share.
    @functools.cache
    def likely(egg: Egg) -> float:
        fit = Fit(egg, math.inf, 0.0)
        return likely_price(site, staked_out(1, egg, site, land, project, fit=fit, means=False), project)

    return Pricing(line_cost(site, project), likely)
