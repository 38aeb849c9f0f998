"""A budget for people: tables, verdicts and what would make it fit, in plain lines."""

from collections.abc import Iterable, Sequence
from fractions import Fraction

from packcodec.budget.best import Best
from packcodec.budget.edges import Edges
from packcodec.budget.messages import MessagePlan
from packcodec.budget.plan import Budget, Supply
from packcodec.budget.remedies import Remedy
from packcodec.budget.season import Season
from packcodec.budget.sharing import Sharing
from packcodec.budget.traffic import Expected
from packcodec.budget.verdict import NO_LICENCE, Verdict, nearest_percent, percent
from packcodec.edge.cli.screen import say, table
from packcodec.edge.link_words import days, figure, power, sent_as, span, where
from packcodec.radio.energy import LITHIUM_CAUTION
from packcodec.radio.modulations import Airtime

TRIMS_SHOWN = 3
LIKE_POWER_DB = 0.5


BEST_BY = (
    "best: every message, then as often as asked, then the farthest reach, half of the limit left "
    "where a plan can leave it"
)


def tell_link(budget: Budget) -> None:
    """What is sent on."""
    link = budget.link
    own = ", your own link" if link.users_own else ""
    say(f"{link.name}{own}: {sent_as(link)}, {where(link)}, {power(link)}")


def tell_verdicts(verdicts: Iterable[Verdict], worst: str) -> None:
    """A verdict a rule, the one that decides first; `worst` is what its worst case assumes."""
    for verdict in sorted(verdicts, key=_weight):
        say(f"{verdict.word.upper()}: {verdict.subject}: {verdict.told}")
        evidence = "from memory" if verdict.evidence == "memory" else verdict.evidence
        say(f"    {verdict.clause} ({evidence})")
        tightest = verdict.tightest
        if tightest is not None and tightest.made_of:
            made_of = " + ".join(f"{count} × {name}" for name, count in tightest.made_of)
            say(f"    worst case: {made_of}; {worst}")
        if verdict.power:
            say(f"    power: {verdict.power}")


def _weight(verdict: Verdict) -> tuple[int, Fraction]:
    """What does not fit comes first, then what nobody knows, then by how much is used."""
    return (False, None, True).index(verdict.fits), -(verdict.share or Fraction(0))


def tell_best(best: Best) -> None:
    """The plan that fits best, and by what it was chosen."""
    say(f"Fits best: {best.sentence}")
    say(f"    {BEST_BY}")


def tell_comparison(budgets: Sequence[Budget]) -> None:
    """Several links side by side."""
    table(
        ("link", "sent as", "verdict", ">of the limit", ">s a day", ">radio Wh", ">bytes/J", "why"),
        [_compared(budget) for budget in budgets],
    )


def tell_remedies(remedies: Sequence[Remedy], best: Best | None) -> None:
    """What would make a plan fit."""
    for remedy in remedies:
        say(f"  {remedy.change}: {_used(remedy.budget.share)}")
    if best is not None:
        say(f"  all at once: {best.sentence}")
    if not remedies and best is None:
        say("  nothing that was tried: other links, data rates, intervals, fewer rows or messages")


def tell_sharing(sharing: Sharing) -> None:
    """Stations on one channel."""
    say()
    among = f"{sharing.channels} channels" if sharing.channels > 1 else "one channel"
    say(
        f"{sharing.stations} stations on {among}: {nearest_percent(sharing.loss)} of frames "
        f"collide (pure ALOHA, no capture, each station at times of its own)"
    )
    say(f"  {nearest_percent(sharing.busy_loss)} where all have their busiest hour at once")
    most = ", ".join(f"{stations} at {nearest_percent(loss)}" for loss, stations in sharing.most)
    say(f"  the most stations by loss: {most}")
    say(
        f"  stations that wake together must spread their starts over "
        f"{_seconds(sharing.spread_us)} at random to lose no more than 1 %"
    )


def tell_season(season: Season, budget: Budget, place: str) -> None:
    """The pack over a season, month by month, and what would last."""
    pack = budget.supply.pack
    first, last = season.course[0].day, season.course[-1].day
    say()
    lasts = "the whole season" if season.days is None else f"{season.days:.1f} days"
    until = "" if season.empty_on is None else f", to {season.empty_on}"
    say(f"From {first} to {last} {place}, awake by daylight:")
    say(f"  a pack of {figure(pack.energy_wh)} Wh lasts {lasts}{until}")
    table(
        ("month", ">daylight h", ">draw Wh/day", ">radio", ">days on a full pack"),
        _months(season, budget),
    )
    say(
        f"  for the whole season: a pack of {season.needs_wh:,.0f} Wh without sun, or "
        f"{season.needs_solar_wh:.1f} Wh a day from the sun with this one; "
        f"radio {nearest_percent(season.radio_share)} of the energy"
    )


def tell_cautions(cautions: Iterable[str]) -> None:
    """The cautions that go with every budget."""
    say()
    for caution in cautions:
        say(f"Caution: {caution}")
    say(LITHIUM_CAUTION)
    say(NO_LICENCE)


def tell_messages(budget: Budget) -> None:
    """What is sent, a row a message: frames and bytes, and time on air in ms and in s a day."""
    table(
        (
            "message",
            ">a day",
            ">bytes",
            ">typical",
            ">99 %",
            ">as sent",
            ">ms on air",
            ">s a day",
            ">B a day",
        ),
        [_message_row(message) for message in budget.messages],
    )


def _message_row(message: MessagePlan) -> tuple[object, ...]:
    return (
        message.name,
        figure(float(message.frames_per_day)),
        span(message.least_bytes, message.greatest_bytes),
        "-" if message.typical_bytes is None else message.typical_bytes,
        "-" if message.p99_bytes is None else f"≤ {message.p99_bytes}",
        "none" if message.sent_bytes is None else f"≤ {message.sent_bytes}",
        span(_ms(message.least_airtime), _ms(message.sent_airtime)),
        figure(message.airtime_us_per_day / 1e6),
        figure(message.bytes_per_day),
    )


def tell_energy(budget: Budget, *, in_season: bool) -> None:
    """The pack and the radio; in a season, which has its own hours, not how long the pack lasts."""
    energy, supply = budget.energy, budget.supply
    say()
    pack, awake = f"{figure(supply.pack.energy_wh)} Wh", f"{figure(supply.load.awake_w)} W"
    lasts = "does not run down" if energy.days is None else f"lasts {days(energy.days)}"
    if in_season:
        say(f"Battery: {pack}, {awake} awake; how long it lasts the season says")
    else:
        say(
            f"Battery: {pack} {lasts} at {awake} for {figure(supply.awake_h)} h a day"
            + _sun(supply)
        )
    say(f"    {_radio(budget)}")
    if budget.price_per_day is not None:
        say(f"    {float(budget.price_per_day):.2f} {budget.link.currency} a day to the carrier")


def _sun(supply: Supply) -> str:
    return f", with {figure(supply.solar_wh)} Wh a day from the sun" if supply.solar_wh else ""


def _radio(budget: Budget) -> str:
    energy, at_most = budget.energy, isinstance(budget.traffic, Expected)
    if not energy.radio_known:
        return "the radio's current is not known here: give it with --radio-w"
    frugal = (
        ""
        if energy.bytes_per_joule is None
        else f", {figure(energy.bytes_per_joule)} bytes a joule"
    )
    a_day = f"{'at most ' if at_most else ''}{figure(energy.day.radio_wh * 1000)} mWh a day"
    share = nearest_percent(energy.day.radio_share)
    return f"the radio takes {a_day}, {share} of the energy{frugal}{_counted(budget)}"


def _counted(budget: Budget) -> str:
    """The power whose current is counted, where it is not the link's own."""
    counted_dbm, power_dbm = budget.energy.counted_dbm, budget.link.power_as("conducted")
    if counted_dbm is None or power_dbm is None or counted_dbm - power_dbm < LIKE_POWER_DB:
        return ""
    return f", counted as at {counted_dbm} dBm: its data sheet has no row for {power_dbm:.3g} dBm"


def tell_edges(edges: Edges) -> None:
    """The block edges round a message's greatest frame."""
    say(
        f"{edges.message}, {edges.frame_bytes} bytes: {edges.free_bits} bits free before the next "
        f"step" + _shorter(edges)
    )
    costly = [field for field in edges.fields if field.saved_us]
    if costly:
        told = ", ".join(f"{field.path} {figure(field.saved_us / 1000)}" for field in costly)
        say(f"    ms each field costs: {told}; every other field none")
    for trim in edges.trims[:TRIMS_SHOWN]:
        say(f"    trim: {trim.change}")


def _shorter(edges: Edges) -> str:
    if edges.excess_bits is None:
        return ""
    return f"; {edges.excess_bits} bits fewer save {figure(edges.step_us / 1000)} ms"


def _compared(budget: Budget) -> tuple[object, ...]:
    refusing = [verdict for verdict in budget.verdicts if verdict.fits is False]
    unknown = [verdict for verdict in budget.verdicts if verdict.fits is None]
    verdict = (refusing or unknown or list(budget.verdicts))[0]
    energy = budget.energy
    return (
        budget.link.name,
        sent_as(budget.link),
        verdict.word,
        "-" if budget.share is None else percent(budget.share),
        figure(budget.airtime_us_per_day / 1e6),
        figure(energy.day.radio_wh) if energy.radio_known else "?",
        "-" if energy.bytes_per_joule is None else figure(energy.bytes_per_joule),
        f"{verdict.subject}: {verdict.told}" if refusing or unknown else "",
    )


def _months(season: Season, budget: Budget) -> list[tuple[object, ...]]:
    months: dict[str, list[int]] = {}
    for number, day in enumerate(season.course):
        months.setdefault(f"{day.day:%Y-%m}", []).append(number)
    return [_month_row(name, season, numbers, budget) for name, numbers in months.items()]


def _month_row(
    name: str, season: Season, numbers: Sequence[int], budget: Budget
) -> tuple[object, ...]:
    month = [season.course[number] for number in numbers]
    draw_wh = sum(day.draw_wh for day in month) / len(month)
    radio_wh = sum(day.radio_wh for day in month) / len(month)
    net_wh = draw_wh - budget.supply.solar_wh
    return (
        name,
        f"{sum(day.awake_h for day in month) / len(month):.1f}",
        f"{draw_wh:.1f}",
        nearest_percent(radio_wh / draw_wh) if draw_wh else "-",
        figure(budget.supply.pack.usable_wh / net_wh) if net_wh > 0 else "does not run down",
    )


def _used(share: Fraction | None) -> str:
    return "no limit in time" if share is None else f"{percent(share)} of the limit"


def _ms(airtime: Airtime | None) -> str:
    return "-" if airtime is None else f"{airtime.airtime_us / 1000:.0f}"


def _seconds(time_us: int) -> str:
    return f"{figure(time_us / 1e6)} s"
