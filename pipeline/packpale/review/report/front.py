"""What decides between the plots: the verdict, the ranking, how sure it is, and what the price leaves out."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from packpale.review.assumed import invented_rates
from packpale.review.model import FinishedPlots, PlotBrief, RankedPlot, Ranking
from packpale.review.report.blocks import (
    Block,
    Chart,
    Columns,
    Head,
    Run,
    Section,
    Sketch,
    link,
    paragraph,
    points,
    small,
    strong,
    table,
    words,
)
from packpale.review.report.certainty import NAMES, overtaking_sentences, place_sketch, places_text
from packpale.review.report.charts import score_bars
from packpale.review.report.notes import notes_section
from packpale.review.report.price import price_range
from packpale.review.subjects.tables import RANKING
from packpale.review.words import MISSING, Wording, begun
from packpale.settings import RANKING_CRITERIA, Project
from packpale.values.notes import Note

PAGE = "index.html"
MORE = RANKING.of(
    *("fence_length_m", "mean_slope_deg", "cut_bank_m3", "rock_bank_m3", "wet_bank_m3", "escape_dig_rate_m_per_h")
)
"""Further figures of each plot, for who asks."""


@dataclass(frozen=True)
class RunSource:
    """All plots of a run, and how their figures are shown."""

    finished: FinishedPlots
    ranking: Ranking
    project: Project
    show: Wording
    record: Mapping[str, Any]

    @property
    def winners(self) -> list[RankedPlot]:
        """Plots on which an enclosure fits, the first one first."""
        return [row for row in self.ranking.rows if row.feasible]

    @property
    def told(self) -> tuple[RankedPlot, ...]:
        """Plots that have a sheet."""
        full = [row for row in self.ranking.rows if not self.brief(row).screened]
        return tuple(full[: self.project.ranking.told_in_full])

    @property
    def failed(self) -> dict[str, str]:
        """Plots that could not be computed, and why."""
        plots = self.record.get("plots", {})
        return {name: str(p["reason"]) for name, p in plots.items() if p["status"] == "failed"}

    def brief(self, place: RankedPlot) -> PlotBrief:
        return self.finished.briefs[place.plot_id]

    def name_of(self, place: RankedPlot, *, in_print: bool) -> Run:
        """A plot's name, and the way to its sheet; if it has none, to its own page, in print to where that stands."""
        if self.brief(place).screened:
            return Run(place.plot_id)
        if place in self.told:
            return link(place.plot_id, f"{PAGE}#plot-{self.told.index(place) + 1}")
        return link(place.plot_id, f"{PAGE}#others" if in_print else self.plot_page(place))

    def plot_page(self, place: RankedPlot) -> str:
        return f"plots/{self.brief(place).folder}/index.html"

    def range_of(self, place: RankedPlot) -> str:
        """The range of the price by the class of the estimate, without the currency."""
        estimate = self.brief(place).estimate
        middle = self.brief(place).figures["cost_p50"]
        if estimate is None or middle is None:
            return self.show.price(middle)
        low, high = price_range(middle, estimate.low, estimate.high)
        return f"{self.show.price(low)} to {self.show.price(high)}"


def verdict(source: RunSource) -> tuple[Block, ...]:
    """The decision, what is not known of it, and what is missing from it."""
    return (*_decision(source), *_failed(source))


def _decision(source: RunSource) -> Iterator[Block]:
    winners, show = source.winners, source.show
    if not winners:
        if source.ranking.rows:
            plots = "plots that could be computed" if source.failed else "plots"
            said = f"On none of the {plots} does an enclosure fit. Each plot below says what stands in the way."
        else:
            said = "No plot could be computed."
        yield paragraph(said, look="lead")
        return
    first = winners[0]
    brief = source.brief(first)
    f = brief.figures
    looked_at = len(source.ranking.rows)
    if len(winners) == 1:
        among = ", the only plot that takes one" if looked_at > 1 else ""
    else:
        among = f" of {looked_at:,} plots"
    yield paragraph(
        strong(first.plot_id),
        f" comes first{among}: a fence of {show.length(f['fence_length_m'])} round "
        f"{show.area(f['enclosed_area_m2'])}, {_built(source.project, show)}.",
        look="lead",
    )
    estimate = f", a class {brief.estimate.number} estimate (5 is the roughest)" if brief.estimate else ""
    yield paragraph(
        "Reckon with ",
        strong(f"{source.project.currency} {source.range_of(first)}"),
        f"{estimate}. The middle of it is {show.money(f['cost_p50'])}, which is "
        f"{show.money(show.per_area(f['cost_p50'], f['enclosed_area_m2']))} for each {show.area_name}.",
        _rates(source.project),
        look="lead",
    )
    yield from _not_known(source, first)


def _built(project: Project, show: Wording) -> str:
    """The fence in a few figures."""
    fence, trench = project.fence, project.trench
    overhang = f" with {show.dimension(fence.overhang_m)} of overhang" if fence.overhang_m else ""
    way = "out" if trench.side == "outside" else "in"
    reach = f" and {show.dimension(trench.apron_reach_m)} {way}" if trench.apron_reach_m else ""
    return f"{show.dimension(fence.height_m)} high{overhang}, its mesh {show.dimension(trench.depth_m)} down{reach}"


def _rates(project: Project) -> str:
    invented, all_rates = invented_rates(project)
    if not invented:
        return ""
    which = "All the" if invented == all_rates else f"{invented} of the {all_rates}"
    return f" {which} rates behind it are invented: put in those of your contractors before you trust it."


def _not_known(source: RunSource, first: RankedPlot) -> Iterator[Block]:
    """Whether it holds, which is not known; what else is not; and how far the order of the plots can be trusted."""
    rate = source.brief(first).figures["escape_dig_rate_m_per_h"]
    if rate is not None:
        yield paragraph(
            strong("Nobody can say whether it holds a wolf. "),
            f"One that tunnels faster than {source.show.speed(rate)} is out under the mesh between two rounds; no "
            "published figure was found for how fast wolves dig.",
            look="lead",
        )
    said = "Depth to rock and to water is a guess until pits are dug."
    if len(source.winners) > 1:
        said += (
            f" {first.plot_id} comes first in {_cases(source, first.first_place_share)} drawn at random with other "
            "weights of suitability, size and price, other rates, rock and water. Fence lines, slopes and design were "
            "not varied."
        )
    yield paragraph(said, look="lead")


def _cases(source: RunSource, share: float) -> str:
    """A share of the cases drawn, in words."""
    part = "all" if share == 1 else "none of" if share == 0 else f"{source.show.percent(share)} of"
    return f"{part} {source.ranking.draws:,} cases"


def _failed(source: RunSource) -> Iterator[Block]:
    failed = source.failed
    if not failed:
        return
    one = len(failed) == 1
    yield paragraph(
        f"{len(failed)} {'plot is' if one else 'plots are'} missing here: computing failed. Nothing below "
        f"compares with {'it' if one else 'them'}.",
        look="verdict",
    )
    yield points(f"{plot}: {reason}" for plot, reason in failed.items())


def ranking(source: RunSource, overview: Chart | None, most: int | None = None) -> Section:
    """The ranking, or for print its first ``most`` rows, beside a picture of all plots."""
    blocks: list[Block] = []
    if source.winners:
        made = _ranking_table(source, source.winners[:most], in_print=most is not None)
        blocks.append(Columns(((made,), (overview,)), "first wide") if overview else made)
        blocks.append(
            small(
                "Price to reckon with: estimates of that class are often off by so much. Score: suitability of the "
                "land, size and price, weighed as told under ",
                link("How sure the ranking is", f"{PAGE}#how-sure"),
                ". ",
                link("How each figure is computed", "basis.html#method"),
                ".",
            )
        )
        blocks += [*_of_so_many(source, most), *_screened(source)]
    elif overview:
        blocks.append(overview)
    rest = [row for row in source.ranking.rows if not row.feasible]
    if rest:
        blocks.append(
            paragraph(strong(f"Nothing fits on {len(rest):,} plots:" if len(rest) > 1 else "Nothing fits on:"))
        )
        blocks.append(
            points(
                words(
                    source.name_of(row, in_print=most is not None),
                    f": {source.show.say(source.brief(row).reason or '')}.",
                )
                for row in rest[:most]
            )
        )
    return Section("The plots", tuple(blocks), f"{PAGE}#ranking")


def _of_so_many(source: RunSource, most: int | None) -> Iterator[Block]:
    """That not all rows are shown."""
    count = len(source.winners)
    if most is not None and count > most:
        yield small(f"The first {most:,} of {count:,} plots. The page index.html and ranking.csv have all of them.")


def _screened(source: RunSource) -> Iterator[Block]:
    """What it means that plots were only screened."""
    count = sum(source.brief(row).screened for row in source.ranking.rows)
    if not count:
        return
    yield paragraph(
        strong(f"{count:,} of {len(source.ranking.rows):,} plots were only screened. "),
        "They were scored, fitted by a shorter search, priced and ranked: without maps, drawings, setting-out "
        "and views, and with water from no farther than a kilometre. In full their order among each other may be "
        "another. To have all of one: ",
        Run("packpale run SETTINGS --plot NAME", "code"),
        f". To have more of them: raise {source.show.setting('run.detail')}, now {source.project.run.detail}.",
    )


def _ranking_table(source: RunSource, winners: Sequence[RankedPlot], *, in_print: bool) -> Block:
    show, currency = source.show, source.project.currency
    heads = (
        "Rank",
        ("Plot", "name"),
        "Score of 100",
        "Enclosed",
        f"Price to reckon with, {currency}",
        f"Middle, {currency}",
        f"for each {show.area_name}",
    )
    rows = []
    for row in winners:
        f = source.brief(row).figures
        rows.append(
            (
                str(row.rank),
                source.name_of(row, in_print=in_print),
                show.score(row.score),
                show.area(f["enclosed_area_m2"]),
                source.range_of(row),
                show.price(f["cost_p50"]),
                show.price(show.per_area(f["cost_p50"], f["enclosed_area_m2"])),
            )
        )
    return table("Ranking of the plots", heads, rows, look="cards")


def more_figures(source: RunSource, most: int | None = None) -> Section | None:
    """Further figures of the ranked plots, or of the first ``most``."""
    show = source.show
    if not source.winners:
        return None
    heads: list[Head] = [("Plot", "name"), *(field.head for field in MORE), "Eight in ten draws between"]
    rows = []
    for row in source.winners[:most]:
        f = source.brief(row).figures
        said = (show.say(field.figure(f[field.key]) or MISSING) for field in MORE)
        rows.append((row.plot_id, *said, f"{show.price(f['cost_p10'])} to {show.price(f['cost_p90'])}"))
    return Section("More figures of each plot", (table("More figures of each plot", heads, rows),), f"{PAGE}#figures")


def how_sure(source: RunSource) -> Section | None:
    """What the score is made of, and how it moves with the weights."""
    told = source.told
    rows = [row for row in source.winners if row in told]
    if len(source.winners) < 2:
        return None
    weights = source.project.ranking.weights
    whole = sum(weights.values())
    names = [NAMES[name] for name in RANKING_CRITERIA]
    parts = [(row.plot_id, row.parts) for row in rows]
    blocks: list[Block] = [
        paragraph(
            "The score is the mean of three parts, each as counted: ",
            "; ".join(
                f"{name} {source.show.percent(weights.get(key, 0.0) / whole)}"
                for key, name in zip(RANKING_CRITERIA, names, strict=True)
            ),
            ". Suitability goes in as it is, size against the largest plot, price for each unit of area against the "
            "cheapest.",
        ),
        score_bars(parts, names),
        paragraph(
            "Each case draws the weights, every rate and how much too deep the machine digs (the same on all plots), "
            "and each plot’s own rock and water, which move its price and its suitability. Fence lines, areas, slopes, "
            "swell of the soil, weather and changes of design do not vary. "
            f"Where only the weights vary, {rows[0].plot_id} comes first in "
            f"{_cases(source, rows[0].first_place_share_by_weights)}; where only ground and prices vary, in "
            f"{_cases(source, rows[0].first_place_share_by_ground)}."
        ),
        _places(source, rows),
        small(
            f"Box: the middle eight tenths of {source.ranking.draws:,} cases, each weight between half and twice the "
            "chosen one. Line: the same if every mixture of weights is as likely as any other. Dot: the place with "
            "everything as estimated."
        ),
    ]
    said = list(overtaking_sentences(source.ranking))
    if said:
        blocks.append(paragraph(said[0]))
    if len(said) > 1:
        blocks.append(points(map(begun, said[1:])))
    return Section("How sure the ranking is", tuple(blocks), f"{PAGE}#how-sure")


def _places(source: RunSource, rows: Sequence[RankedPlot]) -> Block:
    heads = (
        "Place",
        ("Plot", "name"),
        "First in, weights near the chosen",
        "Usual places",
        "First in, any weights",
        "Usual places, any weights",
        ("From first to last place", "sketch"),
    )
    cells = [
        (
            str(place.rank),
            place.plot_id,
            source.show.percent(place.first_place_share),
            places_text(place.usual_places),
            source.show.percent(place.first_place_share_any),
            places_text(place.usual_places_any),
            Sketch(place_sketch(place, len(source.winners))),
        )
        for place in rows
    ]
    return table("Usual places of each plot", heads, cells)


def others(source: RunSource) -> Section | None:
    """Where plots without a sheet are told of."""
    told = source.told
    rest = [row for row in source.ranking.rows if row not in told and not source.brief(row).screened]
    if not rest:
        return None
    rows = [words(link(row.plot_id, source.plot_page(row)), _in_a_row(source, row)) for row in rest]
    note = small(
        f"Only the first plots have one: {source.show.setting('ranking.told_in_full')} is "
        f"{source.project.ranking.told_in_full} and may be raised. Each of the others has its own page."
    )
    return Section("Plots without a sheet here", (points(rows), note), f"{PAGE}#others")


def _in_a_row(source: RunSource, row: RankedPlot) -> str:
    f = source.brief(row).figures
    if not row.feasible:
        return ": nothing fits."
    area = source.show.area(f["enclosed_area_m2"])
    return f": rank {row.rank}, {area}, {source.project.currency} {source.range_of(row)}."


def run_notes(source: RunSource, notes: Sequence[Note]) -> Section | None:
    """What concerns the whole run, or every plot."""
    found = notes_section(notes, source.show, several_packs=True, address=f"{PAGE}#notes")
    if found is None:
        return None
    said = paragraph("These concern the whole run; what concerns one plot alone stands with it.")
    return Section("What holds for every plot", (said, *found.blocks), found.id)
