"""A budget as one self-contained page: pictures, verdicts and figures, no script, nothing fetched.

Readable on a phone, on a desk (two pictures a row) and on paper. A policy in the page itself
forbids every request, so that what is not in it cannot be shown.
"""

from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path

from packcodec.budget.hours import airtime_by_hour, hour_limit_us
from packcodec.budget.plan import Budget
from packcodec.budget.traffic import Logged
from packcodec.budget.verdict import NO_LICENCE, nearest_percent, percent
from packcodec.edge.budget_answer import Answer
from packcodec.edge.budget_charts import airtime_chart, battery_chart, bytes_chart, loss_chart
from packcodec.edge.link_words import days, figure, power, sent_as, span, where
from packcodec.errors import PackcodecError
from packcodec.radio.energy import LITHIUM_CAUTION

POLICY = "default-src 'none'; style-src 'unsafe-inline'"
STEADY_DAYS_SHOWN = 30.0
STYLE = """
body { font: 1rem/1.45 system-ui, sans-serif; color: #111; background: #fff; margin: 0 auto;
  max-width: 72rem; padding: 1rem; overflow-wrap: anywhere; }
h1 { font-size: 1.4rem; margin: 0 0 .3rem; } h2 { font-size: 1.1rem; margin: 1.6rem 0 .4rem; }
.verdict { border-left: .5rem solid; padding: .5rem .8rem; margin: .8rem 0; font-weight: 600; }
.yes { border-color: #0072B2; background: #E8F2F8; }
.no { border-color: #D55E00; background: #FBEDE4; }
.pictures { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 26rem), 1fr));
  gap: 1rem; }
figure { margin: 0; break-inside: avoid; } figure svg { width: 100%; height: auto; }
figcaption { font-weight: 600; }
figcaption small { font-weight: 400; display: block; color: #444; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; font-size: .9rem; overflow-wrap: normal; }
th, td { text-align: left; vertical-align: top; padding: .25rem .7rem .25rem 0;
  border-bottom: 1px solid #ddd; }
td.n, th.n { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }
.small { color: #444; font-size: .85rem; }
@media print { body { max-width: none; padding: 0; font-size: 10pt; }
  .pictures { grid-template-columns: 1fr 1fr; } .wide { overflow: visible; } }
"""


def budget_page(answer: Answer) -> str:
    """The whole page as text. Raises MissingPartError without matplotlib."""
    budget = answer.budget
    schema, link = budget.layout.schema, budget.link
    title = f"{schema.name} on {link.name}"
    words = "".join(
        f"<p>{escape(line)}</p>" for line in (*answer.words, f"Worst case: {answer.worst}.")
    )
    body = (
        f"<h1>{escape(title)}</h1>"
        f"<p>{escape(f'{sent_as(link)}, {where(link)}, {power(link)}')}</p>{words}"
        f"{_banner(answer)}<div class='pictures'>{''.join(_pictures(answer))}</div>"
        f"{_verdicts(budget)}{_messages(budget)}{_others(answer)}{_cautions(answer)}"
    )
    return (
        "<!DOCTYPE html>\n<html lang='en'><head><meta charset='utf-8'>"
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body>{body}</body></html>\n"
    )


def write_page(path: str, answer: Answer) -> None:
    """Write the page to a file. Raises PackcodecError naming it, MissingPartError."""
    text = budget_page(answer)
    try:
        Path(path).write_text(text, encoding="utf-8")
    except OSError as error:
        raise PackcodecError(
            f"cannot be written: {error.strerror}", place=path, remedy="name another file"
        ) from None


def _banner(answer: Answer) -> str:
    budget = answer.budget
    if budget.fits:
        used = "" if budget.share is None else f" It uses {percent(budget.share)} of the limit."
        best = f" Fits best: {answer.best.sentence}." if answer.best else ""
        return f"<p class='verdict yes'>It fits.{escape(used + best)}</p>"
    against = "; ".join(f"{v.subject}: {v.told}" for v in budget.verdicts if v.fits is False)
    changes = [
        f"{r.change} ({'no limit in time' if r.budget.share is None else percent(r.budget.share)})"
        for r in answer.remedies
    ]
    changes += [answer.best.sentence] if answer.best else []
    listed = "".join(f"<li>{escape(change)}</li>" for change in changes)
    fix = f"<p>What would make it fit:</p><ul>{listed}</ul>" if changes else ""
    return f"<p class='verdict no'>It does not fit. {escape(against)}</p>{fix}"


def _pictures(answer: Answer) -> Iterable[str]:
    budget = answer.budget
    logged = isinstance(budget.traffic, Logged)
    limit_us = hour_limit_us(budget)
    hours = airtime_by_hour(budget)
    if any(hour.most_us for hour in hours):
        yield _figure(
            airtime_chart(
                hours, limit_us, "hour of the day, UTC" if logged else "hour of the watch"
            ),
            "Airtime by hour against the limit",
            ("The most: of any station." if logged else "The most: the fullest sliding hour.")
            + ("" if limit_us else " No rule limits the hour."),
        )
    yield _figure(
        bytes_chart(budget.messages, budget.room.frame_bytes),
        "Bytes by message",
        f"The link has room for {budget.room.frame_bytes or 0} bytes, set by {budget.room.set_by}."
        + (" 99 %: what 99 of 100 frames stay within." if logged else ""),
    )
    yield _figure(
        battery_chart(*_battery(answer), _days_words(answer)),
        "Battery by day",
        _battery_words(answer),
    )
    if answer.sharing is not None:
        yield _figure(
            loss_chart(answer.sharing),
            "Loss by stations",
            f"{answer.sharing.stations} stations lose {nearest_percent(answer.sharing.loss)} "
            "of their frames to one another; no capture counted.",
        )


def _figure(picture: str, title: str, words: str) -> str:
    caption = f"{escape(title)}<small>{escape(words)}</small>"
    return f"<figure><figcaption>{caption}</figcaption>{picture}</figure>"


def _battery(
    answer: Answer,
) -> tuple[list[tuple[float, float]], list[tuple[float, float]] | None]:
    """What the pack holds at the end of each day, and each day's draw where days differ."""
    usable_wh = answer.budget.supply.pack.usable_wh
    if answer.season is not None:
        course = answer.season.course
        left = [(0.0, usable_wh), *((n + 1.0, day.left_wh) for n, day in enumerate(course))]
        return left, [(n + 0.5, day.draw_wh) for n, day in enumerate(course)]
    lasting = answer.budget.energy.days
    if lasting is None:
        return [(0.0, usable_wh), (STEADY_DAYS_SHOWN, usable_wh)], None
    return [(0.0, usable_wh), (lasting, 0.0), (1.1 * lasting, 0.0)], None


def _days_words(answer: Answer) -> str:
    return "days" if answer.season is None else f"days from {answer.season.course[0].day}"


def _battery_words(answer: Answer) -> str:
    season, energy = answer.season, answer.budget.energy
    radio = (
        f" The radio takes {nearest_percent(energy.day.radio_share)}." if energy.radio_known else ""
    )
    if season is None:
        lasts = "does not run down" if energy.days is None else f"lasts {days(energy.days)}"
        return f"The pack {lasts}.{radio}"
    lasts = "lasts the season" if season.days is None else f"lasts {season.days:.1f} days"
    return (
        f"{season.course[0].day} to {season.course[-1].day} {answer.place}: the pack {lasts}; "
        f"{season.needs_solar_wh:.1f} Wh a day from the sun would carry it.{radio}"
    )


def _verdicts(budget: Budget) -> str:
    """Blocks and no table: on a phone a clause needs the whole width."""
    blocks = (
        f"<p><strong>{escape(v.subject)}: {v.word}.</strong> {escape(v.told)}<br>"
        f"<span class='small'>{escape(v.clause)} ({v.evidence})</span></p>"
        for v in budget.verdicts
    )
    return f"<h2>One verdict a rule</h2>{''.join(blocks)}"


def _messages(budget: Budget) -> str:
    rows = [
        (
            m.name,
            figure(float(m.frames_per_day)),
            span(m.least_bytes, m.greatest_bytes),
            "–" if m.typical_bytes is None else m.typical_bytes,
            "–" if m.p99_bytes is None else f"≤ {m.p99_bytes}",
            "–" if m.sent_airtime is None else f"{m.sent_airtime.airtime_us / 1000:.0f}",
            figure(m.airtime_us_per_day / 1e6),
            figure(m.bytes_per_day),
        )
        for m in budget.messages
    ]
    heads = (
        "message",
        ">a day",
        ">bytes",
        ">typical",
        ">99 %",
        ">ms at most",
        ">s a day",
        ">B a day",
    )
    return _table("Messages", heads, rows)


def _others(answer: Answer) -> str:
    if len(answer.budgets) == 1:
        return ""
    rows = [
        (
            each.link.name,
            sent_as(each.link),
            "fits" if each.fits else "does not fit",
            "–" if each.share is None else percent(each.share),
            figure(each.airtime_us_per_day / 1e6),
        )
        for each in answer.budgets
    ]
    heads = ("link", "sent as", "verdict", ">of the limit", ">s a day")
    return _table("Links side by side", heads, rows)


def _cautions(answer: Answer) -> str:
    told = (*answer.cautions, LITHIUM_CAUTION, NO_LICENCE)
    return "<h2>Cautions</h2>" + "".join(f"<p class='small'>{escape(each)}</p>" for each in told)


def _table(title: str, heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Heads that start with ">" are right-aligned."""
    classes = [" class='n'" if head.startswith(">") else "" for head in heads]
    head = "".join(
        f"<th{of}>{escape(text.removeprefix('>'))}</th>"
        for of, text in zip(classes, heads, strict=True)
    )
    body = "".join(
        "<tr>"
        + "".join(
            f"<td{of}>{escape(str(cell))}</td>" for of, cell in zip(classes, row, strict=True)
        )
        + "</tr>"
        for row in rows
    )
    return f"<h2>{escape(title)}</h2><div class='wide'><table><tr>{head}</tr>{body}</table></div>"
