"""`packcodec gaps`: what came, what is missing, and why."""

import sys
from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING, Any

import click

from packcodec.base.cover import State, Stretch
from packcodec.base.events import Forgeries
from packcodec.base.failures import ALARM_A_DAY, in_words, is_recent
from packcodec.base.untold import Untold
from packcodec.codec.record import rfc3339
from packcodec.codec.totals import running_totals
from packcodec.edge.cli.decode import Moment
from packcodec.edge.cli.screen import as_json, document, say, table, warn
from packcodec.edge.files import load
from packcodec.edge.parts import part
from packcodec.edge.sources import now
from packcodec.edge.untold_words import stretch_words, untold_json
from packcodec.frame.codec import Codec
from packcodec.schema.remedy import counted

if TYPE_CHECKING:
    from packcodec.edge.store_report import StationReport

HEADS = (
    "station",
    ">heard",
    ">recovered",
    ">lost",
    ">restart",
    ">unprotected",
    ">nothing sent",
    ">copies",
)
STATES = (
    State.HEARD,
    State.RECOVERED,
    State.LOST,
    State.RESTART,
    State.UNPROTECTED,
    State.UNSENT,
)


@click.command()
@click.argument("store")
@click.option("--at", type=Moment(), help="Judge silence as of this time; now if not given.")
@click.option(
    "--schema",
    type=click.Path(dir_okay=False),
    help="Also what its running totals count that no record tells.",
)
@as_json
def command(store: str, at: datetime | None, schema: str | None, as_json: bool) -> None:
    """Every number from each station's first frame to its last, and what is known of it.

    A station that reports 'watched and saw none' is not silent; one that is overdue is, and then
    the exit is 1. So it is after an alarm of this day or the last: too many frames that name a
    station and do not verify with its key.
    """
    part("sqlalchemy", "base")
    from packcodec.edge.database import open_database
    from packcodec.edge.store_failures import failures
    from packcodec.edge.store_report import reports, strays, untold_by_station

    codec = None if schema is None else load(schema)
    engine = open_database(store)
    when = at or now()
    found = list(reports(engine))
    untold = {} if codec is None else dict(untold_by_station(engine, codec))
    unread = strays(engine)
    failed = failures(engine)
    overdue = [each for each in found if each.overdue_from is not None and each.overdue_from < when]
    if codec is not None:
        _warn_of(codec, schema, untold)
    if as_json:
        stations = [
            _json(each, each in overdue)
            | ({"untold": [*map(untold_json, untold.get(each.station, ()))]} if codec else {})
            for each in found
        ]
        unverified = [_failure_json(each) for each in failed]
        document({"stations": stations, "no_record": unread, "unverified": unverified})
    else:
        table(HEADS, [_row(each) for each in found])
        for each in found:
            _tell(each, each in overdue)
            for one in untold.get(each.station, ()):
                say(f"station {each.station}: {stretch_words(one)}")
        for why, count in unread.items():
            say(f"{count} frames gave no record: {why}")
        for line in _failure_lines(failed):
            say(line)
    new = any(is_recent(each, when) for each in failed)
    sys.exit(1 if overdue or new else 0)


def _warn_of(codec: Codec, schema: str | None, untold: dict[int, list[Untold]]) -> None:
    """Why a schema tells nothing of what was counted."""
    if not any(any(running_totals(each)) for each in codec.schema.messages):
        warn(f"{schema}: no field has total_of, so nothing is known of what lost frames counted")
    elif not untold:
        warn(f"{schema}: no frame in the store was read with it, so its running totals say nothing")


def _failure_lines(failed: list[Forgeries]) -> Iterator[str]:
    """A line for each alarm, and one a station for all that is none."""
    rest: Counter[int] = Counter()
    for each in failed:
        if each.count >= ALARM_A_DAY:
            yield in_words(each)
        else:
            rest[each.station] += each.count
    for station, count in rest.items():
        yield f"station {station}: {counted(count, 'frame')} that name it do not verify"


def _failure_json(failed: Forgeries) -> dict[str, Any]:
    return {
        "station": failed.station,
        "day": failed.day.isoformat(),
        "frames": failed.count,
        "alarm": failed.count >= ALARM_A_DAY,
    }


def _row(report: "StationReport") -> tuple[object, ...]:
    counts = [report.counts.get(state, 0) for state in STATES]
    return (report.station, *counts, report.copies)


def _tell(report: "StationReport", overdue: bool) -> None:
    if overdue and report.overdue_from and report.last_received:
        say(
            f"station {report.station}: NO REPORT since {rfc3339(report.last_received)}, "
            f"overdue from {rfc3339(report.overdue_from)}"
        )
    for state in STATES:
        runs = ", ".join(_run_words(gap) for gap in report.gaps if gap.state == state)
        if runs:
            say(f"station {report.station}: {state}: {runs}")
    for fit in report.clocks[:1]:
        say(
            f"station {report.station}: clock by {fit.message}: {fit.offset_s:+z.0f} s "
            f"± {fit.uncertainty_s:.0f} s, {fit.drift_ppm:+z.1f} ppm"
        )


def _run_words(run: Stretch) -> str:
    return str(run.first) if len(run) == 1 else f"{run.first} to {run.end - 1}"


def _json(report: "StationReport", overdue: bool) -> dict[str, Any]:
    def said(when: datetime | None) -> str | None:
        return None if when is None else rfc3339(when)

    return {
        "station": report.station,
        "first": report.first,
        "last": report.end - 1,
        "counts": {state.name.lower(): report.counts.get(state, 0) for state in State},
        "copies": report.copies,
        "gaps": [
            {"first": gap.first, "last": gap.end - 1, "reason": gap.state} for gap in report.gaps
        ],
        "last_received": said(report.last_received),
        "next_expected": said(report.next_expected),
        "overdue_from": said(report.overdue_from),
        "overdue": overdue,
        "clocks": [
            {
                "message": fit.message,
                "offset_s": fit.offset_s,
                "uncertainty_s": fit.uncertainty_s,
                "drift_ppm": fit.drift_ppm,
                "jumps": fit.jumps,
            }
            for fit in report.clocks
        ],
    }
