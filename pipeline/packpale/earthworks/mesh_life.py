"""What wire the mesh is of: how long it lasts in the ground, and what is published on wire that wolves got through.

Zinc goes first: by the design rates of AASHTO LRFD Bridge Design Specifications (2017), made for galvanised steel in
fill that is tested for resistivity, pH and salts: 0.35 oz/ft2 a year for two years, 0.09 after. Then the steel rusts at
12 um a year (FHWA-NHI-09-087, 2009, from memory). In soil outside these limits it goes faster, by how much nobody can
say without a test. Zinc on coupons from walls 19 to 20 years old had gone at about 0.032 oz/ft2 a year (Brigham Young
University, thesis etd/8408).
"""

import math

from packpale.earthworks.model import Item, MeshLife
from packpale.settings import MeshSettings
from packpale.values.notes import Note, listed, phrase
from packpale.values.quantity import Quantity, given, printed

KILLED_PUPS = printed(2, "in")
"""Openings that pups of foxes died in: Fur-farming in Canada, 1913-14, pp. 48-49."""
OZ_PER_FT2 = 0.028349523125 / 0.3048**2
"""Avoirdupois ounces on a square foot. [kg/m2]"""
ZINC_FIRST, ZINC_AFTER = 0.35 * OZ_PER_FT2, 0.09 * OZ_PER_FT2
"""Zinc lost in a year, in the first two and later. [kg/m2]"""
FIRST_YEARS = 2.0
STEEL_PER_YEAR = 12e-6
"""Steel lost in a year from each surface. [m]"""
SECTION_LEFT = 0.5
"""Part of a wire's section that has to be left. Assumption."""
BITTEN_THROUGH = printed(3.8, "mm")
"""Wire that wolves of a game park bit through (press, February 2019)."""


def zinc_years(zinc: float) -> float:
    """Years until a coating on the wire's surface [kg/m2] is gone."""
    first = min(zinc / ZINC_FIRST, FIRST_YEARS)
    return first + max(zinc - FIRST_YEARS * ZINC_FIRST, 0.0) / ZINC_AFTER


def steel_years(wire: float) -> float:
    """Years until bare wire of a diameter [m] is thinned to SECTION_LEFT of its section.

    d sqrt(p) is left of the diameter d, of which two surfaces have lost the rest.
    """
    return wire * (1 - math.sqrt(SECTION_LEFT)) / 2 / STEEL_PER_YEAR


def mesh_life(mesh: MeshSettings, buried: Item) -> MeshLife | None:
    """Life of the buried mesh, whose line of the bill is ``buried``; None where wire or zinc are not set."""
    if mesh.wire_mm is None or mesh.zinc_g_per_m2 is None:
        return None
    zinc = zinc_years(mesh.zinc_g_per_m2 / 1000)
    wire = zinc + steel_years(mesh.wire_mm / 1000)
    price = buried.price[1]
    return MeshLife(zinc, wire, (price / wire, price / zinc))


def mesh_notes(mesh: MeshSettings, life: MeshLife | None) -> list[Note]:
    """What is not known of the mesh, whether such wire has been bitten through, and how long it lasts."""
    notes = []
    missing = [k for k in ("wire_mm", "opening_mm", "zinc_g_per_m2") if getattr(mesh, k) is None]
    if missing:
        named = listed([phrase(f"{{setting:mesh.{k}}}") for k in missing], ", ")
        notes.append(
            Note(
                "mesh not described",
                "nobody has said what the mesh is: not set are {missing}",
                "Whether it holds a wolf, and for how long, cannot be told. Wolves bit through wire of {bitten} in a "
                "game park (press, 2019). Rules read ask for 11 1/2 gauge wire ({florida}) in mobile exhibits (Florida "
                "68A-6.015, wolves among the animals) and 9 gauge ({ohio}) for hyenas and large cats (Ohio 901:1-4-03 "
                "and -05); none gives an opening for wolves, and openings of {pups} have killed fox pups (Fur-farming "
                "in Canada, 1914). Chain link comes with {thin} or {thick} g of zinc on a square metre of wire (ASTM "
                "A392, second-hand).",
                {
                    "missing": named,
                    "bitten": BITTEN_THROUGH,
                    "florida": given(0.00287, "thickness"),
                    "ohio": given(0.00376, "thickness"),
                    "pups": KILLED_PUPS,
                    "thin": 370,
                    "thick": 610,
                },
            )
        )
    if mesh.wire_mm is not None and mesh.wire_mm / 1000 <= BITTEN_THROUGH.si + 1e-9:
        notes.append(
            Note(
                "wire bitten through",
                "the wire is {wire} thick, and wolves have bitten through {bitten}",
                "That was the plastic-coated mesh of a game park (press, 2019). Take thicker wire where they reach it.",
                {"wire": given(mesh.wire_mm / 1000, "thickness"), "bitten": BITTEN_THROUGH},
            )
        )
    if mesh.opening_mm is not None and mesh.opening_mm / 1000 >= KILLED_PUPS.si - 1e-9:
        notes.append(
            Note(
                "openings for pups",
                "the openings of the mesh are {opening} wide, and {pups} have killed fox pups",
                "Fur-farming in Canada (1914) asks for finer mesh near the ground.",
                {"opening": given(mesh.opening_mm / 1000, "thickness"), "pups": KILLED_PUPS},
            )
        )
    if life is not None:
        notes.append(
            Note(
                "mesh rusts away",
                "the zinc of the buried mesh is gone after {zinc} years, half of its wire after {wire}",
                "So by the design rates of AASHTO (2017) for zinc and of FHWA-NHI-09-087 for steel (from memory), in "
                "soil within their limits; in wet, salty, acid or made ground it goes sooner: have the soil tested, "
                "and dig up a piece from year {zinc} on. Over these years the buried mesh costs {low} to {high} a "
                "year.",
                {
                    "zinc": math.floor(life.zinc_years),
                    "wire": math.floor(life.wire_years),
                    "low": Quantity(life.per_year[0], "money"),
                    "high": Quantity(life.per_year[1], "money"),
                },
            )
        )
    return notes
