"""How the figures come about, in sentences for people who know the trade."""

METHOD = (
    "Ground: elevations are brought onto one grid in metres without filling gaps; between cell centres they are "
    "interpolated bilinearly.",
    "Slope: steepest slope of each cell from its eight neighbours by Horn's weighted differences (Proceedings of the "
    "IEEE 69, 1981).",
    "Drainage: hollows are filled by priority flood (Barnes and others, Computers & Geosciences 62, 2014) and each "
    "cell drains to its steepest neighbour; from that come the area that drains through a cell, the topographic "
    "wetness index (Beven and Kirkby, Hydrological Sciences Bulletin 24, 1979) and the depth of ponding up to the "
    "spill level, an upper bound.",
    "Diggability: the worst of depth to rock, stones, clay, wetness and slope by the curves that the USDA NRCS "
    "publishes for shallow excavations; the worst is named as what limits the digging.",
    "Suitability: the weighted mean of the criteria set; land over a hard limit, within a setback or a keep-away "
    "distance is not usable whatever its score.",
    "Fence line: an egg of four circular arcs that meet without a corner, the largest that lies with its free strip in "
    "the usable land. The upper limit beside its area is proven by branch and bound: no egg of the shapes allowed is "
    "larger than that. A line that was given is used as it is.",
    "Trench: its section is carried along the line in three dimensions, so that the outside of a bend holds more than "
    "the inside; rock and water are cut off where their surfaces lie above the bottom. Pits count by their distance, "
    "with the soil map behind them.",
    "Price: quantities times rates; its spread from random draws of rates, depth to rock, water table and digging.",
    "Digging out: the shortest tunnel from the ground inside to the ground outside round the buried mesh, in the "
    "section as drawn on the ground as it is. No speed of digging is assumed: the figure is the speed that would be "
    "enough.",
    "Climbing: the fence's top above the highest ground within the distance set, straight across from the fence on "
    "either side; single trees and boulders by their own heights. The overhang is left out.",
    "Crossings of water: time of concentration after Kirpich (Civil Engineering 10, 1940), peak flow by the rational "
    "method (FHWA Hydraulic Engineering Circular 22), opening after Manning with what bars and debris leave of it.",
    "Round along the fence: a parallel of the fence line, walked over the ground at the speed of Tobler's function "
    "(1993), 6 exp(-3.5 |slope + 0.05|) km/h, times the factor set; a closed loop with a stop at each check point.",
    "Howls: spreading over a sphere, absorption by the air after ISO 9613-1, ground, leaves and the way over ridges "
    "after ISO 9613-2, band by band; heard where one band stands out of the background.",
    "Dens: the weighted mean of drainage, digging, shelter from wind (height above the mean of the ground around: "
    "topographic position, Guisan, Weiss and Weiss, Plant Ecology 143, 1999), distance from people and from the fence, "
    "slope and aspect; the best places apart from each other, wet, steep and serviced ground left out.",
    "Views: straight lines from the eyes at each viewing point to the middle of each cell inside the fence, over the "
    "ground as it is interpolated; trees are left out, so that more is hidden than is said.",
    "Ranking: the weighted mean of suitability, size and price for each unit of area, each against the best plot.",
)
