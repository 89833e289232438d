"""Why no enclosure stands on a plot: what was found, and what stands in the way."""

import shapely

from packpale.enclosure.fitting import fits_for
from packpale.land.model import Land
from packpale.settings import Project
from packpale.site.model import Site
from packpale.units import HECTARE_M2


def reason(site: Site, land: Land, project: Project, fitting: int) -> str:
    """Why the enclosures asked for do not fit, what was found instead, and the limits that take most.

    ``fitting`` of them do.
    """
    wanted = project.enclosure
    strip = project.trench.outside_strip_m
    taking = [limit for limit in sorted(land.limits, key=lambda limit: -limit.share) if limit.share >= 0.005][:3]
    limits = ""
    if taking:
        named = ", ".join(f"{limit.name} ({_percent(limit.share)})" for limit in taking)
        limits = f". What takes most of the plot: {named}"
    if land.enclosable.is_empty:
        return f"no land that may be enclosed is left on the plot{limits}"
    largest = max(land.enclosable.geoms, key=lambda part: part.area)
    if fitting == 0:
        what = "no egg"
        if wanted.area_ha != "largest":
            what += f" of {wanted.area_ha:g} ha"
        if wanted.min_radius_m > 0:
            what += f" with a small end of at least {wanted.min_radius_m:g} m radius"
        first = f"{what} fits{_whose_line(land, project)}{_largest(site, land, project)}"
    else:
        first = f"only {fitting} of {wanted.packs} enclosures fit, {wanted.separation_m:g} m apart"
    found = (
        f"The largest patch that may be enclosed has {largest.area / HECTARE_M2:.2f} ha; its largest circle has a "
        f"radius of {_depth(largest):.1f} m, of which the strip outside the fence takes {strip:.1f} m"
    )
    return f"{first}. {found}{limits}"


def _whose_line(land: Land, project: Project) -> str:
    """What is asked of the line, where some ground may lie inside."""
    share = project.enclosure.line_over_limits
    if not land.soft:
        return ""
    return f" whose line runs over limits for no more than {100 * share:g} % of its length"


def _largest(site: Site, land: Land, project: Project) -> str:
    """What would fit instead of an area asked for."""
    if project.enclosure.area_ha == "largest":
        return ""
    largest = project.model_copy(
        update={"enclosure": project.enclosure.model_copy(update={"area_ha": "largest", "packs": 1})}
    )
    fits = fits_for(site, land, largest)
    return f"; the largest that fits has {fits[0].egg.area / HECTARE_M2:.2f} ha" if fits else ""


def _depth(part: shapely.Polygon) -> float:
    return float(shapely.length(shapely.maximum_inscribed_circle(part, tolerance=0.05)))


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.01 else "under 1 %"
