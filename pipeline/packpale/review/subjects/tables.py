"""The CSV tables of a run and of a plot."""

from packpale.review.subjects.field import PACK, PLOT, Field, Subject
from packpale.review.subjects.line import ARC, BEARING, CHAINAGE, GROUND, INVERT, RADIUS

OF_A_PLOT = (
    Field("feasible", "Whether the enclosures asked for fit", "yes or no"),
    Field("reason", "Why not", "text"),
    Field("plot_area_m2", "Area of the plot", "area"),
    Field("usable_area_m2", "Ground that no limit takes", "area"),
    Field("enclosed_area_m2", "Ground inside all fences", "area"),
    Field("smallest_enclosure_m2", "Smallest of them", "area"),
    Field("fence_length_m", "Fence in plan", "length"),
    Field("fence_length_3d_m", "Fence on the ground", "length"),
    Field("mean_slope_deg", "Mean slope inside", "slope"),
    Field("mean_suitability", "Mean suitability inside, 0 to 1", "share"),
    Field("cut_bank_m3", "Dug", "volume"),
    Field("rock_bank_m3", "Of it rock", "volume"),
    Field("wet_bank_m3", "Of it below the water table", "volume"),
    Field("surplus_loose_m3", "Left over", "volume"),
    Field("cost_p10", "One price in ten is below [currency]", "money"),
    Field("cost_p50", "Middle estimate of the price [currency]", "money"),
    Field("cost_p90", "One price in ten is above [currency]", "money"),
    Field("escape_dig_rate_m_per_h", "An animal gets out if it digs faster than", "speed"),
    Field("over_limits_m", "Fence line over limits", "length"),
    Field("price_per_ha", "Middle estimate for each hectare enclosed", "money"),
)
"""What a plot knows by itself."""
RANKING = Subject(
    "ranking.csv",
    "A plot",
    "",
    (
        Field("rank", "Rank; empty where nothing fits", "number of it"),
        PLOT,
        *OF_A_PLOT[:2],
        Field("score", "Score of 100", "score"),
        Field("first_place_share", "Part of the drawn cases in which it comes first", "share"),
        *OF_A_PLOT[2:],
        Field("first_place_share_any_weights", "The same for any weights", "share"),
        Field("usual_rank_best", "Best rank in the middle eight tenths of the draws", "number of it"),
        Field("usual_rank_worst", "Worst rank in them", "number of it"),
    ),
)
EARTHWORKS = Subject(
    "earthworks.csv",
    "An enclosure",
    "",
    (
        PLOT,
        PACK,
        Field("fence_length_m", "Fence in plan", "length"),
        Field("section_area_m2", "Mean area of the cut section", "section"),
        Field("cut_bank_m3", "Dug", "volume"),
        Field("rock_bank_m3", "Of it rock", "volume"),
        Field("wet_bank_m3", "Of it below the water table", "volume"),
        Field("average_end_area_m3", "Dug, by the average end area method", "volume"),
        Field("backfill_compacted_m3", "Filled back", "volume"),
        Field("cut_loose_m3", "Dug, as it lies loose", "volume"),
        Field("surplus_loose_m3", "Left over", "volume"),
        Field("import_compacted_m3", "Fill brought in", "volume"),
        Field("soft_rock_bank_m3", "Soft rock", "volume"),
        Field("hard_rock_bank_m3", "Hard rock", "volume"),
        Field("deepest_m", "Deepest place of the trench", "dimension"),
        Field("wall_protection_m", "Trench deep enough for wall protection", "length"),
        Field("way_out_m", "Trench deep enough for a way out", "length"),
        Field("in_water_m", "Trench in water", "length"),
    ),
)
X, Y = Field("x", "Easting", "coordinate"), Field("y", "Northing", "coordinate")
SETTING_OUT = Subject(
    "setting_out.csv", "A point along a line", "", (PACK, CHAINAGE, X, Y, GROUND, INVERT, BEARING, ARC, RADIUS)
)
ARCS = Subject(
    "arcs.csv",
    "An arc of a line",
    "",
    (
        PACK,
        ARC,
        Field("centre_x", "Centre, easting", "coordinate"),
        Field("centre_y", "Centre, northing", "coordinate"),
        Field("radius_m", "Radius", "dimension"),
        Field("turn_deg", "Angle that it turns through", "bearing"),
        Field("start_chainage_m", "Chainage of its start", "length"),
        Field("length_m", "Length", "length"),
        Field("start_x", "Start, easting", "coordinate"),
        Field("start_y", "Start, northing", "coordinate"),
        Field("start_bearing_deg", "Bearing at its start", "bearing"),
        Field("end_x", "End, easting", "coordinate"),
        Field("end_y", "End, northing", "coordinate"),
        Field("end_bearing_deg", "Bearing at its end", "bearing"),
        Field("deflection_deg", "Deflection from the tangent to the long chord", "bearing"),
        Field("long_chord_m", "Long chord", "length"),
        Field("mid_ordinate_m", "Mid-ordinate", "dimension"),
        Field("tangent_m", "Tangent; empty where the turn is half a circle or more", "length"),
        Field("external_m", "External; empty there too", "length"),
    ),
)
PEGS = Subject(
    "pegs.csv",
    "A peg",
    "",
    (
        PACK,
        Field("peg", "Number of the peg along the line", "number of it"),
        Field("kind", "What it is for", "text"),
        Field("post", "Number of the post there", "number of it"),
        CHAINAGE,
        X,
        Y,
        GROUND,
        INVERT,
        Field(
            "from_main_peg", "Number of the main peg at it or before it; empty for posts of airlocks", "number of it"
        ),
        Field("along_chord_m", "From there along the chord to the next main peg", "length"),
        Field("out_from_chord_m", "Squarely out from that chord, away from the ground enclosed", "length"),
        ARC,
        RADIUS,
        Field("arc_from_start_of_arc_m", "Along the arc from its start", "length"),
        Field("deflection_deg", "Deflection from the tangent at the arc's start", "bearing"),
        Field("chord_from_start_of_arc_m", "Chord from the arc's start", "length"),
        Field("chord_from_previous_peg_m", "Chord from the peg before", "length"),
        Field("bearing_from_a_deg", "Grid bearing from stake A", "bearing"),
        Field("distance_from_a_m", "Horizontal distance from stake A", "length"),
        Field("along_baseline_1_m", "Along baseline 1", "length"),
        Field("right_of_baseline_1_m", "To its right; along baseline 2 from stake A", "length"),
        Field("error_m", "What it may be out by if it is set as pegging.txt says", "length"),
        Field("over_limit", "Limits that the line runs over there", "text"),
    ),
)
POINTS = Subject(
    "points.csv",
    "A stake or peg, in metres of the run's CRS",
    "",
    (
        Field("name", "Pack, and letter of the stake or number of the peg", "text"),
        Field("E", "Easting [m]", "coordinate"),
        Field("N", "Northing [m]", "coordinate"),
        Field("Z", "Ground level [m]; empty where it is not known", "coordinate"),
        Field("code", "stake, or what the peg is for, in one word", "text"),
    ),
)
