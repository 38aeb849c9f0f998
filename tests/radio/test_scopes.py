"""Rules as ledger limits: one account where the law has one, another where it has another."""

import pytest

from packcodec.radio import (
    Ledger,
    PauseLimit,
    SingleLimit,
    WindowLimit,
    find_link,
    known_links,
    ledger_limits,
    ledger_scopes,
)


def kinds(name: str) -> list[tuple[str, str]]:
    return [(type(limit).__name__, limit.scope) for limit in ledger_limits(find_link(name))]


def test_a_duty_cycle_counts_over_its_sub_band_whatever_the_channel():
    low, high = find_link("lora-eu-868.1"), find_link("lora-eu-868.3")
    assert ledger_limits(low) == ledger_limits(high)
    assert ledger_scopes(low, 868_100_000) == ledger_scopes(high, 868_300_000)
    (limit,) = ledger_limits(low)
    assert isinstance(limit, WindowLimit)
    assert (limit.limit_us, limit.window_us) == (36_000_000, 3_600_000_000)
    assert "EN 300 220-2" in limit.clause


def test_another_sub_band_is_another_account():
    scopes = ledger_scopes(find_link("lora-eu-867.1"), 867_100_000)
    assert scopes == ("eu-865-868",)


def test_dwell_counts_by_channel():
    link = find_link("lora-us-hop-64")
    limits = ledger_limits(link)
    assert len(limits) == len({limit.scope for limit in limits}) == 64
    assert ledger_scopes(link, 902_300_000) == ("us-fhss-50@902300000",)


def test_a_plan_s_dwell_is_one_stay_beside_the_law():
    scopes = ledger_scopes(find_link("lorawan-au915-dwell1-dr2"), 915_200_000)
    assert scopes == ("au915-plan-dwell@915200000",)
    (single, *_) = ledger_limits(find_link("lorawan-au915-dwell1-dr2"))
    assert isinstance(single, SingleLimit)
    assert single.limit_us == 400_000


def test_polite_access_pauses_and_counts_by_slices_of_spectrum():
    assert kinds("lora-eu-868.3-polite") == [
        ("PauseLimit", "eu-868.0-868.6-polite"),
        ("SingleLimit", "eu-868.0-868.6-polite"),
        ("WindowLimit", "eu-868.0-868.6-polite/4341"),
    ]
    across = find_link("lora-eu-868.3-polite:frequency_hz=868400000")
    assert set(ledger_scopes(across, 868_400_000)) == {
        "eu-868.0-868.6-polite",
        "eu-868.0-868.6-polite/4341",
        "eu-868.0-868.6-polite/4342",
    }


def test_japan_has_a_pause_a_longest_transmission_and_no_duty_cycle_after_a_long_sense():
    assert [kind for kind, _ in kinds("lora-jp-922")] == ["PauseLimit", "SingleLimit"]
    pause, single = ledger_limits(find_link("lora-jp-922"))
    assert isinstance(pause, PauseLimit)
    assert isinstance(single, SingleLimit)
    assert (pause.pause_us, single.limit_us) == (50_000, 4_000_000)


def test_nothing_is_limited_in_time_where_the_law_limits_only_power():
    assert ledger_limits(find_link("lora-us-low")) == ()
    assert ledger_scopes(find_link("lora-us-low"), 915_000_000) == ()


def test_the_hops_of_lr_fhss_are_the_chips_own():
    assert ledger_limits(find_link("lorawan-us915-dr5")) == ()


@pytest.mark.parametrize("link", known_links().values(), ids=lambda link: link.name)
def test_a_ledger_takes_every_links_limits_and_scopes(link):
    ledger = Ledger(ledger_limits(link), 0)
    for frequency_hz in link.frequencies_hz:
        scopes = ledger_scopes(link, frequency_hz)
        burst_us = link.airtime(0).burst_us
        assert ledger.earliest_start(burst_us, 0, scopes) == 0
