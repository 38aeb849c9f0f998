"""The ledger against a brute-force auditor: never over a limit, and never a needless wait."""

import pytest
from auditor import Emission, Rule, breaches
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, rule

from packcodec.edge.ledger_store import LedgerStore
from packcodec.errors import RadioError
from packcodec.radio.ledger import Ledger, Snapshot
from packcodec.radio.limits import Limit, PauseLimit, SingleLimit, Transmission, WindowLimit

MAKERS = {"window": WindowLimit, "single": SingleLimit, "pause": PauseLimit}

# Small numbers, so that limits are met often: two sub-bands, two channels across the first.
RULES: list[Rule] = [
    ("window", "band-a", 36, 360),
    ("single", "band-a", 20, 0),
    ("window", "band-b", 30, 120),
    ("window", "band-b", 60, 500),
    ("pause", "band-b", 3, 2),
    ("window", "channel-1", 8, 40),
    ("window", "channel-2", 8, 40),
    ("pause", "channel-2", 5, 0),
]
PLACES = [
    ("band-a",),
    ("band-a", "channel-1"),
    ("band-a", "channel-2"),
    ("band-b",),
    ("channel-2", "band-b"),
]


def limits(rules: list[Rule]) -> list[Limit]:
    return [
        SingleLimit(scope, first) if kind == "single" else MAKERS[kind](scope, first, second)
        for kind, scope, first, second in rules
    ]


Request = tuple[int, tuple[str, ...], int]
places = st.sampled_from(PLACES)
percent = st.integers(0, 100)
# Airtime, scopes, and how far the monotonic clock jumps just before; mostly not at all.
requests = st.lists(
    st.tuples(st.integers(1, 40), places, st.one_of(st.just(0), st.integers(-200, 800))),
    min_size=1,
    max_size=5,
)


class CutFile:
    """Durable bytes whose next append can be cut short by a power failure."""

    def __init__(self) -> None:
        self.data: bytes | None = None
        self.cut_at: int | None = None

    def read(self) -> bytes | None:
        return self.data

    def append(self, data: bytes) -> None:
        assert self.data is not None
        cut_at, self.cut_at = self.cut_at, None
        self.data += data[:cut_at]
        if cut_at is not None:
            raise PowerCutError

    def replace(self, data: bytes) -> None:
        self.data = data


class PowerCutError(Exception):
    """The station died in the middle of a write."""


class LedgerMachine(RuleBasedStateMachine):
    """A station with two clocks that step, power that fails, and requests of all kinds.

    The world keeps true time; the station sees only its clocks. Between two readings at most one
    of the clocks runs ahead of true time: that is the ledger's stated condition.
    """

    def __init__(self) -> None:
        super().__init__()
        self.true = 0
        self.mono_error = 1_000
        self.wall_error = -5_000
        self.ahead: set[str] = set()
        self.emissions: list[Emission] = []
        self.file = CutFile()
        mono, wall = self.reading()
        self.store = LedgerStore.create(self.file, limits(RULES), mono, wall_us=wall)

    def reading(self) -> tuple[int, int]:
        self.ahead.clear()
        return self.true + self.mono_error, self.true + self.wall_error

    @rule(duration=st.integers(0, 600))
    def wait(self, duration: int) -> None:
        self.true += duration

    @rule(clock=st.sampled_from(["mono", "wall"]), step=st.integers(-400, 800))
    def step_a_clock(self, clock: str, step: int) -> None:
        if step > 0 and self.ahead - {clock}:
            return
        if clock == "mono":
            self.mono_error += step
        else:
            self.wall_error += step
        if step > 0:
            self.ahead.add(clock)

    @rule(requests=requests)
    def transmit_as_soon_as_permitted(self, requests: list[Request]) -> None:
        for airtime, scopes, step in requests:
            self.step_a_clock("mono", step)
            mono, wall = self.reading()
            start = self.store.ledger.earliest_start(airtime, mono, scopes, wall_us=wall)
            if start is None:
                assert self._too_long(airtime, scopes)
                continue
            self.true += start - mono
            self._transmit(airtime, scopes)

    @rule(requests=requests)
    def transmit_without_asking_first(self, requests: list[Request]) -> None:
        for airtime, scopes, step in requests:
            self.step_a_clock("mono", step)
            try:
                self._transmit(airtime, scopes)
            except RadioError:
                self.true += airtime

    @rule(requests=requests, done=st.integers(0, 40), off=st.integers(0, 50), slow=percent)
    def lose_power_while_sending(
        self, requests: list[Request], done: int, off: int, slow: int
    ) -> None:
        for airtime, scopes, _ in requests:
            mono, wall = self.reading()
            try:
                self.store.record(mono, airtime, scopes, wall_us=wall, trusted_us=self.true)
            except RadioError:
                continue
            if done:
                self._on_air(min(done, airtime), scopes)
            self._reboot(off, slow)

    @rule(airtime=st.integers(1, 12), scopes=places, cut_at=st.integers(0, 200))
    def lose_power_while_recording(
        self, airtime: int, scopes: tuple[str, ...], cut_at: int
    ) -> None:
        mono, wall = self.reading()
        self.file.cut_at = cut_at
        try:
            self.store.record(mono, airtime, scopes, wall_us=wall)
        except (PowerCutError, RadioError):
            self.file.cut_at = None
        self._reboot(0, 100)

    @rule(off=st.integers(0, 400), slow=percent, damage=st.none() | st.integers(0, 10_000))
    def reboot(self, off: int, slow: int, damage: int | None) -> None:
        if damage == 0:
            self.file.data = None
        elif damage is not None and damage % 4 == 0:
            data = bytearray(self.file.data or b"")
            # The last byte is the line end that tells a synced record from a cut one.
            data[damage % (len(data) - 1)] ^= 1 + damage % 255
            self.file.data = bytes(data)
        self._reboot(off, slow)
        damaged = damage is not None and damage % 4 == 0
        assert self.store.past.startswith("unknown past") == damaged

    def _reboot(self, off: int, slow: int) -> None:
        """Time off, then a monotonic clock from a new zero and a trusted one that is behind."""
        self.true += off
        self.mono_error = off - self.true
        mono, wall = self.reading()
        trusted = self.true - off * slow // 100
        self.store = LedgerStore.open(
            self.file, limits(RULES), mono, wall_us=wall, trusted_us=trusted
        )

    def _transmit(self, airtime: int, scopes: tuple[str, ...]) -> None:
        mono, wall = self.reading()
        self.store.record(mono, airtime, scopes, wall_us=wall)
        self._on_air(airtime, scopes)

    def _on_air(self, airtime: int, scopes: tuple[str, ...]) -> None:
        start, self.true = self.true, self.true + airtime
        self.emissions.append((start, self.true, scopes))
        self.emissions = [e for e in self.emissions if e[1] > self.true - 2_000]
        assert breaches(self.emissions, RULES, since=start) == []

    def _too_long(self, airtime: int, scopes: tuple[str, ...]) -> bool:
        return any(
            airtime > first
            for kind, scope, first, _ in RULES
            if scope in scopes and kind in ("window", "single")
        )


class TestNeverOverALimit(LedgerMachine.TestCase):  # type: ignore[name-defined,misc]
    settings = settings(
        max_examples=40,
        stateful_step_count=50,
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
    )


def _earliest_by_trying(
    emissions: list[Emission], rules: list[Rule], airtime: int, now: int, scopes: tuple[str, ...]
) -> int | None:
    start = max([now, *(end for _, end, _ in emissions)])
    for candidate in range(start, start + 300):
        if not breaches([*emissions, (candidate, candidate + airtime, scopes)], rules, candidate):
            return candidate
    return None


small_rules = st.lists(
    st.one_of(
        st.tuples(
            st.just("window"), st.sampled_from("ab"), st.integers(1, 12), st.integers(12, 40)
        ),
        st.tuples(st.just("single"), st.sampled_from("ab"), st.integers(1, 12), st.just(0)),
    ),
    min_size=1,
    max_size=3,
).flatmap(
    lambda rules: st.lists(
        st.tuples(
            st.just("pause"),
            st.sampled_from(sorted({scope for _, scope, _, _ in rules})),
            st.integers(0, 6),
            st.integers(0, 3),
        ),
        max_size=2,
    ).map(lambda pauses: [*rules, *pauses])
)


@given(
    rules=small_rules,
    requests=st.lists(
        st.tuples(st.integers(0, 15), st.integers(1, 14), st.sampled_from(["a", "b", "ab"])),
        min_size=1,
        max_size=12,
    ),
)
@settings(max_examples=150, deadline=None)
def test_with_a_steady_clock_nothing_starts_a_microsecond_later_than_it_may(
    rules: list[Rule], requests: list[tuple[int, int, str]]
) -> None:
    ledger = Ledger(limits(rules), 0)
    known = {scope for _, scope, _, _ in rules}
    now = 0
    emissions: list[Emission] = []
    for gap, airtime, wanted in requests:
        scopes = tuple(scope for scope in wanted if scope in known)
        if not scopes:
            continue
        now += gap
        expected = _earliest_by_trying(emissions, rules, airtime, now, scopes)
        assert ledger.earliest_start(airtime, now, scopes) == expected
        if expected is None:
            continue
        now = expected
        ledger.record(now, airtime, scopes)
        emissions.append((now, now + airtime, scopes))


@given(
    rules=small_rules,
    sent=st.lists(st.tuples(st.integers(0, 9), st.integers(1, 12)), max_size=20),
    later=st.integers(0, 30),
)
@settings(max_examples=100, deadline=None)
def test_a_spent_ledger_waits_at_least_as_long_as_any_lawful_past(
    rules: list[Rule], sent: list[tuple[int, int]], later: int
) -> None:
    scope = rules[0][1]
    known, unknown = Ledger(limits(rules), 0), Ledger.spent(limits(rules), 0)
    now = 0
    for gap, airtime in sent:
        start = known.earliest_start(airtime, now + gap, [scope])
        if start is not None:
            known.record(start, airtime, [scope])
            now = start + airtime
    known_wait = known.earliest_start(1, now + later, [scope])
    unknown_wait = unknown.earliest_start(1, later, [scope])
    assert known_wait is not None
    assert unknown_wait is not None
    assert unknown_wait >= known_wait - now


def hour(limit_s: int) -> WindowLimit:
    return WindowLimit("868.0-868.6", limit_s * 1_000_000, 3_600_000_000, "1 %")


def test_the_hour_slides_so_two_bursts_cannot_meet_at_its_edge() -> None:
    # ERC/REC 70-03: any continuous hour. 36 s at the end of one clock hour fill the next one too.
    ledger = Ledger([hour(36)], 0)
    ledger.record(3_564_000_000, 36_000_000, ["868.0-868.6"])
    assert ledger.earliest_start(36_000_000, 3_600_000_000, ["868.0-868.6"]) == 7_164_000_000


def test_only_the_part_inside_the_window_counts() -> None:
    ledger = Ledger([WindowLimit("b", 10, 100)], 0)
    ledger.record(0, 10, ["b"])
    # A window that ends at 104 holds 4..10 of the first, and 100..104 of the second: 6 + 4.
    assert ledger.earliest_start(4, 10, ["b"]) == 100
    assert [use.used_us for use in ledger.used(104)] == [6]
    assert [use.remaining_us for use in ledger.used(107)] == [7]


def test_the_permit_names_the_limit_that_holds_it_back() -> None:
    window, pause = WindowLimit("b", 10, 100), PauseLimit("b", 7, clause="4.2")
    ledger = Ledger([window, pause], 0)
    assert ledger.permit(4, 0, ["b"]).limit is None
    ledger.record(0, 4, ["b"])
    assert ledger.permit(4, 4, ["b"]).limit == pause
    assert ledger.permit(7, 4, ["b"]).limit == window
    assert ledger.permit(11, 4, ["b"]) == type(ledger.permit(1, 4, ["b"]))(None, window)


def test_a_refused_record_changes_nothing_and_says_how_long_to_wait() -> None:
    ledger = Ledger([hour(36)], 0)
    ledger.record(0, 36_000_000, ["868.0-868.6"])
    before = ledger.snapshot().sent
    with pytest.raises(RadioError, match=r"36 s on air in any 3600 s \(1 %\); wait 3500 s"):
        ledger.record(100_000_000, 250_000, ["868.0-868.6"])
    assert ledger.snapshot().sent == before
    with pytest.raises(RadioError, match=r"36\.000001 s can never be sent"):
        ledger.record(200_000_000, 36_000_001, ["868.0-868.6"])


def test_memory_holds_one_window_and_nothing_older() -> None:
    ledger = Ledger([WindowLimit("b", 10, 100)], 0)
    for step in range(1_000):
        ledger.record(step * 50, 5, ["b"])
    assert len(ledger.snapshot().sent) <= 4


def test_a_scope_declared_free_is_never_held_back() -> None:
    ledger = Ledger.spent([WindowLimit("wire", 100, 100)], 0)
    assert ledger.earliest_start(1_000, 0, ["wire"]) == 0


def test_without_limits_only_the_transmitter_itself_is_waited_for() -> None:
    ledger = Ledger([], 0)
    ledger.record(0, 10, [])
    assert ledger.permit(5, 3, []).start_us == 10


def test_a_transmission_cut_short_does_not_age_the_other_scopes() -> None:
    # 30 in b cut after 1: the station is back at 11, while b alone would say 40.
    rules: list[Limit] = [PauseLimit("a", 100), WindowLimit("b", 30, 60)]
    ledger = Ledger(rules, 0)
    ledger.record(0, 10, ["a"])
    ledger.record(10, 30, ["b"])
    restored = Ledger.restored(rules, ledger.snapshot(), 0)
    assert restored.earliest_start(1, 0, ["a"]) == 100
    vouched = Ledger.restored(rules, ledger.snapshot(), 0, elapsed_us=20)
    assert vouched.earliest_start(1, 0, ["a"]) == 80


@pytest.mark.parametrize(
    ("scopes", "problem"),
    [(["c"], "no limit is known for 'c'"), ([], "no scope is named"), ("b", "no scope is named")],
)
def test_a_transmission_in_no_known_scope_is_refused(scopes: list[str], problem: str) -> None:
    with pytest.raises(RadioError, match=problem):
        Ledger([WindowLimit("b", 1, 2)], 0).permit(1, 0, scopes)


@pytest.mark.parametrize(
    ("limit", "problem"),
    [
        (WindowLimit("b", 3, 2), "limit of b: limit_us is 3; .* at most 2"),
        (WindowLimit("b", 1, 0), "window_us is 0"),
        (SingleLimit("b", True), "limit_us is True; give whole microseconds"),
        (PauseLimit("b", -1), "pause_us is -1"),
        (PauseLimit("b", 0, 9), "nothing bounds the airtime"),
    ],
)
def test_a_limit_out_of_range_is_refused_by_name(limit: Limit, problem: str) -> None:
    with pytest.raises(RadioError, match=problem):
        Ledger([limit], 0)


@pytest.mark.parametrize("airtime", [0, -5, 1.5, True])
def test_an_airtime_is_whole_microseconds(airtime: int) -> None:
    with pytest.raises(RadioError, match="airtime_us"):
        Ledger([WindowLimit("b", 1, 2)], 0).permit(airtime, 0, ["b"])


def test_a_snapshot_of_other_scopes_is_refused() -> None:
    snapshot = Snapshot(5, (Transmission(0, 5, ("elsewhere",)),))
    with pytest.raises(RadioError, match="elsewhere"):
        Ledger.restored([WindowLimit("b", 1, 2)], snapshot, 0)
