"""What ground a fence encloses."""

from packpale.review.subjects.field import PACK, PLOT, Field, Subject

INSIDE = Subject(
    "inside",
    "What ground an enclosure holds; empty where it is not known",
    "Polygon",
    (
        PLOT,
        PACK,
        Field("area_m2", "Area enclosed", "area"),
        Field("wood_m2", "Woodland", "area"),
        Field("mapped_water_m2", "Mapped water", "area"),
        Field("hollows_m2", "Hollows that can stand in water", "area"),
        Field("water_edge_m2", "Edge of water", "area"),
        Field("steep_m2", "Ground past the limit of slope", "area"),
        Field("rocky_m2", "Rock near the surface", "area"),
        Field("wet_m2", "Wet ground", "area"),
        Field("streams_m", "Mapped streams", "length"),
        Field("lowest_m", "Lowest ground", "dimension"),
        Field("highest_m", "Highest ground", "dimension"),
    ),
)
