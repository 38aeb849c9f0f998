"""Many sources, one store: what they hear is stored in batches, and then acknowledged."""

import gc
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from queue import Empty, Queue
from threading import Event, Lock, Thread
from time import monotonic
from typing import TypeAlias

from packcodec.base.events import Event as BaseEvent
from packcodec.base.events import Gap, Rejected
from packcodec.edge.heard import Heard
from packcodec.edge.sources import LOOK_S, Outlet, Source, Stored
from packcodec.edge.store import BATCH, Store
from packcodec.errors import LogError, StoreError

# Batches that wait for the store; a source that is faster is made to wait.
WAITING = 16
# Lines that were no frames, of which all are counted, and so many kept.
NO_FRAMES = 10
# Of a file of another kind every line is wrong, and says so in the same words.
NO_FRAMES_TOLD = 20
RETRY_S = 5.0
# How often a receiver that goes on puts right the times of what it heard.
REFIT_S = 86_400.0

Waiting: TypeAlias = tuple[list[Heard], Stored | None]


class Receiver:
    """Runs sources until all are done, or `stop` is set.

    `on_events` gets what each frame meant, once it is stored; `tell` gets lines for people.
    `no_frames` are the first lines of files that were no frames, `no_frame_count` how many were.
    """

    def __init__(
        self,
        store: Store,
        sources: Iterable[Source],
        *,
        on_events: Callable[[list[BaseEvent]], None],
        tell: Callable[[str], None],
    ) -> None:
        self.stop = Event()
        self.no_frames: list[LogError] = []
        self.no_frame_count = 0
        self._counting = Lock()
        self._store = store
        self._sources = tuple(sources)
        self._on_events = on_events
        self._tell = tell
        self._waiting: Queue[Waiting] = Queue(WAITING)
        self._failed: list[Exception] = []

    def run(self) -> None:
        """Receive. Raises the first error that ended a source for good, after all have ended."""
        threads = [
            Thread(target=self._run_source, args=(each,), daemon=True) for each in self._sources
        ]
        for thread in threads:
            thread.start()
        with _few_collections():
            self._store_until_done(threads)
        if self._failed:
            raise self._failed[0]

    def _store_until_done(self, threads: Sequence[Thread]) -> None:
        refit_s = monotonic() + REFIT_S
        while not self.stop.is_set() and any(thread.is_alive() for thread in threads):
            self._store_what_waits()
            if monotonic() > refit_s:
                self._refit()
                refit_s = monotonic() + REFIT_S
        for thread in threads:
            # A source that waits for standard input does not see that it should stop.
            thread.join(2 * LOOK_S)
        while not self._waiting.empty():
            self._store_what_waits()

    def _run_source(self, source: Source) -> None:
        outlet = Outlet(self._put, self._tell, self._refuse, self.stop)
        try:
            source.run(outlet)
        except Exception as error:
            self._failed.append(error)

    def _refuse(self, error: LogError) -> None:
        with self._counting:
            self.no_frame_count += 1
            nth = self.no_frame_count
            if len(self.no_frames) < NO_FRAMES:
                self.no_frames.append(error)
        if nth <= NO_FRAMES_TOLD:
            self._tell(str(error))
        elif nth == NO_FRAMES_TOLD + 1:
            self._tell("and more lines that are no frames: how many is said at the end")

    def _put(self, batch: list[Heard], stored: Stored | None) -> None:
        self._waiting.put((batch, stored))

    def _store_what_waits(self) -> None:
        try:
            waiting = [self._waiting.get(timeout=LOOK_S)]
        except Empty:
            return
        while sum(len(batch) for batch, _ in waiting) < BATCH:
            try:
                waiting.append(self._waiting.get_nowait())
            except Empty:
                break
        events = self._ingest([heard for batch, _ in waiting for heard in batch])
        for _, stored in waiting:
            if stored is not None:
                stored()
        for each in events:
            self._on_events(each)

    def _refit(self) -> None:
        try:
            self._store.refit()
        except StoreError as error:
            self._tell(f"{error}; the times are put right another day")

    def _ingest(self, batch: Sequence[Heard]) -> list[list[BaseEvent]]:
        """Store a batch, for as long as it takes: what is not stored is not acknowledged."""
        while True:
            try:
                return self._store.ingest(batch)
            except StoreError as error:
                if self.stop.is_set():
                    raise
                self._tell(f"{error}; trying again in {RETRY_S:.0f} s")
                self.stop.wait(RETRY_S)


@contextmanager
def _few_collections() -> Iterator[None]:
    """Look rarely for cycles of garbage: a batch makes many objects, and no cycles."""
    before = gc.get_threshold()
    gc.set_threshold(100_000, *before[1:])
    try:
        yield
    finally:
        gc.set_threshold(*before)


class Tally:
    """What a receiver has heard, counted."""

    def __init__(self) -> None:
        self.frames = 0
        self.missing = 0
        self.kinds: Counter[str] = Counter()
        self.refused: Counter[str] = Counter()

    def add(self, events: list[BaseEvent]) -> None:
        """Count one frame by its events."""
        self.frames += 1
        for event in events:
            self.kinds[type(event).__name__.lower()] += 1
            if isinstance(event, Rejected):
                self.refused[event.why.value] += 1
            if isinstance(event, Gap):
                self.missing += event.end - event.first
