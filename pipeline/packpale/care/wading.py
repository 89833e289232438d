"""Where the round along the fence meets water, so that nobody has to wade in the dark."""

from collections.abc import Sequence

import numpy as np
import shapely

from packpale.care.patrol import Round
from packpale.land.model import Land
from packpale.land.water import standing_water
from packpale.site import Site
from packpale.values.notes import Note, Phrase, listed, phrase
from packpale.values.quantity import Quantity, given


def wading_notes(site: Site, land: Land, walks: Sequence[Round], *, deeper_than: float) -> list[Note]:
    """Mapped streams that each round crosses, and its length over water and hollows ``deeper_than`` [m]."""
    grid, features = site.grid, site.features
    water = standing_water(features, grid, land.ponding, deeper_than=deeper_than)
    parts = shapely.get_parts(shapely.get_parts(list(features.get("watercourses", ()))))
    streams = parts[shapely.get_dimensions(parts) == 1]
    notes = []
    for walk in walks:
        path = shapely.LineString(walk.path)
        crossed = int(shapely.get_num_coordinates(shapely.intersection(streams, path)).sum())
        xy = shapely.get_coordinates(path)
        along = np.append(0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T)))
        at = np.arange(0, path.length, grid.cell / 4)
        wet = path.length * float(np.mean(grid.nearest(water, *(np.interp(at, along, c) for c in xy.T))))
        met: list[Phrase] = []
        if crossed:
            met.append(phrase(f"crosses mapped streams at {{n}} {'place' if crossed == 1 else 'places'}", n=crossed))
        if wet >= 0.5:
            depth = given(deeper_than, "dimension")
            text = "runs over {length} that can stand more than {depth} deep in water"
            met.append(phrase(text, length=Quantity(wet, "length"), depth=depth))
        if met:
            notes.append(
                Note(
                    "wading on the round",
                    "the round meets water",
                    "It {met}; build footbridges or lead it elsewhere, so that nobody has to wade on a round.",
                    {"met": listed(met, " and ")},
                    (walk.pack,),
                    size=wet + crossed,
                )
            )
    return notes
