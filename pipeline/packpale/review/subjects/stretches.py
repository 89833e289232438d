"""Stretches along a fence line, and places where a pit would help."""

from packpale.review.subjects.field import PACK, PLOT, Field, Subject
from packpale.review.subjects.line import CHAINAGE

STRETCH = (
    PLOT,
    PACK,
    Field("kind", "What holds along it", "text"),
    Field("start_chainage_m", "Chainage of its start", "length"),
    Field("end_chainage_m", "Chainage of its end", "length"),
    Field("length_m", "Length", "length"),
)
TRENCH_STRETCHES = Subject(
    "trench_stretches",
    "A stretch of trench that needs looking after",
    "LineString",
    (*STRETCH, Field("worst_m", "The depth farthest off", "dimension")),
)
CLIMB_STRETCHES = Subject(
    "climb_stretches",
    "A stretch where ground or trees lower the fence",
    "LineString",
    (*STRETCH, Field("worst_m", "Least height left, or least distance to the wood", "dimension")),
)
DIG_STRETCHES = Subject(
    "dig_stretches",
    "A stretch by how long the mesh holds",
    "LineString",
    (
        *STRETCH,
        Field("worst", "The least along it, in the unit of the next column", "number"),
        Field("unit", "m/h, h or m", "text"),
    ),
)
ADVISED_PITS = Subject(
    "advised_pits",
    "A place where a trial pit would narrow the price most",
    "Point",
    (
        PLOT,
        PACK,
        Field("pit", "Number of the pit", "number of it"),
        Field("flank", "Flank of the line", "text"),
        CHAINAGE,
    ),
)
