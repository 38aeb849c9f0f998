"""The air, invented: stations send through it, two bases hear what it leaves, the card tells the
rest. Invented data, as all of the demonstration.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

from packcodec.base.cover import State
from packcodec.base.events import Accepted, Event, Recovered
from packcodec.base.reconcile import Finding, Reconciliation, reconcile
from packcodec.codec.record import Record
from packcodec.edge.heard import Heard
from packcodec.edge.parts import part
from packcodec.frame.codec import Codec
from packcodec.frame.repair import Ring
from packcodec.monitor.vocabulary import SUMMARY
from packcodec.monitor.worth import fit
from packcodec.schema.model import Time

if TYPE_CHECKING:
    from packcodec.edge.store import Store

# The schema of what goes through the air: the demo's, and what is appended to it.
SCHEMA = "schema_air.toml"
REPAIR = """
[repair]
messages = ["summary"]
symbol_bytes = 20
"""
LOSS = 0.2
BASES = ("tower", "hut")
OUTAGE_DAY = 12
OUTAGE = timedelta(hours=10)
# One frame in so many is damaged on its way to a base, besides those that are lost.
DAMAGED_ONE_IN = 50
BATCH = 500


@dataclass(frozen=True, slots=True)
class Air:
    """What became of the frames sent.

    sent = heard + recovered + too_long + missing + before_and_after: each number of each station
    is in one of them. `before_and_after` were lost before the first frame heard of a station or
    after the last, so that the base cannot know of them. `too_long` are lost too: the code proves
    only that they did not fit its symbol. `copies` are receptions beyond the first.
    """

    sent: int
    in_outage: int
    heard: int
    recovered: int
    too_long: int
    missing: int
    before_and_after: int
    receptions: int
    copies: int
    damaged: int
    wrong: int
    changed_by_replay: bool
    found: Reconciliation

    @property
    def lost(self) -> int:
        """Frames whose record never came."""
        return self.too_long + self.missing + self.before_and_after

    def lines(self) -> Iterator[str]:
        """The account in plain words."""
        yield (
            f"{self.sent:,} frames sent through air that loses one in five, and for "
            f"{OUTAGE.seconds // 3600} hours all of them ({self.in_outage:,} frames)"
        )
        yield f"as {SCHEMA} says: in fixed coding, and summaries carry repair symbols"
        yield (
            f"{self.heard:,} heard by at least one of two bases ({self.receptions:,} receptions, "
            f"{self.copies:,} of them copies; {self.damaged:,} damaged ones refused)"
        )
        yield f"{self.recovered:,} lost and won back by the repair symbols in others"
        yield (
            f"{self.lost:,} still missing: {self.missing:,} known gaps, {self.too_long:,} too long "
            f"for a repair symbol, {self.before_and_after:,} at the very start or end"
        )
        changed = "CHANGE THE STORE" if self.changed_by_replay else "change nothing"
        yield f"{self.wrong} records wrong; the same captures read once more {changed}"
        yield f"the card, when it is collected, has {len(self.found.compared):,} records:"
        for finding in Finding:
            yield f"  {self.found.count(finding):,} {finding}"
        visits = sum(told.card_visits for told in self.found.species.values())
        told = sum(told.radio_visits for told in self.found.species.values())
        share = 100 * told / visits if visits else 100
        yield f"of {visits:,} visits on the card the radio told {told:,} ({share:.1f} %)"


def run_demo_air(
    codec: Codec, records: Sequence[Record], file: Path, *, limit_bytes: int = 51, seed: int = 1
) -> Air:
    """Send `records` (station by station, with sequences from 0) through lossy air into a store.

    The schema of `codec` has [repair], and records are made to fit `limit_bytes`. `file` becomes
    the store. Raises MissingPartError, StoreError.
    """
    part("sqlalchemy", "base")
    from packcodec.edge.store import Store
    from packcodec.edge.store_report import keep_card, radio_records

    draw = Random(seed)
    sent = _sent(codec, records, limit_bytes)
    outage = _outage(codec)
    captures, damaged = _through_the_air(sent, outage, draw)
    store = Store.open(str(file), [codec])
    events = _take(store, captures)
    before = _rows(store)
    _take(store, captures)
    changed_by_replay = _rows(store) != before
    counts = _counts(store)
    found = reconcile(codec.schema, records, radio_records(store.engine, codec))
    keep_card(store.engine, records, "card")
    air = Air(
        sent=len(sent),
        in_outage=sum(outage[0] <= each.at < outage[1] for each in sent),
        heard=counts[State.HEARD],
        recovered=counts[State.RECOVERED],
        too_long=counts[State.UNPROTECTED],
        missing=counts[State.LOST] + counts[State.RESTART],
        before_and_after=len(sent) - sum(counts.values()),
        receptions=len(captures) - damaged,
        copies=len(captures) - damaged - counts[State.HEARD],
        damaged=damaged,
        wrong=_wrong(events, sent),
        changed_by_replay=changed_by_replay,
        found=found,
    )
    store.close()
    return air


@dataclass(frozen=True, slots=True)
class _Sent:
    record: Record
    frame: bytes
    at: datetime


def _sent(codec: Codec, records: Sequence[Record], limit_bytes: int) -> list[_Sent]:
    """Each record when it is ready, made to fit, with the repair symbols of its station's ring."""
    interval = timedelta(seconds=codec.schema.policy.interval_s)
    times = {
        message.name: next((f.name for f in message.fields if isinstance(f, Time)), "")
        for message in codec.schema.messages
    }
    rings: dict[int, Ring] = {}
    last: dict[int, datetime] = {}
    sent = []
    for record in records:
        station = record.station or 0
        assert codec.layout.repair is not None
        ring = rings.setdefault(station, Ring(codec.layout.repair, station))
        told = record.values.get(times[record.message])
        later = interval if record.message == SUMMARY else timedelta()
        at = (told if isinstance(told, datetime) else last.get(station, codec.schema.epoch)) + later
        # Frames follow one another, seconds apart at the least.
        at = max(at, last.get(station, at) + timedelta(seconds=5))
        last[station] = at
        fitted = fit(codec, record, limit_bytes)
        sent.append(_Sent(fitted, codec.encode(fitted, ring=ring), at))
    return sent


def _outage(codec: Codec) -> tuple[datetime, datetime]:
    start = codec.schema.epoch + timedelta(days=OUTAGE_DAY, hours=6)
    return start, start + OUTAGE


def _through_the_air(
    sent: Sequence[_Sent], outage: tuple[datetime, datetime], draw: Random
) -> tuple[list[Heard], int]:
    """What the bases heard, in order of time, and how many of that are damaged.

    Each base misses a frame by itself, so often that both miss one in five.
    """
    missed = LOSS ** (1 / len(BASES))
    heard, damaged = [], 0
    for each in sent:
        for number, base in enumerate(BASES):
            if draw.random() < missed or outage[0] <= each.at < outage[1]:
                continue
            frame, at = each.frame, each.at + timedelta(milliseconds=60 + 40 * number)
            rssi, snr = -118 + 25 * draw.random(), -8 + 15 * draw.random()
            heard.append(Heard(frame, at, base, round(rssi, 1), round(snr, 1)))
            if draw.randrange(DAMAGED_ONE_IN) == 0:
                spoiled = bytearray(frame)
                spoiled[draw.randrange(len(spoiled))] ^= 1 << draw.randrange(8)
                late = at + timedelta(milliseconds=7)
                heard.append(Heard(bytes(spoiled), late, base, round(rssi, 1), round(snr, 1)))
                damaged += 1
    return sorted(heard, key=lambda each: each.received), damaged


def _take(store: "Store", captures: Sequence[Heard]) -> list[Event]:
    return [
        event
        for at in range(0, len(captures), BATCH)
        for events in store.ingest(captures[at : at + BATCH])
        for event in events
    ]


def _rows(store: "Store") -> dict[str, int]:
    """How many rows each table has."""
    from sqlalchemy import func, select

    from packcodec.edge.tables import metadata

    with store.engine.connect() as connection:
        return {
            name: connection.scalar(select(func.count()).select_from(table)) or 0
            for name, table in metadata.tables.items()
        }


def _counts(store: "Store") -> Counter[State]:
    """Counters by state, over all stations; those outside first and last are not among them."""
    from packcodec.edge.store_report import reports

    counts: Counter[State] = Counter()
    for report in reports(store.engine):
        counts.update(report.counts)
    return counts


def _wrong(events: Sequence[Event], sent: Sequence[_Sent]) -> int:
    """Records that were given and are not as they were sent."""
    said = {(each.record.station, each.record.sequence): each.record for each in sent}
    return sum(
        event.record.values != said[event.record.station, event.counter].values
        for event in events
        if isinstance(event, Accepted | Recovered)
    )
