"""The plots, and what limits take from them."""

from packpale.review.subjects.field import PLOT, Field, Subject

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
)
USABLE_LAND = Subject(
    "usable_land",
    "Ground that no limit takes",
    "MultiPolygon",
    (PLOT, Field("area_m2", "Its area", "area")),
)
LIMITS = Subject(
    "limits",
    "Ground that a limit takes",
    "MultiPolygon",
    (
        PLOT,
        Field("kind", "Kind of the limit", "text"),
        Field("name", "The limit in words", "text"),
        Field("may_lie_inside", "Whether it may lie inside the fence", "yes or no"),
    ),
)
