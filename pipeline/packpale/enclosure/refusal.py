"""Why no enclosure stands on a plot: what was found, and what stands in the way."""

import shapely

from packpale.enclosure.fitting import fits_for
from packpale.land.model import Land
from packpale.settings import Project
from packpale.site.model import Site
from packpale.units import HECTARE_M2
from packpale.values.notes import Phrase, Value, phrase
from packpale.values.quantity import Quantity, given


def reason(site: Site, land: Land, project: Project, fitting: int) -> Phrase:
    """Why the enclosures asked for do not fit, what was found instead, and the limits that take most.

    ``fitting`` of them do.
    """
    limits = _limits(land)
    if land.enclosable.is_empty:
        return phrase("no land that may be enclosed is left on the plot{limits}", limits=limits)
    largest = max(land.enclosable.geoms, key=lambda part: part.area)
    first = _none_fits(site, land, project) if fitting == 0 else _some_fit(project, fitting)
    depth, strip = _depth(largest), project.trench.outside_strip_m
    if land.soft and depth > strip + project.enclosure.min_radius_m:
        # There is room inside: what stands in the way is the ground that the line has to keep off.
        return phrase("{first}{limits}", first=first, limits=limits)
    return phrase(
        "{first}. The largest patch that may be enclosed has {area}; its largest circle has a radius of {radius}, of "
        "which the strip outside the fence takes {strip}{limits}",
        first=first,
        area=Quantity(largest.area, "area"),
        radius=Quantity(depth, "length"),
        strip=Quantity(strip, "dimension"),
        limits=limits,
    )


def _limits(land: Land) -> Phrase:
    """The limits that take most: those that keep all of an enclosure off, and those that keep off its line alone."""
    taking = [limit for limit in sorted(land.limits, key=lambda limit: -limit.share) if limit.share >= 0.005][:3]
    no_go, line_only = (
        tuple(
            phrase("{limit} ({share} of the plot)", limit=limit.name, share=Quantity(limit.share, "share"))
            for limit in taking
            if limit.may_lie_inside == inside
        )
        for inside in (False, True)
    )
    text, named = "", dict[str, Value]()
    if no_go:
        text, named["no_go"] = text + ". What may not be enclosed: {no_go}", no_go
    if line_only:
        text, named["line_only"] = text + ". What the line has to keep off: {line_only}", line_only
    return Phrase(text, named)


def _some_fit(project: Project, fitting: int) -> Phrase:
    wanted = project.enclosure
    separation = given(wanted.separation_m, "dimension")
    text = "only {fitting} of {packs} enclosures fit, {separation} apart"
    return phrase(text, fitting=fitting, packs=wanted.packs, separation=separation)


def _none_fits(site: Site, land: Land, project: Project) -> Phrase:
    wanted = project.enclosure
    text, asked, values = "no fence line", list[str](), dict[str, Value]()
    if wanted.area_ha != "largest":
        text += " round {area}"
        values["area"] = given(wanted.area_ha * HECTARE_M2, "area")
    if wanted.min_radius_m > 0:
        asked.append("bends no tighter than a radius of {radius}")
        values["radius"] = given(wanted.min_radius_m, "dimension")
    if land.soft:
        asked.append("runs over limits for no more than {share} of its length")
        values["share"] = given(wanted.line_over_limits, "share")
    text += f" fits{' that ' if asked else ''}{' and '.join(asked)}"
    largest = _largest(site, land, project)
    if largest is not None:
        text += "; the largest that fits has {largest}"
        values["largest"] = Quantity(largest, "area")
    return Phrase(text, values)


def _largest(site: Site, land: Land, project: Project) -> float | None:
    """What would fit instead of an area asked for. [m2]"""
    if project.enclosure.area_ha == "largest":
        return None
    largest = project.model_copy(
        update={"enclosure": project.enclosure.model_copy(update={"area_ha": "largest", "packs": 1})}
    )
    fits = fits_for(site, land, largest)
    return fits[0].egg.area if fits else None


def _depth(part: shapely.Polygon) -> float:
    return float(shapely.length(shapely.maximum_inscribed_circle(part, tolerance=0.05)))
