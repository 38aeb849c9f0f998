"""The engine by made-up clocks: what goes, what waits, what is cut, and what each frame says."""

import itertools
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from small_schema import EPOCH, at, codec_of

from packcodec.codec.record import Record
from packcodec.frame import Codec
from packcodec.monitor import Counter, Detection, Kept, Monitor, Reading, Send
from packcodec.radio import Ledger, find_link, ledger_limits

LINK = "lora-eu-868.1"
OWN_FIELDS = (
    '{ name = "sealed", kind = "boolean", optional = true },',
    '{ name = "boots", kind = "integer", low = 0, high = 15, optional = true },\n'
    '{ name = "last_sent", kind = "integer", low = 0, high = 1023, optional = true },\n'
    '{ name = "first_number", kind = "integer", low = 0, high = 1023, optional = true },\n'
    '{ name = "waiting", kind = "integer", low = 0, high = 15, above = "clamp" },\n'
    '{ name = "discarded", kind = "integer", low = 0, high = 15, above = "clamp" },\n'
    '{ name = "storage_failed", kind = "boolean" },',
)


class Life:
    """One boot of a monitor; `wall` is what its clock says and `mono_s` how long it runs."""

    def __init__(
        self,
        codec: Codec | None = None,
        wall: datetime | None = None,
        *,
        link: str = LINK,
        first: int = 0,
        payload_most: int = 255,
        **options: Any,
    ) -> None:
        self.codec = codec or codec_of()
        self.wall = wall or at("06:00")
        self.mono_s = 0.0
        self.attested: bool | None = None
        radio = replace(find_link(link), payload_most=payload_most)
        limits = ledger_limits(radio)
        self.ledger = Ledger(limits, 0, wall_us=None)
        counter = Counter(first)
        counter.reserved = first + 100_000
        self.monitor = Monitor(
            self.codec, 1, radio, self.now, counter=counter, ledger=self.ledger, **options
        )
        self.sends: list[Send] = []

    @property
    def now(self) -> Reading:
        return Reading(self.wall, int(self.mono_s * 1_000_000), self.attested)

    def saw(self, label: str, individuals: int = 1, confidence: float = 0.9) -> None:
        detection = Detection(1, self.wall, label, confidence, individuals)
        self.monitor.seen(detection, self.now)

    def passes(self, minutes: float, step_s: float = 60, watching: bool = True) -> None:
        for _ in range(int(minutes * 60 / step_s)):
            self.wall += timedelta(seconds=step_s)
            self.mono_s += step_s
            self.monitor.tick(self.now, watching=watching)
            self.send()

    def send(self) -> None:
        while (due := self.monitor.due(self.now)) is not None:
            send = self.monitor.sender.frame(due)
            self.ledger.record(
                self.now.mono_us, send.airtime_us, self.monitor.sender.scopes, wall_us=self.wall_us
            )
            self.mono_s += send.airtime_us / 1e6
            self.wall += timedelta(microseconds=send.airtime_us)
            self.monitor.sent(send)
            self.sends.append(send)

    @property
    def wall_us(self) -> int:
        return (self.wall - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)

    @property
    def records(self) -> list[Record]:
        return [self.codec.decode(send.frame) for send in self.sends]

    def of(self, message: str) -> list[dict[str, Any]]:
        return [each.values for each in self.records if each.message == message]


def test_a_sighting_goes_at_once_and_its_interval_when_it_is_over() -> None:
    life = Life()
    life.passes(10)
    life.saw("otter", 2)
    life.send()
    assert [send.entries[0].message for send in life.sends] == ["sighting"]
    life.passes(60)
    assert life.of("sighting")[0]["at"] == at("06:10")
    (summary,) = life.of("summary")
    assert summary["start"] == at("06:00")
    assert [row["species"] for row in summary["rows"]] == ["otter"]


def test_people_leave_no_trace_in_frames_or_in_what_is_kept() -> None:
    life, other = Life(), Life()
    life.passes(1)
    other.passes(1)
    for _ in range(1000):
        life.saw("human", 3)
    life.passes(120)
    other.passes(120)
    assert [send.frame for send in life.sends] == [send.frame for send in other.sends]
    one, two = life.monitor.kept().to_json(), other.monitor.kept().to_json()
    assert one == two
    assert "human" not in str(one)


def test_memory_does_not_grow_with_detections() -> None:
    life = Life()
    life.passes(1)
    life.saw("coot")
    size = len(str(life.monitor.kept().to_json()))
    for _ in range(10_000):
        life.saw("coot", 3)
        life.saw("nobody knows")
    assert len(str(life.monitor.kept().to_json())) < size + 40


MANY = ("coot", "teal", "snipe", "lapwing", "otter")


def test_a_summary_is_cut_by_worth_to_what_the_link_carries() -> None:
    whole, cut = Life(), Life(payload_most=24)
    for life in (whole, cut):
        life.passes(1)
        for label in MANY[:4]:
            life.saw(label, 2)
        life.saw("bittern", 1)
        life.passes(120)
    (all_of_it,) = [each for each in whole.of("summary") if each["rows"]]
    (short,) = [each for each in cut.of("summary") if each["rows"]]
    assert len(all_of_it["rows"]) == 4
    assert short["rows"][0]["species"] == all_of_it["rows"][0]["species"] == "bittern"
    assert 0 < len(short["rows"]) < 4
    assert len(short["rows"]) + short["left_out"] == 5
    assert all(row["first"] is None for row in short["rows"])
    assert max(len(send.frame) for send in cut.sends) <= 24


def test_little_airtime_cuts_summaries_and_never_breaks_the_rule() -> None:
    codec = codec_of(
        ("interval_min = 60", "interval_min = 5"), ("step_s = 3600, span", "step_s = 300, span")
    )
    life = Life(codec, link="lora-eu-864.0:sf=11")
    generous = Life(codec, link="lora-eu-868.1:sf=11")
    for each in (life, generous):
        each.passes(1)
        for _ in range(24):
            for label in MANY:
                each.saw(label)
            each.passes(5)
    assert life.ledger.used(life.now.mono_us)[0].used_us <= 3_600_000
    sizes = [len(send.frame) for send in life.sends if send.entries[0].message == "summary"]
    rich = [len(send.frame) for send in generous.sends if send.entries[0].message == "summary"]
    assert max(sizes) < min(rich)
    rows = [len(each["rows"]) + each["left_out"] for each in life.of("summary")]
    assert set(rows) <= {5}


def test_a_burst_of_summaries_leaves_the_reserve_and_a_sighting_goes_at_once() -> None:
    life = Life(link="lora-eu-864.0:sf=11")
    for number in range(50):
        life.monitor.outbox.put("summary", _summary(life.codec), 1, number)
    life.passes(180)
    assert 0 < len(life.sends) < 50
    life.saw("otter")
    life.send()
    assert life.sends[-1].entries[0].message == "sighting"


def _summary(codec: Codec) -> bytes:
    values = {"start": EPOCH, "watched": 60, "left_out": 0, "people": None, "dropped": 0}
    return codec.payloads["summary"].pack_values({**values, "state": [], "rows": []})


def test_ordinary_frames_are_spread_over_the_window_not_sent_in_one_go() -> None:
    life = Life(link="lora-eu-864.0:sf=11")
    for number in range(50):
        life.monitor.outbox.put("summary", _summary(life.codec), 1, number)
    hours = [0] * 4
    for hour in range(4):
        before = len(life.sends)
        life.passes(60)
        hours[hour] = len(life.sends) - before
    assert max(hours[1:]) - min(hours[1:]) <= 1


def test_health_says_what_a_base_needs_to_tell_lost_from_never_sent() -> None:
    codec = codec_of(OWN_FIELDS)
    life = Life(codec, first=2000, boots=17, kept=Kept(last_sent=1990))
    life.monitor.storage_failed = True
    life.monitor.health({"battery_mv": 3700})
    life.passes(5)
    (health,) = life.of("health")
    assert health["boots"] == 1
    assert health["last_sent"] == 1990 % 1024
    assert health["first_number"] == 2000 % 1024
    assert health["storage_failed"] is True
    assert health["battery_mv"] == 3700


def test_health_is_told_at_the_start_and_once_a_day() -> None:
    life = Life(health_every_s=86_400)
    life.monitor.health({"battery_mv": 3700})
    life.passes(3 * 24 * 60, step_s=300)
    assert len(life.of("health")) == 3


def test_a_health_value_stands_until_it_is_told_anew() -> None:
    life = Life(health_every_s=3600)
    life.monitor.health({"battery_mv": 3700, "sealed": True})
    life.passes(30)
    life.monitor.health({"battery_mv": 3600})
    life.passes(60)
    told = [(each["battery_mv"], each["sealed"]) for each in life.of("health")]
    assert told == [(3700, True), (3600, True)]


def test_a_failing_card_is_told_at_once_and_then_only_with_the_day() -> None:
    life = Life(codec_of(OWN_FIELDS))
    life.monitor.health({"battery_mv": 3700})
    life.passes(60)
    for _ in range(30):
        life.monitor.storage_failed = True
        life.passes(1)
        life.monitor.storage_failed = False
        life.passes(1)
    assert [each["storage_failed"] for each in life.of("health")] == [False, True]


def test_the_first_frames_after_a_boot_say_so_and_none_of_the_very_first() -> None:
    first, again = Life(boots=1), Life(boots=2)
    for life in (first, again):
        life.passes(6 * 60)
    assert not any("restarted" in each["state"] for each in first.of("summary"))
    flags = ["restarted" in each["state"] for each in again.of("summary")]
    assert flags == [True, True, True, False, False, False]


def test_a_failing_radio_is_tried_again_later_and_later_but_a_sighting_now() -> None:
    life = Life()
    life.passes(61)
    life.monitor.outbox.put("summary", _summary(life.codec), 1, 0)
    tries = []
    for minute in range(300):
        life.mono_s += 60
        life.wall += timedelta(minutes=1)
        if life.monitor.due(life.now) is not None:
            tries.append(minute)
            life.monitor.sender.failed(life.now)
    gaps = [b - a for a, b in itertools.pairwise(tries)]
    assert gaps == sorted(gaps)
    assert gaps[-1] == 60
    life.saw("otter")
    due = life.monitor.due(life.now)
    assert due is not None
    assert due.entries[0].message == "sighting"


UNSET = datetime(2000, 1, 1, 0, 30, tzinfo=UTC)


def test_records_of_an_unset_clock_carry_no_time_and_say_so() -> None:
    life = Life(wall=UNSET)
    life.passes(10)
    life.saw("otter")
    life.passes(60)
    (sighting,), (summary, *_) = life.of("sighting"), life.of("summary")
    assert sighting["at"] is None
    assert summary["start"] is None
    assert sighting["state"] == summary["state"] == ("clock_unset",)


def test_times_are_put_right_once_the_clock_is_set_and_the_flag_stays() -> None:
    life = Life(wall=UNSET)
    for _ in range(10):
        life.wall += timedelta(minutes=1)
        life.mono_s += 60
        life.monitor.tick(life.now)
    life.saw("otter")
    life.wall, life.mono_s = at("09:20"), life.mono_s + 600
    life.passes(1)
    (sighting,) = life.of("sighting")
    assert sighting["at"] == at("09:10")
    assert sighting["state"] == ("clock_unset",)
    life.passes(60)
    early, late = life.of("summary")
    # It began at 00:00 by the unset clock, half an hour before the boot: 40 min before 09:10.
    assert early["start"] == at("08:00") or early["start"] == at("09:00")
    assert early["state"] == ("clock_unset",)
    assert late["start"] == at("09:00")
    assert late["state"] == ()


def test_times_modulo_a_span_are_put_right_too() -> None:
    wrap = ('span_s = 15811200, beyond = "reject"', "span_s = 86400")
    life = Life(codec_of(wrap), wall=UNSET)
    life.passes(1)
    life.saw("otter")
    life.wall, life.mono_s = at("09:20", 3), life.mono_s + 600
    life.passes(1)
    received = [life.codec.decode(send.frame, received=at("10:00", 3)) for send in life.sends]
    (sighting,) = [each.values for each in received if each.message == "sighting"]
    assert sighting["at"] == at("09:10", 3)


def test_a_jump_closes_the_interval_and_counts_no_effort_across_it() -> None:
    life = Life()
    life.passes(10)
    life.saw("coot")
    life.wall += timedelta(hours=5)
    life.passes(10)
    life.passes(60)
    first, second = life.of("summary")[:2]
    assert first["watched"] == 9 * 60
    assert second["watched"] == 49 * 60
    # What came before was put right, and says that its clock was not.
    assert (first["start"], first["state"]) == (at("11:00"), ("clock_unset",))
    assert (second["start"], second["state"]) == (at("11:00"), ())


def test_what_an_attested_clock_said_stands_after_a_jump() -> None:
    life = Life()
    life.attested = True
    life.passes(10)
    life.attested = None
    life.wall += timedelta(hours=5)
    life.passes(10)
    life.passes(60)
    assert [each["start"] for each in life.of("summary")] == [at("06:00"), at("11:00")]


def test_a_night_off_goes_on_in_the_morning_with_nothing_invented() -> None:
    evening = Life(wall=at("19:30"))
    evening.passes(10)
    evening.saw("coot", 4)
    kept = Kept.of_json(evening.monitor.kept().to_json())
    morning = Life(wall=at("05:00", 1), kept=kept, boots=2, first=64)
    morning.passes(61)
    old, new = morning.of("summary")
    assert old["start"] == at("19:00")
    assert old["watched"] == 9 * 60
    assert old["rows"][0]["most"] == 4
    assert new["start"] == at("05:00", 1)


def test_a_short_cut_goes_on_with_the_same_interval_and_the_same_visit() -> None:
    before = Life(wall=at("09:05"))
    before.passes(10)
    before.saw("coot", 4)
    kept = Kept.of_json(before.monitor.kept().to_json())
    after = Life(wall=at("09:20"), kept=kept, boots=2, first=64)
    after.saw("coot", 2)
    after.passes(60)
    (summary, *_) = after.of("summary")
    (row,) = summary["rows"]
    assert (row["visits"], row["most"], row["detections"]) == (1, 4, 2)


def test_a_cut_between_two_intervals_does_not_begin_a_visit_anew() -> None:
    """At the full hour no interval is open, and yet the visit goes on into the next."""
    before = Life(wall=at("08:45"))
    before.passes(10)
    before.saw("coot", 4)
    before.passes(4)
    before.mono_s += (at("09:00") - before.wall).total_seconds()
    before.wall = at("09:00")
    before.monitor.tick(before.now)
    assert before.monitor.summariser.opened is None
    kept = Kept.of_json(before.monitor.kept().to_json())
    after = Life(wall=at("09:00"), kept=kept, boots=2, first=64)
    after.saw("coot", 2)
    after.passes(61)
    (row,) = after.of("summary")[-1]["rows"]
    assert (row["visits"], row["most"]) == (0, 2)


def test_time_without_watching_is_no_effort() -> None:
    life = Life()
    life.passes(30)
    life.passes(20, watching=False)
    life.passes(30)
    assert life.of("summary")[0]["watched"] == (29 + 10) * 60


def test_a_loop_that_hung_is_not_taken_for_watching() -> None:
    life = Life()
    life.passes(10)
    life.passes(40, step_s=2400)
    life.passes(20)
    assert life.of("summary")[0]["watched"] == (9 + 10) * 60


def test_what_can_never_be_sent_is_dropped_and_counted() -> None:
    codec = codec_of(OWN_FIELDS)
    life = Life(codec, payload_most=13)
    life.monitor.health({"battery_mv": 3700})
    life.passes(120)
    assert life.monitor.unsendable["health"] == 1
    assert life.of("health") == []
    assert life.of("summary")


@pytest.mark.parametrize("health", [{"battery_mv": 100}, {}])
def test_a_reading_the_message_cannot_carry_does_not_stop_the_station(
    health: dict[str, int],
) -> None:
    life = Life()
    life.monitor.health(health)
    life.passes(120)
    assert life.of("health") == []
    assert len(life.of("summary")) == 2
    assert sum(each.count for each in life.monitor.summariser.unmade.values()) == 1


def test_repair_symbols_cover_the_frames_of_this_boot() -> None:
    repair = ("[policy]", '[repair]\nmessages = ["summary"]\nwindow = 4\nstride = 1\n[policy]')
    life = Life(codec_of(repair), first=640)
    life.passes(5 * 60 + 30)
    opened = [life.codec.open(send.frame) for send in life.sends]
    held = [each.repair.held for each in opened if each.repair]
    assert held == [0, 1, 2, 3, 4]
    sizes = {send.airtime_us for send in life.sends}
    assert sizes == {life.monitor.sender.plan.airtime_us(len(send.frame)) for send in life.sends}
