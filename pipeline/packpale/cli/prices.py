"""The table of prices with the quantities of a finished run beside it, to fill in with a contractor."""

from pathlib import Path

from packpale.cli.start import PRICES, write_text
from packpale.cli.template import words_of_rates
from packpale.faults import Faults, doing
from packpale.run.compare import read_finished_run
from packpale.site.prices import is_empty, table_to_fill_in

MOST_PLOTS = 5
"""Plots whose quantities stand in the table, the first of the ranking."""


def write_prices(folder: Path, run: Path) -> tuple[str, ...]:
    """Write ``folder/prices.csv`` with the quantities of a run; lines for the user.

    A table in which no price is filled in makes way. Raises Faults if one is, or if there is no finished run.
    """
    target = folder / PRICES
    if target.exists() and not is_empty(target):
        raise Faults(f"{target}: has prices filled in and is not overwritten; name another folder for the new table")
    finished = read_finished_run(run)
    # In the order of ranking.csv; plots on which nothing fits have no bill.
    priced = {p: finished.summaries[p].items for p in finished.places if finished.summaries[p].items}
    plots = [(p, {item["key"]: item["quantity"] for item in priced[p]}) for p in list(priced)[:MOST_PLOTS]]
    if not plots:
        raise Faults(f"{run}: holds no plot with a fence line, so that there are no quantities; look at its index.html")
    settings = finished.record["settings"]
    text = table_to_fill_in(words_of_rates(), settings["currency"], plots, feet=settings["units"] == "imperial")
    with doing("writing the prices"):
        target.unlink(missing_ok=True)
    write_text(target, text)
    return (
        f"{target}: written, with the quantities of {', '.join(name for name, _ in plots)}; fill in low, likely, high, "
        "source and date",
        f'next: name it under [rates] as file = "{PRICES}" if it is not yet, and run again',
    )
