"""`packcodec budget`: a day's messages against one link or several."""

import sys
from collections.abc import Mapping
from datetime import date
from typing import Any

import click

from packcodec.budget.best import best_plan
from packcodec.budget.compare import compare_links
from packcodec.budget.edges import Edges, edges_within
from packcodec.budget.plan import Budget, Supply, check_rows, plan_budget
from packcodec.budget.remedies import remedies
from packcodec.budget.room import room_of
from packcodec.budget.season import Season, plan_season
from packcodec.budget.sharing import Sharing, share_channel
from packcodec.budget.verdict import NO_LICENCE
from packcodec.edge.budget_answer import Answer
from packcodec.edge.budget_asked import expected, logged
from packcodec.edge.budget_data import (
    best_data,
    budget_data,
    remedy_data,
    season_data,
    sharing_data,
)
from packcodec.edge.budget_page import write_page
from packcodec.edge.budget_plot import plot_budget
from packcodec.edge.budget_text import (
    tell_best,
    tell_cautions,
    tell_comparison,
    tell_edges,
    tell_energy,
    tell_link,
    tell_messages,
    tell_remedies,
    tell_season,
    tell_sharing,
    tell_verdicts,
)
from packcodec.edge.cli.screen import as_json, between, document, say, schema_argument
from packcodec.edge.files import load
from packcodec.edge.own_radio import own_radio, own_rules
from packcodec.edge.rate_words import read_interval
from packcodec.errors import RadioError
from packcodec.radio.channel import STATIONS_MOST
from packcodec.radio.energy import LITHIUM_CAUTION, BaseLoad, Pack
from packcodec.radio.link import Link
from packcodec.radio.links import OwnRadio, find_link, known_links
from packcodec.radio.rules import Rule, known_rules
from packcodec.radio.sun import season as daylight_of

# No monitor of this kind comes near; beyond it a slip of the finger is more likely.
MOST_WH = 100_000
MOST_W = 10_000


@click.command()
@schema_argument
@click.option("--link", "links", multiple=True, required=True, help="A link; several compare.")
@click.option("--log", help="A detection log: what was really seen, instead of expected rates.")
@click.option("--watch", help="Its effort log: station, start, end, clock.")
@click.option("--watched", metavar="HH:MM-HH:MM", help="Or effort the same every day, in UTC.")
@click.option("--health", help="Its health log.")
@click.option(
    "--every", multiple=True, metavar="MESSAGE=RATE", help="10min, 3/day or 3/day,5/hour."
)
@click.option("--interval", help="How often the summary goes, as 10min or 1h.")
@click.option(
    "--watch-h", type=float, callback=between(0, 24), help="Hours awake a day; 24 if nothing says."
)
@click.option("--rows", type=int, help="At most so many rows in a list.")
@click.option(
    "--stations",
    type=int,
    callback=between(1, STATIONS_MOST),
    help="So many stations share the channel.",
)
@click.option("--season", metavar="FIRST/LAST", help="Two days: 2027-04-01/2027-09-30.")
@click.option(
    "--latitude", type=float, callback=between(-90, 90), help="Of the stations, degrees north."
)
@click.option(
    "--longitude", type=float, callback=between(-180, 180), help="Degrees east; hardly matters."
)
@click.option(
    "--battery-wh",
    type=float,
    callback=between(0, MOST_WH),
    default=37.0,
    show_default=True,
    help="The pack.",
)
@click.option(
    "--usable",
    type=float,
    callback=between(0, 1),
    default=1.0,
    help="Share of the pack to be had; less in cold.",
)
@click.option(
    "--base-w",
    type=float,
    callback=between(0, MOST_W),
    default=2.0,
    show_default=True,
    help="The monitor awake.",
)
@click.option(
    "--asleep-w", type=float, callback=between(0, MOST_W), default=0.0, help="The monitor asleep."
)
@click.option(
    "--solar-wh",
    type=float,
    callback=between(0, MOST_WH),
    default=0.0,
    help="What the sun brings to the load a day.",
)
@click.option(
    "--radio-w",
    type=float,
    callback=between(0, MOST_W),
    help="The radio while sending, where no table knows it.",
)
@click.option("--trims", is_flag=True, help="What each field costs, and how to save a step.")
@click.option("--html", metavar="FILE", help="Write one page with pictures; needs no network.")
@click.option("--plot", is_flag=True, help="Draw the pictures in the terminal.")
@own_rules
@as_json
def command(
    schema: str,
    links: tuple[str, ...],
    log: str | None,
    watch: str | None,
    health: str | None,
    watched: str | None,
    every: tuple[str, ...],
    interval: str | None,
    watch_h: float | None,
    rows: int | None,
    stations: int | None,
    season: str | None,
    latitude: float | None,
    longitude: float | None,
    trims: bool,
    html: str | None,
    plot: bool,
    rules: str | None,
    as_json: bool,
    **power: Any,
) -> None:
    """Plan a day of SCHEMA's messages on a link: airtime, the law, the battery.

    Exit 1 if a verdict on the first link is no; then it says by how much, and what would make it
    fit.
    """
    if season is None:
        _alone("it needs --season", latitude=latitude, longitude=longitude)
    codec, own = load(schema), own_radio(rules)
    if rows is not None:
        check_rows(codec.layout, rows, "--rows")
    chosen = [find_link(name, own.links) for name in links]
    interval_s = None if interval is None else read_interval(interval, "--interval")
    book = known_rules(own.rules)
    if log is None:
        _alone("it needs --log", watch=watch, watched=watched, health=health)
        asked = expected(codec, every, interval_s, watch_h)
    else:
        _alone("rates are not asked of a log", every=every or None)
        room_bytes = room_of(chosen[0], book).frame_bytes
        asked = logged(codec, log, watch, health, watched, interval_s, watch_h, room_bytes)
    budget = plan_budget(
        codec.layout,
        chosen[0],
        asked.traffic,
        rules=book,
        supply=_supply(power, asked.watch_h),
        rows_most=rows,
    )
    answer = Answer(
        budgets=compare_links(budget, chosen[1:]),
        words=asked.words,
        worst=asked.worst,
        edges=_edges(budget),
        remedies=remedies(budget, _neighbours(chosen[0], own, book), asked.at_interval),
        best=best_plan(budget, _data_rates(chosen[0], own), asked.at_interval),
        sharing=_sharing(budget, stations, html is not None),
        season=None if season is None else _season(budget, season, latitude, longitude),
        place="" if latitude is None else f"at {round(latitude, 2):g}°",
    )
    if html is not None:
        write_page(html, answer)
    if as_json:
        document(_data(answer))
    else:
        _tell(answer, plot=plot, trims=trims, sharing=stations is not None)
    sys.exit(0 if budget.fits else 1)


def _alone(belongs: str, **options: Any) -> None:
    """Refuse options that mean nothing with the others given."""
    for name, value in options.items():
        if value is not None:
            raise RadioError("means nothing here", place=f"--{name}", remedy=belongs)


def _supply(power: Mapping[str, Any], watch_h: float) -> Supply:
    return Supply(
        pack=Pack(power["battery_wh"], power["usable"]),
        load=BaseLoad(power["base_w"], power["asleep_w"]),
        awake_h=watch_h,
        solar_wh=power["solar_wh"],
        radio_w=power["radio_w"],
    )


def _edges(budget: Budget) -> tuple[Edges, ...]:
    """The block edges of every message round the greatest frame that is sent."""
    sent = {message.name for message in budget.messages if message.sendable}
    found = (
        edges_within(budget.layout, message, budget.link, budget.room.frame_bytes, budget.rows_most)
        for message in budget.layout.messages
        if message.name in sent
    )
    return tuple(edges for edges in found if edges is not None)


def _neighbours(link: Link, own: OwnRadio, book: Mapping[str, Rule]) -> list[Link]:
    """The links under a rule of the same region as this one."""
    regions = {book[rule].region for rule in link.rules if rule in book}
    links = known_links(own.links).values()
    return [each for each in links if regions & {book[r].region for r in each.rules if r in book}]


def _data_rates(link: Link, own: OwnRadio) -> list[Link]:
    """The other data rates of a network plan's link: lorawan-eu868-dr0 to -dr13."""
    if link.answer is None:
        return []
    plan = link.name.rpartition("-dr")[0]
    return [
        each
        for name, each in known_links(own.links).items()
        if name.rpartition("-dr")[0] == plan and name != link.name
    ]


def _season(budget: Budget, days: str, latitude: float | None, longitude: float | None) -> Season:
    if latitude is None:
        raise RadioError("is missing", place="--latitude", remedy="say how far north they stand")
    try:
        first, last = (date.fromisoformat(day) for day in days.split("/"))
    except ValueError:
        raise RadioError(
            f"{days!r} is no season", place="--season", remedy="write it as 2027-04-01/2027-09-30"
        ) from None
    try:
        light = daylight_of(first, last, latitude, longitude or 0.0)
    except RadioError as error:
        raise RadioError(error.problem, place="--season", remedy=error.remedy) from None
    return plan_season(budget, light)


def _sharing(budget: Budget, stations: int | None, for_page: bool) -> Sharing | None:
    """What was asked of a shared channel; the page shows it unasked, where there is one."""
    if not budget.airtime_us_per_day:
        return None
    if stations is not None:
        return share_channel(budget, stations)
    if not for_page or not budget.link.frequencies_hz:
        return None
    return share_channel(budget, max(1, len(budget.layout.schema.stations)))


def _tell(answer: Answer, *, plot: bool, trims: bool, sharing: bool) -> None:
    """The verdict and what would make it fit come first; figures follow, then the cautions."""
    budget = answer.budget
    say(f"{budget.layout.schema.name}: {answer.words[0]}")
    tell_link(budget)
    say()
    tell_verdicts(budget.verdicts, answer.worst)
    for line in answer.words[1:]:
        say(line)
    if not budget.fits:
        say("What would make it fit:")
        tell_remedies(answer.remedies, answer.best)
    elif answer.best is not None:
        tell_best(answer.best)
    say()
    tell_messages(budget)
    tell_energy(budget, in_season=answer.season is not None)
    for each in answer.edges if trims else ():
        say()
        tell_edges(each)
    if len(answer.budgets) > 1:
        say()
        tell_comparison(answer.budgets)
    if answer.sharing is not None and sharing:
        tell_sharing(answer.sharing)
    if answer.season is not None:
        tell_season(answer.season, budget, answer.place)
    if plot:
        plot_budget(answer)
    tell_cautions(answer.cautions)


def _data(answer: Answer) -> dict[str, Any]:
    return {
        "caution": NO_LICENCE,
        "lithium_caution": LITHIUM_CAUTION,
        "traffic": list(answer.words),
        "worst_case": answer.worst,
        **budget_data(answer.budget, answer.edges),
        "others": [budget_data(each, ()) for each in answer.budgets[1:]],
        "remedies": [remedy_data(remedy) for remedy in answer.remedies],
        "best": best_data(answer.best),
        "sharing": None if answer.sharing is None else sharing_data(answer.sharing),
        "season": None if answer.season is None else season_data(answer.season),
    }
