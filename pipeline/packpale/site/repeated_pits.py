"""Trial pits that stand at one place and say different things: a hole surveyed twice, or a slip of the pen."""

from collections.abc import Iterator, Sequence

from packpale.site.model import Pit

ONE_PLACE_M = 0.1
"""Places that round to the same multiples of this are one: no bucket digs two holes nearer to each other. [m]"""
MOST_LISTED = 5
"""Places that the note lists."""


def note_of_repeated_pits(name: str, pits: Sequence[Pit], rows: Sequence[int]) -> str | None:
    """What to know of pits at one place that differ, ``rows`` being theirs in the table; None if there are none.

    Of such pits ``soil_on`` takes the mean of numbers, since each has the same weight, and the word of the last.
    """
    places = list(_differing(pits, rows))
    if not places:
        return None
    listed = ", ".join(f"rows {' and '.join(map(str, rows))} in {' and '.join(c)}" for rows, c in places[:MOST_LISTED])
    more = len(places) - MOST_LISTED
    others = f" and {more} more places" if more > 0 else ""
    return (
        f"{name}: trial pits at one place differ: {listed}{others}. "
        "The mean of numbers is used there, and the word of the last row; drop the rows that are wrong."
    )


def _differing(pits: Sequence[Pit], rows: Sequence[int]) -> Iterator[tuple[list[int], list[str]]]:
    """Rows of each place whose pits differ, and the columns in which they do."""
    places: dict[tuple[int, int], list[int]] = {}
    for i, pit in enumerate(pits):
        places.setdefault((round(pit.x / ONE_PLACE_M), round(pit.y / ONE_PLACE_M)), []).append(i)
    for here in places.values():
        said: dict[str, set[float | str]] = {}
        for i in here:
            for column, value in pits[i].values.items():
                said.setdefault(column, set()).add(value)
        columns = [column for column, values in said.items() if len(values) > 1]
        if columns:
            yield [rows[i] for i in here if any(c in pits[i].values for c in columns)][:MOST_LISTED], columns
