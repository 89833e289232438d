"""Howls, viewing points, and what two packs have to do with each other."""

from packpale.review.subjects.field import PACK, PLOT, Field, Subject

HOWL_REACH = Subject(
    "howl_reach",
    "Ground within which people hear a pack",
    "Polygon",
    (
        PLOT,
        PACK,
        Field("level", "low, likely or high source level", "text"),
        Field("source_level_db", "Source level at 1 m", "level"),
        Field("nearest_m", "Nearest that it ends", "distance"),
        Field("farthest_m", "Farthest that it reaches", "distance"),
        Field("flat_share", "Part of the bearings on assumed flat ground", "share"),
    ),
)
HOWL_LEVELS = Subject(
    "howl_levels",
    "A howl as it arrives at a dwelling or another pack",
    "Point",
    (
        PLOT,
        PACK,
        Field("kind", "dwelling or pack", "text"),
        Field("number", "Its number", "number of it"),
        Field("distance_m", "Distance", "distance"),
        Field("level_db", "Level", "level"),
        Field("excess_db", "Above the background", "level"),
        Field("screened_db", "Taken by ridges", "level"),
        Field("leaves_db", "Taken by leaves", "level"),
        Field("audible", "Whether it is heard", "yes or no"),
        Field("surveyed", "Whether the elevation model reaches all the way", "yes or no"),
    ),
)
VIEWPOINTS = Subject(
    "viewpoints",
    "A viewing point",
    "Point",
    (
        PLOT,
        Field("viewpoint", "Viewing point", "number of it"),
        Field("ground_m", "Ground level", "dimension"),
        Field("pack", "Pack whose fence is nearest", "number of it"),
        Field("fence_distance_m", "Distance to that fence", "length"),
        Field("keeps_off", "Whether it keeps people off the fence", "yes or no"),
        Field("seen_share", "Part of the ground inside the fences that it sees", "share"),
    ),
)
NEIGHBOURS = Subject(
    "neighbours",
    "The least gap between two packs",
    "LineString",
    (
        PLOT,
        PACK,
        Field("other_pack", "The other pack", "number of it"),
        Field("gap_m", "Gap", "dimension"),
        Field("between", "too close, double fence or lane", "text"),
        Field("keeps_separation", "Whether the gap is as wide as asked for", "yes or no"),
        Field("facing_m", "Length of fence that faces the other", "length"),
        Field("sees_share", "Part of the other's ground that it sees", "share"),
        Field("seen_share", "Part of its ground that the other sees", "share"),
    ),
)
