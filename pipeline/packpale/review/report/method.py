"""How each figure is computed, in words, with its formula and its source."""

from dataclasses import dataclass

from packpale.review.report.blocks import Section, paragraph, table


@dataclass(frozen=True)
class Method:
    """One figure."""

    figure: str
    how: str
    formula: str
    source: str


METHODS = (
    Method(
        "Ground",
        "Elevations are brought onto one grid in metres without filling gaps; between cell centres they are "
        "interpolated.",
        "bilinear",
        "own",
    ),
    Method(
        "Slope",
        "Steepest slope of each cell from its eight neighbours by weighted differences.",
        "tan slope = sqrt((dz/dx)² + (dz/dy)²), weights 1 2 1",
        "Horn, Proceedings of the IEEE 69, 1981",
    ),
    Method(
        "Drainage, wetness, ponding",
        "Hollows are filled and each cell drains to its steepest neighbour. Ponding is the depth up to the spill "
        "level, an upper bound.",
        "wetness = ln(area draining through a metre of contour / tan slope)",
        "Barnes and others, Computers & Geosciences 62, 2014; Beven and Kirkby, Hydrological Sciences Bulletin 24, "
        "1979",
    ),
    Method(
        "Diggability",
        "The worst of depth to rock, stones, clay, wetness and slope; the worst is named as what limits the digging.",
        "minimum of the curves",
        "USDA NRCS, interpretation for shallow excavations",
    ),
    Method(
        "Suitability",
        "The weighted mean of the criteria set. Land over a hard limit, within a setback or a keep-away distance is "
        "not usable whatever its score.",
        "sum(weight × criterion) / sum(weight)",
        "own; weights as set",
    ),
    Method(
        "Fence line",
        "An egg of four circular arcs that meet without a corner, the largest that fits with its free strip. That no "
        "larger one fits than told is proven by branch and bound. A line that was given is used as it is.",
        "flank radius = (R² + d² − r²) / (2 (R − r)), d the distance of the centres",
        "own; closed form",
    ),
    Method(
        "Volumes dug",
        "The section of the trench is carried along the line in three dimensions, so that the outside of a bend holds "
        "more than the inside; rock and water are cut off where their surfaces lie above the bottom. Pits count by "
        "their distance, with the soil map behind them.",
        "V = sum over stations of the cut c(o) (1 + o × curvature), o the offset from the line",
        "Pappus’s theorem, as a sum",
    ),
    Method(
        "Depth of the trench",
        "From the higher edge of the cut straight down to the bottom beside it, at each station; on a side slope that "
        "is the uphill edge. The ground differs from its model: measure on the day.",
        "ground at the higher edge − bottom beside it",
        "own",
    ),
    Method(
        "Take-off of mesh and posts",
        "Mesh comes in strips as wide as a roll, laid side by side and end to end with laps; posts stand at the "
        "spacing set, at bends and gates. What is bought is whole rolls, offcuts included.",
        "area = (length + pieces × lap) × (width + laps)",
        "own",
    ),
    Method(
        "Price",
        "Quantities as drawn times likely rates make the bill. Rates, depth to rock, water table and digging too deep "
        "are drawn at random; half of the draws lie below the middle estimate.",
        "bill = sum(quantity × rate); rates triangular (low, likely, high)",
        "range by class: AACE International Recommended Practice 18R-97",
    ),
    Method(
        "Digging out",
        "The shortest tunnel from the ground inside to the ground outside round the buried mesh, in the section as "
        "drawn on the ground as it is. No speed of digging is assumed.",
        "speed that is enough = shortest tunnel / hours that nobody looks; on level ground the tunnel is depth + "
        "sqrt(reach² + (depth − cover)²) + cover",
        "own",
    ),
    Method(
        "Climbing",
        "The fence’s top above the highest ground within the distance set, straight across from the fence on either "
        "side; single trees and boulders by their own heights. The overhang is left out.",
        "height left = ground at the fence + height − highest ground beside it",
        "own",
    ),
    Method(
        "Crossings of water",
        "Where a flow path that drains the least area set crosses the line, those within a post spacing as one. "
        "Opening full to its height, with what bars and debris leave of it.",
        "Q = C × i × A; v = R^(2/3) × sqrt(slope) / n",
        "Kirpich, Civil Engineering 10, 1940; FHWA Hydraulic Engineering Circular 22; Manning",
    ),
    Method(
        "Round along the fence",
        "A parallel of the fence line, walked over the ground as a closed loop with a stop at each check point; the "
        "speed is along the plan.",
        "6 exp(−3.5 |slope + 0.05|) km/h × the factor set",
        "Tobler, 1993",
    ),
    Method(
        "Howls",
        "From 24 places on the fence and from the middle, spreading over a sphere, less what air, ground, leaves and "
        "the way over ridges take, band by band; heard where one band stands out of the background.",
        "level = source − 20 lg(distance / 1 m) − losses",
        "ISO 9613-1 and ISO 9613-2",
    ),
    Method(
        "Views",
        "Straight lines from the eyes at each viewing point to the middle of each cell inside the fence, over the "
        "ground as it is interpolated; trees are left out, so that more is hidden than is said.",
        "share seen = cells seen / cells inside",
        "own",
    ),
    Method(
        "Dens",
        "The weighted mean of drainage, digging, shelter from wind, distance from people and from the fence, slope and "
        "aspect; the best places apart from each other. Wet, steep and serviced ground is left out.",
        "shelter by height above the mean of the ground around",
        "topographic position: Guisan, Weiss and Weiss, Plant Ecology 143, 1999",
    ),
    Method(
        "Score and ranking",
        "The weighted mean of three parts: suitability inside the fence as it is, size against the largest plot, "
        "price for each unit of area against the cheapest.",
        "100 × sum(weight × part) / sum(weight)",
        "simple additive weighting",
    ),
)


def method_section() -> Section:
    """All of them as a table."""
    heads = (("Figure", "name"), ("How it is computed", "words"), ("Formula", "words"), ("Source", "words"))
    rows = [(m.figure, m.how, m.formula, m.source) for m in METHODS]
    told = paragraph("Own means that no source was followed: the code and its tests are the reference.")
    made = table("How each figure is computed", heads, rows)
    return Section("How each figure is computed", (made, told), "basis.html#method")
