"""A station: what a field engineer imports in the monitor's script.

    station = Station("schema.toml", "lora-eu-868.1", store="/var/lib/monitor", station="reed_bed")
    station.seen("otter", when, 0.93)             # from the detection loop
    station.health(battery_mv=3912, temperature_c=8)
    station.run(radio)                            # or station.tick(radio=radio), every second or so

The radio is any callable `send(bytes)` that returns when the frame is on the air; it may have a
`listen_before_talk()`, which says whether the channel is free, and a `received()`, which gives the
next frame that was heard, or None, and does not wait: a station with a key takes missing lists
(spec/missing-list.md) and sends again what it still keeps.

The store is a folder of the files of `packcodec.edge.keeping`, and a `lock` that is held by the one
process that may use them. A full card, a read-only one, a radio that fails: all that is counted in
`troubles` and, where the schema has the field, told in health; nothing of it stops the loop.

This keeps the account of what it was told, and is never a licence: the local regulator decides.
"""

import os
import time
from collections import Counter as Counts
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from threading import Lock, RLock
from typing import TYPE_CHECKING, Any, Self

from packcodec.edge.files import load
from packcodec.edge.keeping import Files, Keeping, folder
from packcodec.edge.station_given import (
    check_detection,
    check_health,
    check_key,
    keys_of,
    number_of,
)
from packcodec.errors import EncodeError, PackcodecError
from packcodec.frame.codec import Codec
from packcodec.monitor.clock import Reading
from packcodec.monitor.counter import LEAP, Counter
from packcodec.monitor.engine import Monitor
from packcodec.monitor.inputs import Detection
from packcodec.monitor.sender import Due, Send
from packcodec.radio.link import Link
from packcodec.radio.links import OwnRadio, find_link
from packcodec.radio.rules import known_rules
from packcodec.radio.scopes import ledger_limits

if TYPE_CHECKING:
    from packcodec.frame.seal import Keys

US_PER_S = 1_000_000
# After a busy channel, 1 s and up to 8.4 s more by chance: two stations must not wait in step.
BUSY_WAIT_US = 1_000_000
BUSY_CHANCE_BITS = 23
# What the radio heard beyond it waits for the next tick.
HEARD_AT_ONCE = 8

Radio = Callable[[bytes], object]
Clocks = Callable[[], tuple[datetime, float]]


def system_clocks() -> tuple[datetime, float]:
    """The wall clock, and one that is never set and runs on while the processor sleeps, in s."""
    return datetime.now(UTC), time.clock_gettime(time.CLOCK_BOOTTIME)


class Station:
    """One monitor's records, from `seen` to the radio. Any thread may call any method.

    `troubles` counts what went wrong, in words. `monitor` is the engine, for whoever wants to look.
    """

    def __init__(
        self,
        schema: str | Path | Codec,
        link: str | Link,
        *,
        store: str | Path | Files,
        station: str | int | None = None,
        keys: "str | Path | Keys | None" = None,
        own: OwnRadio | None = None,
        clocks: Clocks = system_clocks,
        keeps_time: bool = True,
        clock_set: bool | None = None,
        leap: int = LEAP,
        **options: int,
    ) -> None:
        """`station` is a name or number of the schema; it may be left out where there is one.

        `keys`: a key file, or keys by station, for a seal and for missing lists. `own`: the user's
        links and rules. `keeps_time`: the wall clock runs while the power is off. `clock_set`: as
        the method; a clock attested before and after a cut shortens the wait that the ledger
        imposes.
        `options` go to `Monitor`: health_every_s, checkpoint_s, outbox_most.

        Raises SchemaError, LayoutError, KeysError, EncodeError or RadioError for what could never
        work, and RadioError for a store that another process holds or that has lost count of its
        numbers.
        """
        own = own or OwnRadio()
        rules = known_rules(own.rules)
        self.codec = schema if isinstance(schema, Codec) else load(schema, keys_of(keys))
        self.link = link if isinstance(link, Link) else find_link(link, own.links)
        self.station = number_of(self.codec, station)
        check_key(self.codec, self.station)
        self._clocks = clocks
        self._attested = clock_set
        self._lock = RLock()
        self._sending = Lock()
        now = self._reading()
        files, self._held = (store, None) if callable(store) else folder(Path(store))
        self._keeping = Keeping(
            files, self.codec.layout.identity, ledger_limits(self.link, rules), now, leap
        )
        self.troubles: Counts[str] = self._keeping.troubles
        counter = Counter(self._keeping.first, leap)
        counter.reserved = self._keeping.reserved
        self.monitor = Monitor(
            self.codec,
            self.station,
            self.link,
            now,
            counter=counter,
            ledger=self._keeping.ledger,
            kept=self._keeping.kept,
            boots=self._keeping.boots,
            rules=rules,
            keeps_time=keeps_time,
            **options,
        )
        self._commit(now)

    def seen(
        self,
        label: str,
        when: datetime | None = None,
        confidence: float = 1.0,
        individuals: int = 1,
        image: str | None = None,
        *,
        mark: Any = None,
    ) -> None:
        """One detection. A record that comes of it is safe when this returns, the rest at a `tick`.

        `mark` (JSON data) says where the caller's own log stands after this detection; it is kept
        in one piece with what came of it, and after a restart is the station's `mark`.
        `when` is by the station's clock, now if not given. People (rows whose report is "never")
        are dropped here and leave no trace. Raises EncodeError for what is no detection.
        """
        check_detection(label, when, confidence, individuals)
        with self._lock:
            now = self._reading()
            at = now.wall if when is None else when.astimezone(UTC)
            detection = Detection(self.station, at, label, confidence, individuals, image or "")
            self.monitor.seen(detection, now)
            if mark is not None:
                self.monitor.mark = mark
            if self.monitor.has_records:
                self._commit(now)

    @property
    def mark(self) -> Any:
        """The latest `mark` that `seen` was given, of what is known of it; None for none."""
        return self.monitor.mark

    def health(self, **values: Any) -> None:
        """What the station knows of itself, by the names of the schema's health fields.

        A value stands until it is told anew. Reported at each start, once a day, and when the card
        fails. Raises EncodeError for a name that is none.
        """
        check_health(self.codec, values)
        with self._lock:
            self.monitor.health(values)

    def hurry(self) -> None:
        """What waits in batches for company goes at the next ticks; for when the power goes."""
        with self._lock:
            self.monitor.hurry(self._reading())

    def clock_set(self, right: bool | None) -> None:
        """What somebody who knows says of the wall clock from now on; None for nobody does."""
        self._attested = right

    def tick(
        self,
        now: datetime | None = None,
        monotonic: float | None = None,
        *,
        radio: Radio | None = None,
        watching: bool = True,
    ) -> bool:
        """Time goes on; with a radio, send what is due. Whether a frame went.

        Call it every few seconds. `now` and `monotonic` (s) are read from the clocks if not given;
        whoever gives them gives `clocks` that agree, for `seen` and the radio read those.
        `watching`: the station watched since the tick before.
        """
        with self._lock:
            reading = self._reading(now, monotonic)
            self.monitor.tick(reading, watching=watching)
            self._commit(reading, tidy=True)
            self.monitor.sender.margin_us = self._keeping.margin_us
        if radio is None or not self._sending.acquire(blocking=False):
            return False
        try:
            self._listen(radio)
            with self._lock:
                self._commit(reading)
                due = self.monitor.due(reading)
            return due is not None and self._transmit(due, radio)
        finally:
            self._sending.release()

    def run(
        self,
        radio: Radio,
        *,
        until: Callable[[], bool] = lambda: False,
        every_s: float = 1.0,
        watching: bool = True,
    ) -> None:
        """Tick and send until told otherwise, then keep everything safe."""
        while not until():
            if not self.tick(radio=radio, watching=watching):
                time.sleep(every_s)
        self.flush()

    def flush(self) -> None:
        """Make everything durable now, effort and counts too."""
        with self._lock:
            self._commit(self._reading(), all_of_it=True)

    def close(self) -> None:
        """An orderly stop: everything durable, and the unused numbers given back."""
        with self._lock:
            self.flush()
            self._keeping.reserve(self.monitor.sender.counter.next)
            self.monitor.sender.counter.reserved = self.monitor.sender.counter.next
            if self._held is not None:
                self._held.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _listen(self, radio: Radio) -> None:
        """Give the engine what the radio has heard. Nothing that it hears, or throws, stops us."""
        received = getattr(radio, "received", None)
        if received is None or not self.monitor.takes_lists:
            return
        for _ in range(HEARD_AT_ONCE):
            try:
                if not (frame := received()):
                    return
                with self._lock:
                    self.monitor.hear(frame)
            except PackcodecError as error:
                with self._lock:
                    self._keeping.trouble(f"heard: {error}")
            except Exception as error:
                with self._lock:
                    self._keeping.trouble(f"radio: {type(error).__name__}: {error}")
                return

    def _transmit(self, due: Due | Send, radio: Radio) -> bool:
        free = getattr(radio, "listen_before_talk", None)
        if free is not None and not free():
            with self._lock:
                self.monitor.sender.put_off(self._reading(), BUSY_WAIT_US + _by_chance())
            return False
        with self._lock:
            send = self._accounted(due)
        if send is None:
            return False
        try:
            radio(send.frame)
        except Exception as error:
            # Whatever a driver throws: the monitor must outlive its radio.
            with self._lock:
                self._keeping.trouble(f"radio: {type(error).__name__}: {error}")
                self.monitor.sender.failed(self._reading())
            return False
        with self._lock:
            self.monitor.sent(send)
            self._commit(self._reading())
        return True

    def _accounted(self, due: Due | Send) -> Send | None:
        """The frame, its number and its time on air on record; None where that is not possible."""
        send = due if isinstance(due, Send) else self._numbered(due)
        if send is not None and self._keeping.enter(
            self._reading, send.airtime_us, self.monitor.sender.scopes
        ):
            return send
        self.monitor.sender.failed(self._reading())
        return None

    def _numbered(self, due: Due) -> Send | None:
        counter = self.monitor.sender.counter
        if counter.to_reserve is not None:
            self._keeping.reserve(counter.to_reserve)
            counter.reserved = self._keeping.reserved
        try:
            send = self.monitor.frame(due)
        except PackcodecError as error:
            self._keeping.trouble(str(error))
            return None
        known = not self.monitor.tells_of_before or self._commit(self._reading())
        return send if known or self._keeping.is_behind() else None

    def _commit(self, now: Reading, *, all_of_it: bool = False, tidy: bool = False) -> bool:
        change = self.monitor.change(now.mono_us, all_of_it=all_of_it)
        durable = self._keeping.commit(change, self.monitor.kept, now.mono_us, tidy=tidy)
        self.monitor.storage_failed = self._keeping.failed
        return durable

    def _reading(self, wall: datetime | None = None, mono_s: float | None = None) -> Reading:
        if wall is None or mono_s is None:
            wall_now, mono_now = self._clocks()
            wall = wall_now if wall is None else wall
            mono_s = mono_now if mono_s is None else mono_s
        if wall.utcoffset() is None:
            raise EncodeError(
                f"{wall} has no offset from UTC", place="now", remedy="give a UTC time"
            )
        return Reading(wall.astimezone(UTC), int(mono_s * US_PER_S), self._attested)


def _by_chance() -> int:
    return int.from_bytes(os.urandom(4), "big") >> (32 - BUSY_CHANCE_BITS)
