"""The fence line and what stands along it."""

from packpale.review.subjects.field import PACK, PLOT, Field, Subject

EGG = (
    Field("big_x", "Centre of the big end, x", "coordinate"),
    Field("big_y", "Centre of the big end, y", "coordinate"),
    Field("axis_bearing_deg", "Bearing of the axis from the big end to the small end", "bearing"),
    Field("big_radius_m", "Radius of the big end", "dimension"),
    Field("small_radius_m", "Radius of the small end", "dimension"),
    Field("flank_radius_m", "Radius of the flanks", "dimension"),
    Field("centre_spacing_m", "Distance between the centres of the two ends", "dimension"),
)
"""The seven figures of an egg; empty where no egg is."""
CHAINAGE = Field("chainage_m", "Chainage", "length")
FENCE_LINES = Subject(
    "fence_lines",
    "A fence line with the ground that it encloses",
    "Polygon",
    (
        PLOT,
        PACK,
        *EGG,
        Field("area_m2", "Area enclosed", "area"),
        Field("perimeter_m", "Length in plan", "length"),
        Field("area_bound_m2", "No feasible egg is larger than this", "area"),
        Field("fit_s", "Time that the fit took", "duration"),
        Field("origin", "fitted, given (an egg by its figures) or drawn", "text"),
    ),
)
ALTERNATIVES = Subject(
    "alternatives",
    "A line that could be built instead",
    "Polygon",
    (
        PLOT,
        Field("aim", "What was looked for: size, share or budget", "text"),
        Field("value", "Of it: hectares, part of the line over limits, or currency", "number"),
        Field("feasible", "Whether there is such a line", "yes or no"),
        Field("area_m2", "Area enclosed", "area"),
        Field("fence_length_m", "Length in plan", "length"),
        Field("over_limits_m", "Of it over limits", "length"),
        Field("price_likely", "Likely price [currency]", "money"),
        Field("price_per_ha", "Likely price for each hectare", "money"),
        Field("area_bound_m2", "No feasible egg is larger than this", "area"),
        *EGG,
    ),
)
APRONS = Subject(
    "aprons",
    "Ground under which the apron lies",
    "Polygon",
    (
        PLOT,
        PACK,
        Field("reach_m", "Reach from the fence line", "dimension"),
        Field("side", "outside or inside", "text"),
    ),
)
GROUND = Field("ground_m", "Ground level", "dimension")
INVERT = Field("invert_m", "Bottom of the trench", "dimension")
BEARING = Field("bearing_deg", "Bearing along the line", "bearing")
ARC = Field("arc", "Arc of the egg, or straight", "text")
RADIUS = Field("radius_m", "Radius there; empty on straights", "dimension")
STATIONS = Subject(
    "stations",
    "A station along a fence line",
    "Point",
    (
        PLOT,
        PACK,
        CHAINAGE,
        GROUND,
        INVERT,
        BEARING,
        ARC,
        RADIUS,
        Field("depth_m", "Depth of the trench", "dimension"),
        Field("rock_depth_m", "Depth to rock", "dimension"),
        Field("water_depth_m", "Depth to water", "dimension"),
        Field("tunnel_m", "Shortest way under the mesh", "dimension"),
        Field("dig_rate_m_per_h", "Digging rate that gets out there within the unattended hours", "speed"),
        Field("margin_h", "Hours to spare at the rate given", "duration"),
        Field("height_inside_m", "Height of the fence over the ground inside", "dimension"),
        Field("height_outside_m", "Height of the fence over the ground outside", "dimension"),
    ),
)
POSTS = Subject(
    "posts",
    "A post",
    "Point",
    (
        PLOT,
        PACK,
        Field("post", "Number of the post along the line", "number of it"),
        Field("chainage_m", "Chainage; empty for posts of airlocks, as is the angle", "length"),
        GROUND,
        Field("deflection_deg", "Angle in plan between the panels there", "bearing"),
        Field("kind", "line, bend, steep or gate; in an airlock with the number of its gate", "text"),
    ),
)
GATES = Subject(
    "gates",
    "A gate",
    "Point",
    (
        PLOT,
        PACK,
        Field("gate", "Number of the gate along the line", "number of it"),
        CHAINAGE,
        Field("width_m", "Clear width", "dimension"),
    ),
)
AIRLOCKS = Subject(
    "airlocks",
    "Room between a gate and the second one inside it",
    "Polygon",
    (
        PLOT,
        PACK,
        Field("gate", "Number of its gate along the line", "number of it"),
        Field("length_m", "Depth inward from the fence line", "dimension"),
        Field("width_m", "Width along the fence line", "dimension"),
        Field("area_m2", "Area of the room", "area"),
    ),
)
STAKES = Subject(
    "stakes",
    "A stake to set the line out from",
    "Point",
    (PLOT, PACK, Field("stake", "Its letter", "text"), Field("what", "What it marks", "text")),
)
TOUCHES = Subject(
    "touches",
    "A place where a limit holds the line",
    "Point",
    (PLOT, PACK, CHAINAGE, Field("limit", "What holds it", "text")),
)
OVER_LIMITS = Subject(
    "over_limits",
    "A stretch of line over a limit that may lie inside",
    "LineString",
    (
        PLOT,
        PACK,
        Field("kind", "Kind of the limit", "text"),
        Field("from_m", "Chainage of its start", "length"),
        Field("to_m", "Chainage of its end; past the perimeter where it runs over the line's start", "length"),
    ),
)
