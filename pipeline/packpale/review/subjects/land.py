"""The plots, and what limits take from them."""

from packpale.review.subjects.field import PLOT, POPUP, Field, Subject, Words
from packpale.review.words import FILES, plain
from packpale.site import Pit
from packpale.values.notes import Value
from packpale.values.quantity import Kind, Quantity, given

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


def _pit(key: str, title: str, kind: Kind | Words) -> Field:
    """What a pit says of the soil, or that it does not."""

    def told(pit: Pit) -> Value:
        value = pit.values.get(key)
        if value is None or isinstance(value, str):
            return value or "not given"
        return given(value / 100, "share") if kind == "share" else Quantity(value, "dimension")

    return Field(key, title, kind, f"values.{key}", told, POPUP)


PITS = Subject(
    "pits",
    "A trial pit",
    "Point",
    (
        _pit("depth_to_rock_m", "Depth to rock", "dimension"),
        _pit("rock_hardness", "Rock", "text"),
        _pit("water_table_m", "Depth to water", "dimension"),
        _pit("clay_percent", "Clay", "share"),
        _pit("stones_percent", "Stones", "share"),
        _pit("drainage_class", "Drainage", "text"),
    ),
    "site.pits",
)
"""No layer: the file of pits is the user's own."""
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
    "land.limits",
    lambda limit: limit.area,
)
