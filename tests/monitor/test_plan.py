"""The day's airtime: paced, saved a little, and a reserve that only sightings touch."""

from packcodec.monitor.plan import RESERVED_SIGHTINGS, SAVED_INTERVALS, Plan
from packcodec.radio import find_link, ledger_limits, ledger_scopes
from packcodec.radio.ledger import Use

S = 1_000_000
HOUR = 3600 * S
LINK = find_link("lora-eu-868.1:sf=12")
LIMITS = ledger_limits(LINK)
SCOPES = ledger_scopes(LINK, LINK.frequencies_hz[0])


def plan(interval_us: int = HOUR) -> Plan:
    return Plan(
        LINK, LIMITS, SCOPES, frame_most=51, sighting_bytes=12, interval_us=interval_us, now_us=0
    )


def test_an_even_share_is_what_the_window_earns_less_the_reserve() -> None:
    a = plan()
    reserve = RESERVED_SIGHTINGS * a.airtime_us(12)
    assert a.share_us == 36 * S - reserve
    assert plan(HOUR // 4).share_us == a.share_us // 4
    assert a.reserve_us(LIMITS[0]) == reserve  # type: ignore[arg-type]


def test_a_start_has_one_share_and_quiet_hours_save_up_to_a_bound() -> None:
    a = plan(HOUR // 60)
    assert a.room_us(0) == a.share_us
    a.spend(a.share_us)
    assert a.room_us(0) == 0
    assert a.room_us(100 * HOUR) == max(SAVED_INTERVALS * a.share_us, a.airtime_us(51))


def test_the_wait_is_exactly_until_it_is_earned() -> None:
    a = plan(HOUR // 60)
    a.spend(2 * S)
    wait = a.wait_us(S, 0)
    assert a.room_us(wait - 1) < S <= a.room_us(wait)
    assert a.wait_us(S, wait) == 0


def test_a_frame_is_made_as_long_as_the_room_or_the_share_allows() -> None:
    a = plan(150 * S)
    a.spend(a.room_us(0))
    size = a.allowed_bytes(1, 0)
    assert 0 < size < 51
    assert a.airtime_us(size) <= a.share_us < a.airtime_us(size + 1)
    assert a.allowed_bytes(1, HOUR) == 51
    assert a.allowed_bytes(9, HOUR) == size
    tight = plan(10 * S)
    tight.spend(tight.room_us(0))
    assert tight.allowed_bytes(1, 0) == 0


def test_the_reserve_is_kept_from_ordinary_frames() -> None:
    a = plan()
    limit = LIMITS[0]
    reserve = a.reserve_us(limit)  # type: ignore[arg-type]
    left = Use(limit, 36 * S - reserve - S)  # type: ignore[arg-type]
    assert a.keeps_reserve(S, [left])
    assert not a.keeps_reserve(S + 1, [left])


def test_an_ordinary_frame_leaves_the_reserve_in_every_window() -> None:
    tight = find_link("lora-eu-864.0:sf=12")
    limits, scopes = ledger_limits(tight), ledger_scopes(tight, tight.frequencies_hz[0])
    a = Plan(tight, limits, scopes, frame_most=90, sighting_bytes=12, interval_us=HOUR, now_us=0)
    for margin_us in (0, S // 10, S):
        size = a.ordinary_bytes(margin_us)
        empty = Use(limits[0], 0)  # type: ignore[arg-type]
        assert a.keeps_reserve(a.airtime_us(size) + margin_us, [empty])
        assert not a.keeps_reserve(a.airtime_us(size + 1) + margin_us, [empty])
    assert a.ordinary_bytes(0) < 90


def test_a_link_without_a_window_is_not_paced() -> None:
    free = Plan(
        find_link("serial-cobs-115200"), (), (), frame_most=100, sighting_bytes=9, interval_us=HOUR,
        now_us=0,
    )  # fmt: skip
    assert free.wait_us(free.airtime_us(100), 0) == 0
    assert free.allowed_bytes(1, 0) == free.ordinary_bytes(0) == 100
    assert free.keeps_reserve(HOUR, [])


def test_a_sighting_spends_what_is_yet_to_be_earned_but_no_more_than_the_bound() -> None:
    a = plan(60 * S)
    for _ in range(100):
        a.spend(10 * S)
    bound = max(SAVED_INTERVALS * a.share_us, a.airtime_us(51))
    assert abs(a.room_us(0) + bound) <= 1
