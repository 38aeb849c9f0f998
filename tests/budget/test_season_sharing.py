"""A pack over a season, stations on a channel, and what a link lets through."""

from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path

import pytest

import packcodec.edge
from packcodec.budget.allowance import allowance
from packcodec.budget.hours import airtime_by_hour, hour_limit_us
from packcodec.budget.plan import Budget, Supply, plan_budget
from packcodec.budget.season import plan_season
from packcodec.budget.sharing import share_channel
from packcodec.budget.traffic import DAY_S, DAY_US, HOUR_US, Expected, Logged, Random, Regular, Sent
from packcodec.edge.files import load
from packcodec.errors import RadioError
from packcodec.radio.channel import frame_loss
from packcodec.radio.energy import BaseLoad, Pack
from packcodec.radio.ledger import Ledger
from packcodec.radio.links import find_link
from packcodec.radio.scopes import ledger_limits, ledger_scopes
from packcodec.radio.sun import Daylight

DEMO = Path(packcodec.edge.__file__).parent / "demo_data" / "schema.toml"
LAYOUT = load(DEMO).layout
HOURLY = Expected(
    {"summary": Regular(3600), "sighting": Random(Fraction(6)), "health": Regular(DAY_S)}
)
FIRST = date(2027, 4, 1)


def plan(pack_wh: float = 37.0, solar_wh: float = 0.0, link: str = "lora-eu-868.1") -> Budget:
    supply = Supply(Pack(pack_wh), BaseLoad(2.0), solar_wh=solar_wh)
    return plan_budget(LAYOUT, find_link(link), HOURLY, supply=supply)


def days(*hours: float) -> tuple[Daylight, ...]:
    return tuple(
        Daylight(FIRST + timedelta(days=n), None, None, each) for n, each in enumerate(hours)
    )


def test_a_season_by_hand() -> None:
    """10, 15 and 20 h at 2 W: 20, 30 and 40 Wh; 37 Wh give out during the second day."""
    season = plan_season(plan(), days(10, 15, 20))
    assert [day.draw_wh for day in season.course] == pytest.approx([20, 30, 40], abs=0.01)
    assert season.days == pytest.approx(1 + 17 / 30, abs=0.001)
    assert season.empty_on == FIRST + timedelta(days=1)
    assert season.needs_wh == pytest.approx(90, abs=0.01)
    assert [day.left_wh for day in season.course] == pytest.approx([17, 0, 0], abs=0.01)


def test_longer_days_have_more_frames() -> None:
    short, long = plan_season(plan(), days(8, 16)).course
    assert short.radio_wh < long.radio_wh < short.draw_wh


def test_the_pack_a_season_needs_lasts_it() -> None:
    hours = [14 + 3 * (n % 60) / 60 for n in range(120)]
    short = plan_season(plan(), days(*hours))
    assert short.days is not None
    enough = plan_season(plan(short.needs_wh + 1e-6), days(*hours))
    assert enough.days is None
    assert enough.empty_on is None
    assert plan_season(plan(short.needs_wh * 0.999), days(*hours)).days is not None


def test_the_sun_a_season_needs_is_the_least_that_lasts() -> None:
    hours = [14 + 3 * (n % 60) / 60 for n in range(60)]
    needed_wh = plan_season(plan(), days(*hours)).needs_solar_wh
    assert plan_season(plan(solar_wh=needed_wh), days(*hours)).days is None
    assert plan_season(plan(solar_wh=needed_wh - 0.01), days(*hours)).days is not None


def test_polar_night_draws_the_sleep_alone() -> None:
    (dark,) = plan_season(plan(), days(0.0)).course
    assert dark.draw_wh < 0.01


def test_sharing_is_aloha_of_the_mean_frame() -> None:
    budget = plan()
    sharing = share_channel(budget, 40)
    frames = sum(message.frames_per_day for message in budget.messages)
    assert sharing.airtime_us == round(budget.airtime_us_per_day / frames)
    assert sharing.period_us == round(DAY_US / frames)
    assert sharing.loss == frame_loss(40, sharing.airtime_us, sharing.period_us)
    assert sharing.loss_among(1) == 0


def test_the_busiest_hour_loses_more() -> None:
    """Two summaries, two sightings and a health report, of every station in the same hour."""
    traffic = Expected({**HOURLY.rates, "sighting": Random(Fraction(6), 2)})
    budget = plan_budget(LAYOUT, find_link("lora-eu-868.1"), traffic)
    sharing = share_channel(budget, 40)
    used_us = 2 * budget.airtime_us("summary") + 2 * budget.airtime_us("sighting")
    used_us += budget.airtime_us("health")
    assert sharing.busy_loss == frame_loss(40, round(used_us / 5), HOUR_US // 5)
    assert sharing.busy_loss > sharing.loss


def test_the_most_stations_stay_under_their_loss() -> None:
    sharing = share_channel(plan(link="lora-eu-868.1:sf=12"), 10)
    for loss, stations in sharing.most:
        assert sharing.loss_among(stations) <= loss < sharing.loss_among(stations + 1)


def test_channels_share_the_load() -> None:
    one, three = plan(), plan(link="lorawan-eu868-dr3")
    assert share_channel(three, 100).channels == 3
    assert share_channel(one, 100).channels == 1


def test_stations_awake_half_the_day_are_twice_as_dense() -> None:
    traffic = Expected({"sighting": Random(Fraction(100))})
    whole = plan_budget(LAYOUT, find_link("lora-eu-868.1"), traffic)
    half = plan_budget(LAYOUT, find_link("lora-eu-868.1"), replace(traffic, watch_s=DAY_S // 2))
    assert share_channel(half, 50).period_us == share_channel(whole, 50).period_us // 2


@pytest.mark.parametrize(("link", "stations"), [("text-message", 5), ("lora-eu-868.1", 0)])
def test_what_cannot_share_is_refused(link: str, stations: int) -> None:
    with pytest.raises(RadioError):
        share_channel(plan(link=link), stations)


@pytest.mark.parametrize(
    ("name", "frame_bytes"),
    [
        ("lora-eu-868.1:sf=10", 24),
        ("lora-eu-868.1:sf=10", 255),
        ("lora-eu-864.0:sf=12", 12),
        ("lora-eu-868.3-polite:sf=10", 51),
        ("lora-jp-922:sf=12", 12),
    ],
)
def test_an_allowance_is_what_the_ledger_lets_through(name: str, frame_bytes: int) -> None:
    """A station that sends whenever it may, for as long as a quarter of a day."""
    link = find_link(name)
    allowed = allowance(link, frame_bytes)
    ledger, airtime_us = Ledger(ledger_limits(link), 0), link.airtime(frame_bytes).airtime_us
    scopes = ledger_scopes(link, link.frequencies_hz[0])
    now_us = sent = 0
    while now_us + airtime_us <= DAY_US // 4:
        start_us = ledger.earliest_start(airtime_us, now_us, scopes)
        assert start_us is not None
        ledger.record(start_us, airtime_us, scopes)
        now_us = start_us + airtime_us
        sent += 1
    # The last, half-used window is the only difference.
    most_a_window = allowed.at_once or 1
    assert allowed.frames_per_day / 4 - most_a_window <= sent
    assert sent <= allowed.frames_per_day / 4 + most_a_window


def test_ten_seconds_an_hour_at_a_tenth_of_a_per_cent_by_hand() -> None:
    """3.6 s an hour of frames of 0.991232 s: three an hour, 72 a day."""
    allowed = allowance(find_link("lora-eu-864.0:sf=12"), 10)
    assert allowed.airtime.airtime_us == 991_232
    assert (allowed.at_once, allowed.frames_per_day, allowed.bytes_per_day) == (3, 72, 720)
    assert "EN 300 220-2" in allowed.clause


def test_a_link_without_a_rule_is_bound_by_its_own_speed() -> None:
    allowed = allowance(find_link("serial-kiss-9600"), 100)
    assert allowed.at_once is None
    assert allowed.clause == ""
    assert allowed.frames_per_day == DAY_US // allowed.airtime.airtime_us


def test_hours_of_a_log_by_hand() -> None:
    """Two stations on one day: 0.144384 s each for 10 bytes, 0.349184 s for 55."""
    sent = (
        Sent(1, 5 * 3600, "summary", 10),
        Sent(1, 5 * 3600 + 60, "summary", 55),
        Sent(2, 5 * 3600, "summary", 10),
        Sent(2, 23 * 3600, "summary", 10),
    )
    budget = plan_budget(LAYOUT, find_link("lora-eu-868.1"), Logged(sent))
    hours = {use.hour: use for use in airtime_by_hour(budget) if use.most_us}
    assert set(hours) == {5, 23}
    assert hours[5].most_us == 144_384 + 349_184
    assert hours[5].mean_us == (2 * 144_384 + 349_184) / 2
    assert hours[23].mean_us == 144_384 / 2


def test_expected_hours_share_the_day() -> None:
    budget = plan()
    hours = airtime_by_hour(budget)
    assert len(hours) == 24
    assert sum(use.mean_us for use in hours) == pytest.approx(budget.airtime_us_per_day)
    assert hour_limit_us(budget) == 36_000_000
    assert hour_limit_us(plan(link="lora-us-hop-64")) is None
