"""The plots, and what limits take from them."""

from packpale.review.subjects.field import PLOT, Field, Subject
from packpale.review.words import FILES, plain

PLOTS = Subject(
    "plots",
    "A candidate plot",
    "MultiPolygon",
    (
        PLOT,
        Field("rank", "Rank; empty where nothing fits", "number of it"),
        Field("score", "Score of 100", "score"),
        Field("first_place_share", "Part of the drawn cases in which it comes first", "share"),
        Field("feasible", "Whether the enclosures asked for fit", "yes or no"),
        Field("reason", "Why not", "text"),
        Field("area_m2", "Area of the plot", "area"),
    ),
    # What only the ranking knows is put in where the plots are put together.
    lambda result, _project: [{"area_m2": result.site.outline.area, "geometry": result.site.outline}],
)
USABLE_LAND = Subject(
    "usable_land",
    "Ground that no limit takes",
    "MultiPolygon",
    (PLOT, Field("area_m2", "Its area", "area", "usable.area")),
    lambda result, _project: [result.land],
    lambda land: land.usable,
)
LIMITS = Subject(
    "limits",
    "Ground that a limit takes",
    "MultiPolygon",
    (
        PLOT,
        Field("kind", "Kind of the limit", "text", "kind"),
        Field("name", "The limit in words", "text", lambda limit: plain(FILES.say(limit.name))),
        Field("may_lie_inside", "Whether it may lie inside the fence", "yes or no", "may_lie_inside"),
    ),
    lambda result, _project: result.land.limits,
    lambda limit: limit.area,
)
