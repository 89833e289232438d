"""Where price decides: the menu of one plot, and the line that a budget or the wish for a low price picks from it."""

from collections.abc import Sequence

from packpale.enclosure.alternatives import alternatives, cheapest_of_all
from packpale.enclosure.line_ground import LineGround
from packpale.enclosure.model import Alternative, Fit
from packpale.enclosure.pricing import Pricing
from packpale.settings import Project
from packpale.units import HECTARE_M2
from packpale.values.notes import Phrase, phrase
from packpale.values.quantity import Quantity, given


def price_decides(project: Project) -> bool:
    """Whether the settings leave the choice of the line to its price."""
    return project.enclosure.budget is not None or project.enclosure.prefer == "price"


def menu_of(
    ground: LineGround, project: Project, pricing: Pricing, built: Sequence[Fit] = ()
) -> tuple[tuple[Alternative, ...], Phrase | None]:
    """The menu of one plot, and why the budget buys nothing; None where it buys something or there is none.

    ``built`` are the lines chosen otherwise, feasible under the same rules: the menu never falls behind them.
    """
    # The search is compiled code that takes its time to load: only where it is used.
    from packpale.enclosure.fit import Shapes
    from packpale.enclosure.priced_lines import PricedLines

    wanted = project.enclosure
    shapes = Shapes(ground.outside_strip, wanted.taper, wanted.aspect, wanted.min_radius_m)
    lines = PricedLines.prepared(ground, shapes, pricing.cost)
    if lines is None:
        return (), None
    lines.found += [fit.egg for fit in built]
    sizes = wanted.menu_ha
    menu = alternatives(
        lines, pricing.likely, share=wanted.line_over_limits, sizes=sizes, budget=wanted.budget, also=_also(project)
    )
    if wanted.budget is None or menu[-1].feasible:
        return menu, None
    least = cheapest_of_all(lines, pricing.likely, wanted.line_over_limits)
    if least is None:
        return menu, None
    area, price = least
    return menu, phrase(
        "no fence line on this plot is within the budget of {budget}; about the cheapest encloses {area} for {price}",
        budget=given(wanted.budget, "money"),
        area=Quantity(area, "area"),
        price=Quantity(price, "money"),
    )


def _also(project: Project) -> tuple[float, ...]:
    """A size that is asked for beside those of the menu. [ha]"""
    area = project.enclosure.area_ha
    return (area,) if project.enclosure.prefer == "price" and area != "largest" else ()


def chosen(menu: Sequence[Alternative], project: Project) -> tuple[Fit, ...]:
    """The line that the settings pick from the menu: that of the budget, or the cheapest of just the area asked for."""
    wanted = project.enclosure
    picked = (a for a in menu if a.egg and a.aim == ("size" if wanted.budget is None else "budget"))
    if wanted.budget is None and wanted.area_ha != "largest":
        asked = wanted.area_ha
        # A line that encloses more stands in the menu too, where none of that size was found.
        picked = (a for a in picked if a.value == asked and a.egg and a.egg.area <= 1.0001 * asked * HECTARE_M2)
    return tuple(Fit(a.egg, a.area_bound, 0.0) for a in picked if a.egg)


def at_least(fits: tuple[Fit, ...], menu: Sequence[Alternative], project: Project) -> tuple[Fit, ...]:
    """The fits, or where the largest one was asked for the menu's if that is larger and keeps the same share."""
    wanted = project.enclosure
    if wanted.packs > 1 or wanted.area_ha != "largest":
        return fits
    allowed = [a for a in menu if a.egg is not None and a.aim == "share" and a.value <= wanted.line_over_limits]
    others = [Fit(a.egg, a.area_bound, 0.0) for a in allowed if a.egg is not None]
    return (max([*fits, *others], key=lambda fit: fit.egg.area),) if fits or others else ()
