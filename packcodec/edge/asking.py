"""Missing lists sent as stations are heard: who has just sent is the likeliest to listen."""

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta

from packcodec.base.events import Accepted, Event
from packcodec.edge.sources import SerialSource, Source, UdpSource, now
from packcodec.edge.store import Store
from packcodec.edge.store_ask import lists
from packcodec.errors import KeysError, PackcodecError, SourceError
from packcodec.schema.remedy import counted

# How often a station is looked at, at most; it is asked once a day.
LOOK_EVERY = timedelta(hours=1)


class Asking:
    """Sends lists by those of `sources` that can send. `tell` gets lines for people."""

    def __init__(
        self, store: Store, sources: Iterable[Source], most_bytes: int, tell: Callable[[str], None]
    ) -> None:
        """Raises SourceError where no source can send, KeysError where no schema has a key."""
        self._store = store
        self._back = [each.back for each in sources if isinstance(each, SerialSource | UdpSource)]
        self._most_bytes = most_bytes
        self._tell = tell
        self._looked: dict[int, datetime] = {}
        if not self._back:
            raise SourceError(
                "none of these sources can send",
                place="--ask",
                remedy="name a serial line or a UDP port, or use packcodec ask",
            )
        if not any(codec.has_keys for codec in store.codecs):
            raise KeysError("there are none to sign with", place="--ask", remedy="give --keys")

    def heard(self, events: Iterable[Event]) -> None:
        """Ask the stations of these events, if it is time. Raises nothing: receiving goes on."""
        for event in events:
            if isinstance(event, Accepted) and event.record.station is not None:
                self._look(event.record.station)

    def _look(self, station: int) -> None:
        at = now()
        before = self._looked.get(station)
        keys = (codec.key(station) for codec in self._store.codecs)
        if (before is not None and before <= at < before + LOOK_EVERY) or not any(keys):
            return
        self._looked[station] = at
        try:
            made = [*lists(self._store.engine, self._store.codecs, [station], at, self._most_bytes)]
        except PackcodecError as error:
            self._tell(str(error))
            return
        for each in made:
            ways = sum(back.send(each.frame) for back in self._back)
            self._tell(
                f"station {station} is asked for {counted(len(each.asked.counters), 'frame')}"
                + ("" if ways else ", and nothing was there to carry it")
            )
