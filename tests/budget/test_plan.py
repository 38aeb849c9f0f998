"""A plan's sizes, verdicts and energy: by hand, against the ledger, and on every known link."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import packcodec.edge
from packcodec.budget.messages import FRAME_SIZE
from packcodec.budget.plan import Budget, Supply, plan_budget
from packcodec.budget.room import bytes_with, rows_within
from packcodec.budget.traffic import DAY_S, Expected, Logged, Random, Regular, Sent
from packcodec.budget.verdict import Verdict, nearest_percent, percent
from packcodec.edge.files import load
from packcodec.errors import RadioError
from packcodec.layout.compiler import compile_layout
from packcodec.radio.energy import BaseLoad, Pack
from packcodec.radio.ledger import Ledger
from packcodec.radio.links import find_link, known_links, read_user_rules
from packcodec.radio.rules import known_rules
from packcodec.radio.scopes import ledger_limits, ledger_scopes
from packcodec.schema.model import Integer, ListOf, Message, Repair, Time

DEMO = Path(packcodec.edge.__file__).parent / "demo_data" / "schema.toml"
LAYOUT = load(DEMO).layout
HOURLY = Expected(
    {"summary": Regular(3600), "sighting": Random(Fraction(6), 2), "health": Regular(DAY_S)}
)


def plan(link: str, traffic: Expected | Logged = HOURLY) -> Budget:
    return plan_budget(LAYOUT, find_link(link), traffic)


def verdict(budget: Budget, subject: str) -> Verdict:
    return next(each for each in budget.verdicts if each.subject == subject)


def test_the_worst_hour_by_hand() -> None:
    """Two summaries, two sightings, one health report of the greatest size in one hour."""
    link = find_link("lora-eu-868.1")
    summary, sighting, health = (link.airtime(n).airtime_us for n in (55, 11, 13))
    used_us = 2 * summary + 2 * sighting + health
    found = verdict(plan("lora-eu-868.1"), "eu-868.0-868.6")
    assert found.fits is True
    assert [(use.used_us, use.allowed_us) for use in found.uses] == [(used_us, 36_000_000)]
    assert found.share == Fraction(used_us, 36_000_000)
    assert "EN 300 220-2" in found.clause


def test_a_day_by_hand() -> None:
    budget = plan("lora-eu-868.1")
    link = budget.link
    expected_us = sum(n * link.airtime(size).airtime_us for n, size in ((24, 55), (6, 11), (1, 13)))
    assert budget.airtime_us_per_day == expected_us
    assert [message.bytes_per_day for message in budget.messages] == [24 * 55, 6 * 11, 13]


def test_past_the_limit_it_says_by_how_much() -> None:
    found = verdict(plan("lora-eu-864.0:sf=12"), "eu-863-865")
    (use,) = found.uses
    assert found.fits is False
    over_s = (use.used_us - use.allowed_us) / 1e6
    assert f"{over_s:.13g} s past 3.6 s in any 1 h" in found.told


@pytest.mark.parametrize("name", known_links())
def test_every_link_gets_a_verdict_a_rule_with_its_clause(name: str) -> None:
    budget = plan(name)
    applying = set(budget.link.rules)
    assert budget.verdicts[0].subject == FRAME_SIZE
    assert len(budget.verdicts) >= 2
    for each in budget.verdicts:
        assert each.clause
        assert each.evidence in ("primary", "secondary", "memory")
        assert each.told
        assert (each.fits is None) == (not applying and each.subject == "no rule")
        assert each.fits is not False or budget.fits is False


def test_no_rule_of_ours_is_unknown_and_no_refusal() -> None:
    budget = plan("text-message")
    assert verdict(budget, "no rule").fits is None
    assert budget.fits
    assert budget.share is None


def test_more_airtime_than_an_hour_has_does_not_fit_any_law() -> None:
    """No duty cycle holds at 915 MHz and low power, but 3600 frames of 1.3 s fill no hour."""
    budget = plan("lora-us-low:sf=11", Expected({"summary": Regular(1)}))
    found = verdict(budget, "transmitter")
    assert found.fits is False
    assert "fall due in one hour" in found.told
    assert not budget.fits
    slow = plan("lora-us-low:sf=11", Expected({"summary": Regular(60)}))
    assert all(each.subject != "transmitter" for each in slow.verdicts)


def test_what_is_not_legal_together_does_not_fit() -> None:
    found = verdict(plan("lora-us-low:power_dbm=14"), "us-15.249")
    assert found.fits is False
    assert "turn it down by 15.25 dB" in found.told


def test_a_channel_that_no_rule_covers_does_not_fit() -> None:
    budget = plan("lora-eu-868.1:frequency_hz=868650000")
    assert not budget.fits
    assert any("none of their bands" in each.told for each in budget.verdicts)


def test_a_hoppers_dwell_counts_one_channel() -> None:
    """Three frames within 20 s, on 64 channels used equally: one on each, none on top."""
    budget = plan("lora-us-hop-64")
    found = verdict(budget, "us-fhss-50")
    longest = max(m.sent_airtime.channel_us for m in budget.messages if m.sent_airtime)
    assert [(use.used_us, use.allowed_us) for use in found.uses] == [(longest, 400_000)]
    packed = plan("lora-us-hop-64", Expected({"summary": Random(Fraction(9), 65)}))
    (use,) = verdict(packed, "us-fhss-50").uses
    assert use.used_us == 2 * longest
    assert not packed.fits


def test_what_the_figures_leave_out_is_a_caution() -> None:
    found = verdict(plan("lora-eu-868.3-polite"), "eu-868.0-868.6-polite")
    assert "a busy channel makes it wait" in found.caution
    assert "frames that belong together take 4 s at most" in found.caution
    assert "National tables may differ" in found.caution


def test_rows_are_cut_to_the_room_and_counted() -> None:
    budget = plan("lorawan-eu868-dr0")
    summary = next(message for message in budget.messages if message.name == "summary")
    assert (summary.greatest_bytes, summary.sent_bytes, summary.rows) == (55, 51, 11)
    assert verdict(budget, FRAME_SIZE).fits is True
    assert "11 of 12 rows" in verdict(budget, FRAME_SIZE).told


def test_a_message_that_cannot_be_cut_does_not_fit() -> None:
    budget = plan("lorawan-us915-dr0")
    found = verdict(budget, FRAME_SIZE)
    assert found.fits is False
    assert "health of up to 13 bytes does not go whole" in found.told
    assert "has room for 11" in found.told


@pytest.mark.parametrize("rows", range(13))
def test_rows_and_bytes_agree_with_a_shorter_list(rows: int) -> None:
    """The same as compiling a schema whose list is that much shorter."""
    message = next(message for message in LAYOUT.messages if message.name == "summary")
    shorter = replace(
        message.message,
        fields=(*message.message.fields[:-1], replace(message.message.fields[-1], most=rows)),
    )
    others = tuple(m.message for m in LAYOUT.messages if m.name != "summary")
    compiled = compile_layout(replace(LAYOUT.schema, messages=(*others, shorter)))
    found = next(each for each in compiled.messages if each.name == "summary")
    # A list of at most `rows` counts itself in fewer bits; here it keeps the four of 12.
    kept_bits = 4 - rows.bit_length()
    bits = compiled.header_bits + found.body.most_bits + kept_bits
    assert bytes_with(LAYOUT, message, rows) == -(-bits // 8) + compiled.check.octets
    assert rows_within(LAYOUT, message, bytes_with(LAYOUT, message, rows)) >= rows


def test_a_repair_symbol_is_part_of_the_frame() -> None:
    schema = replace(LAYOUT.schema, repair=Repair(("summary",), symbol_bytes=10))
    layout = compile_layout(schema)
    message = next(each for each in layout.messages if each.name == "summary")
    assert bytes_with(layout, message, 12) == message.most_frame_bytes > 55 + 9


def test_sizes_of_a_log() -> None:
    sent = tuple(Sent(1, 3600 * n, "summary", size) for n, size in enumerate((9, 10, 30, 55)))
    budget = plan_budget(LAYOUT, find_link("lorawan-eu868-dr0"), Logged(sent))
    (summary,) = budget.messages
    assert (summary.typical_bytes, summary.beyond_share) == (20, 0.25)
    airtime_us = sum(budget.link.airtime(n).airtime_us for n in (9, 10, 30, 51))
    assert summary.airtime_us_per_day == airtime_us
    assert "in 25 % of frames" in verdict(budget, FRAME_SIZE).told


def test_a_batch_goes_in_several_frames() -> None:
    """A time and a list: what one frame gives up goes in the next, and nothing is lost."""
    rows = ListOf("seen", (Integer("count", 0, 255),), 1, 60)
    batch = Message("batch", 0, (Time("at", 60, 86_400), rows))
    layout = compile_layout(replace(LAYOUT.schema, messages=(batch,)))
    link = find_link("lorawan-eu868-dr0")
    (expected,) = plan_budget(layout, link, Expected({"batch": Regular(3600)})).messages
    assert expected.greatest_bytes > 51
    assert (expected.sent_bytes, expected.splits, expected.sendable) == (51, True, True)
    logged = plan_budget(layout, link, Logged((Sent(1, 0, "batch", 60),)))
    (message,) = logged.messages
    assert message.airtime_us_per_day == 2 * link.airtime(51).airtime_us
    assert message.bytes_per_day == 60
    assert "the rest goes in the next" in verdict(logged, FRAME_SIZE).told


def test_a_log_of_short_frames_fits_whole() -> None:
    sent = tuple(Sent(1, 3600 * n, "health", 11) for n in range(3))
    budget = plan_budget(LAYOUT, find_link("lorawan-us915-dr0"), Logged(sent))
    assert verdict(budget, FRAME_SIZE).fits is True


@settings(max_examples=60)
@given(
    st.lists(
        st.builds(
            Sent,
            station=st.just(1),
            at_s=st.integers(0, 3 * 3600),
            message=st.just("summary"),
            frame_bytes=st.integers(9, 55),
        ),
        min_size=1,
        max_size=25,
    )
)
def test_a_log_fits_exactly_when_the_ledger_never_makes_it_wait(sent: list[Sent]) -> None:
    link = find_link("lora-eu-864.0:sf=10")
    budget = plan_budget(LAYOUT, link, Logged(tuple(sent)))
    ledger = Ledger(ledger_limits(link), 0)
    scopes = ledger_scopes(link, link.frequencies_hz[0])
    now_us, waited = 0, False
    for each in budget.traffic.sent:
        now_us = max(now_us, each.at_s * 1_000_000)
        airtime_us = link.airtime(each.frame_bytes).airtime_us
        if ledger.earliest_start(airtime_us, now_us, scopes) != now_us:
            waited = True
            break
        ledger.record(now_us, airtime_us, scopes)
        now_us += airtime_us
    assert budget.fits is not waited


def test_the_default_pack_runs_the_default_monitor_about_eighteen_hours() -> None:
    """37 Wh at 2 W (common practice, no source)."""
    energy = plan("lora-eu-868.1").energy
    assert energy.days is not None
    assert 18.4 < energy.days * 24 < 18.6


def test_radio_energy_by_hand() -> None:
    """SX1262 at 14 dBm draws 90 mA from 3.3 V where the board is matched for 22 dBm."""
    budget = plan("lora-eu-868.1")
    joules = 3.3 * 0.090 * budget.airtime_us_per_day / 1e6
    sleep_wh = 3.3 * 0.0006e-3 * 24
    assert budget.energy.day.radio_wh == pytest.approx(joules / 3600 + sleep_wh)
    assert budget.energy.counted_dbm == 14
    sent = sum(message.bytes_per_day for message in budget.messages)
    all_joules = joules + 3600 * sleep_wh
    assert budget.energy.bytes_per_joule == pytest.approx(sent / all_joules, rel=1e-3)


@pytest.mark.parametrize(("link", "counted_dbm"), [(":power_dbm=4", 14), (":power_dbm=23", None)])
def test_the_power_whose_current_counts_is_told(link: str, counted_dbm: int | None) -> None:
    energy = plan(f"lora-eu-868.1{link}").energy
    assert energy.counted_dbm == counted_dbm
    assert energy.radio_known is (counted_dbm is not None)


def test_a_worst_case_says_what_it_is_made_of() -> None:
    """Two summaries an hour, where one comes late, and a health report; alone or from a log."""
    link = find_link("lora-eu-868.1")
    budget = plan("lora-eu-868.1", Expected({"summary": Regular(3600), "health": Regular(DAY_S)}))
    tightest = budget.verdicts[-1].tightest
    assert tightest is not None
    assert tightest.made_of == (("summary", 2), ("health", 1))
    sent = [Sent(1, 3000 * n, "summary", 40) for n in range(9)] + [Sent(1, 9_100, "health", 13)]
    tightest = plan("lora-eu-868.1", Logged(tuple(sent))).verdicts[-1].tightest
    assert tightest is not None
    made_of = dict(tightest.made_of)
    assert made_of == {"summary": 2, "health": 1}
    sizes = {"summary": 40, "health": 13}
    assert tightest.used_us == sum(
        link.airtime(sizes[m]).airtime_us * n for m, n in made_of.items()
    )


@pytest.mark.parametrize(
    ("link", "told"),
    [
        ("lora-eu-868.1:power_dbm=10", "10.00 dBm ERP of 13.98 dBm ERP; antenna 2.15 dBi"),
        ("lora-eu-868.1:power_dbm=10,antenna_gain_dbi=5", "12.85 dBm ERP of 13.98 dBm ERP"),
        ("lora-eu-868.1", "14.00 dBm ERP of 13.98 dBm ERP (the same: chips are set in whole"),
        ("text-message", ""),
    ],
)
def test_a_verdict_tells_the_power_beside_its_limit(link: str, told: str) -> None:
    power = plan(link).verdicts[-1].power
    assert power.startswith(told)
    assert bool(power) is bool(told)


def test_a_network_link_listens_after_each_uplink() -> None:
    raw, network = plan("lora-eu-868.1:sf=10"), plan("lorawan-eu868-dr2")
    transmit_j = 3.3 * 0.090 * network.airtime_us_per_day / 1e6
    listen_j = 3.3 * 0.0053 * 31 * 2 * 8 * 8.192e-3
    sleep_wh = 3.3 * 0.0006e-3 * 24
    assert network.energy.day.radio_wh == pytest.approx((transmit_j + listen_j) / 3600 + sleep_wh)
    assert network.airtime_us_per_day > raw.airtime_us_per_day


def test_an_unknown_radio_is_said_and_may_be_given() -> None:
    assert not plan("text-message").energy.radio_known
    supply = Supply(Pack(37.0), BaseLoad(0.0), radio_w=2.0)
    budget = plan_budget(LAYOUT, find_link("text-message"), HOURLY, supply=supply)
    assert budget.energy.day.radio_wh == pytest.approx(2.0 * 31 * 15 / 3600)


def test_the_sun_may_carry_the_load() -> None:
    budget = plan_budget(LAYOUT, find_link("lora-eu-868.1"), HOURLY, supply=Supply(solar_wh=60.0))
    assert budget.energy.days is None


def test_fewer_rows_make_shorter_frames() -> None:
    budget = plan_budget(LAYOUT, find_link("lora-eu-868.1"), HOURLY, rows_most=3)
    summary = next(message for message in budget.messages if message.name == "summary")
    assert (summary.rows, summary.sent_bytes) == (3, 21)
    assert "keeps 3 of 12 rows" in verdict(budget, FRAME_SIZE).told


def test_a_message_the_layout_lacks_is_refused() -> None:
    with pytest.raises(RadioError, match="no message 'sightings'"):
        plan("lora-eu-868.1", Expected({"sightings": Regular(60)}))


def test_a_users_own_rule_is_marked_in_the_verdict() -> None:
    own = read_user_rules(
        '[[rule]]\nid = "site"\nlike = "eu-868.0-868.6"\nduty_cycle = 0.0001\n'
        'source = "letter"\nevidence = "primary"\n'
        '[[link]]\nname = "hide"\nlike = "lora-eu-868.1"\nrules = ["site"]\n',
        "own.toml",
    )
    link = find_link("hide", own.links)
    budget = plan_budget(LAYOUT, link, HOURLY, rules=known_rules(own.rules))
    found = verdict(budget, "site")
    assert found.fits is False
    assert "the user's own rule" in found.clause


def test_price_counts_the_greatest_frames() -> None:
    link = replace(find_link("satellite-burst"), price_per_quantum=Fraction(1, 100), currency="EUR")
    budget = plan_budget(LAYOUT, link, Expected({"summary": Regular(3600)}))
    assert budget.price_per_day == 24 * Fraction(55, 100)


@pytest.mark.parametrize(
    ("share", "told"),
    [
        (0, "0 %"),
        (1e-9, "under 0.01 %"),
        (20_000, "2000000 %"),
        (0.041, "4.1 %"),
        (0.0411, "4.2 %"),
        (0.41, "41 %"),
        (0.992, "100 %"),
        (2.3, "230 %"),
        (0.0041, "0.41 %"),
    ],
)
def test_a_share_is_told_no_smaller_than_it_is(share: float, told: str) -> None:
    assert percent(share) == told


@pytest.mark.parametrize(
    ("share", "told"),
    [
        (0, "0 %"),
        (0.000017, "under 0.01 %"),
        (0.0001, "0.01 %"),
        (0.04527, "4.5 %"),
        (0.04551, "4.6 %"),
        (0.992, "99 %"),
    ],
)
def test_a_share_of_what_is_no_limit_is_the_nearest(share: float, told: str) -> None:
    assert nearest_percent(share) == told
