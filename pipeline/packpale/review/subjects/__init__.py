"""What a run tells of each subject, once: fields that make columns, popups and tables.

``python -m packpale.review.subjects`` prints them all, as outputs/README.md has them.
"""

from packpale.review.subjects import (
    climbing,
    crossings,
    dens,
    gates,
    holds,
    inside,
    land,
    line,
    patrol,
    people,
    programme,
    setting_out,
    stations,
    stretches,
    tables,
)
from packpale.review.subjects.field import Subject

LAYERS: tuple[Subject, ...] = (
    land.PLOTS,
    land.USABLE_LAND,
    land.LIMITS,
    line.FENCE_LINES,
    line.ALTERNATIVES,
    line.APRONS,
    stations.STATIONS,
    setting_out.POSTS,
    stations.GATES,
    setting_out.AIRLOCKS,
    gates.GATE_LEAVES,
    setting_out.STAKES,
    line.TOUCHES,
    stretches.OVER_LIMITS,
    stretches.TRENCH_STRETCHES,
    stretches.CLIMB_STRETCHES,
    climbing.CLIMBING_AIDS,
    stretches.DIG_STRETCHES,
    crossings.CROSSINGS,
    inside.INSIDE,
    stretches.ADVISED_PITS,
    dens.DENS,
    patrol.PATROL,
    patrol.PATROL_CHECKS,
    people.HOWL_REACH,
    people.HOWL_LEVELS,
    people.VIEWPOINTS,
    people.NEIGHBOURS,
)
"""Layers of packpale.gpkg, in the order in which they are written."""
TABLES: tuple[Subject, ...] = (
    tables.RANKING,
    tables.EARTHWORKS,
    setting_out.SETTING_OUT,
    setting_out.ARCS,
    setting_out.PEGS,
    setting_out.POINTS,
    holds.HOLDS,
    programme.PROGRAMME,
)
"""CSV tables; alternatives.csv has the columns of the layer alternatives."""
