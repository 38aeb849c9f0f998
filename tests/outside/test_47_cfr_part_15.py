"""902-928 MHz in the United States: clause values and the traps in their units.

Sources: 47 CFR 15.247(a)(1)(i) (2021 and 2005 copies, read), 15.249 (2024 copy, read), the other
paragraphs of 15.247 and 15.35 as quoted from the eCFR of September 2026; KDB 558074 D01 v05r02
clause 10 (quoted).
"""

import pytest

from packcodec.radio import check_legal, find_link, known_rules, largest_frame, ledger_limits
from packcodec.radio.limits import WindowLimit
from packcodec.radio.power import dbm_from_mw, density_dbm, eirp_dbm_from_field

RULES = known_rules()


def refusals(name: str) -> dict[str, str]:
    """Problem by clause of every refusal."""
    return {f.clause: f.problem for f in check_legal(find_link(name)) if f.verdict == "refused"}


@pytest.mark.parametrize(
    ("name", "channels", "window_s", "power_mw"),
    [("us-fhss-50", 50, 20, 1000), ("us-fhss-25", 25, 10, 250), ("us-fhss-50-wide", 50, 10, 1000)],
)
def test_frequency_hopping(name, channels, window_s, power_mw):
    rule = RULES[name]
    assert rule.channels_least == channels
    assert rule.dwell_us == 400_000
    assert rule.dwell_window_us == window_s * 1_000_000
    assert rule.power_reference == "conducted"
    assert rule.power_dbm == pytest.approx(dbm_from_mw(power_mw), abs=0.005)
    assert rule.antenna_gain_most_dbi == 6


def test_digital_modulation():
    rule = RULES["us-dts"]
    assert rule.bandwidth_least_hz == 500_000
    assert (rule.density_dbm, rule.density_per_hz, rule.density_reference) == (
        8,
        3_000,
        "conducted",
    )
    assert rule.power_dbm == pytest.approx(dbm_from_mw(1000))
    assert rule.dwell_us is None


def test_50_mv_per_m_at_3_m_is_three_quarters_of_a_milliwatt_eirp():
    assert eirp_dbm_from_field(0.05, 3) == pytest.approx(dbm_from_mw(0.75))
    assert RULES["us-15.249"].power_dbm == pytest.approx(eirp_dbm_from_field(0.05, 3), abs=0.005)
    assert RULES["us-15.249"].power_reference == "eirp"


def test_no_duty_cycle_anywhere_in_part_15():
    part_15 = [r for r in RULES.values() if r.source == "47 CFR" and r.clause.startswith("15.")]
    assert len(part_15) >= 5
    assert all(rule.duty_cycle is None for rule in part_15)


def test_one_fixed_channel_of_125_khz_at_high_power_is_refused_on_every_path():
    hybrid = refusals("lora-us-hop:frequency_hz=915000000")
    assert any("15.247(f)" in clause for clause in hybrid)
    hopping = refusals("lora-us-hop-64:frequency_hz=915000000")
    assert any("15.247(a)(1)(i)" in clause for clause in hopping)
    digital = refusals("lora-us-wide:bandwidth_hz=125000")
    assert any("15.247(a)(2)" in clause for clause in digital)
    field = refusals("lora-us-low:power_dbm=20,power_reference=conducted")
    assert any("15.249" in clause for clause in field)


def test_the_fixed_channel_is_legal_at_three_quarters_of_a_milliwatt():
    assert refusals("lora-us-low") == {}


def test_eight_channels_are_a_hybrid_and_not_a_hopping_system():
    assert refusals("lora-us-hop") == {}
    assert refusals("lora-us-hop-64:hopping_channels=8") != {}


def test_the_density_leaves_24_dbm_at_125_khz_were_it_flat():
    most_dbm = 8 - density_dbm(0, 125_000, 3_000)
    assert most_dbm == pytest.approx(24.2, abs=0.05)
    assert refusals("lora-us-hop:power_dbm=24") == {}
    assert refusals("lora-us-hop:power_dbm=25") != {}
    doubtful = [
        f for f in check_legal(find_link("lora-us-hop:power_dbm=22")) if f.verdict == "caution"
    ]
    assert any("peaks" in finding.problem for finding in doubtful)


def test_antenna_gain_above_6_dbi_comes_off_the_power_db_for_db():
    assert refusals("lora-us-hop-64:power_dbm=30,antenna_gain_dbi=6") == {}
    assert refusals("lora-us-hop-64:power_dbm=27,antenna_gain_dbi=9") == {}
    (problem,) = refusals("lora-us-hop-64:power_dbm=30,antenna_gain_dbi=9").values()
    assert "more than 27.00 dBm" in problem


def test_the_dwell_is_per_channel_and_adds_up_over_its_window():
    (window, *_) = ledger_limits(find_link("lora-us-hop-64"))
    assert isinstance(window, WindowLimit)
    assert (window.limit_us, window.window_us) == (400_000, 20_000_000)
    assert "902300000" in window.scope


def test_the_hybrid_window_grows_with_the_channels():
    (window, *_) = ledger_limits(find_link("lora-us-hop"))
    assert isinstance(window, WindowLimit)
    assert (window.limit_us, window.window_us) == (400_000, 3_200_000)


@pytest.mark.parametrize(("sf", "longest"), [(7, 255), (8, 138), (9, 66), (10, 24)])
def test_the_longest_frame_under_the_dwell(sf, longest):
    assert largest_frame(find_link(f"lora-us-hop:sf={sf}")) == longest


def test_sf12_fits_nothing_under_the_dwell():
    assert largest_frame(find_link("lora-us-hop:sf=12")) is None
    assert any("400 ms" in problem for problem in refusals("lora-us-hop:sf=12").values())


def test_lr_fhss_hops_over_60_carriers_and_stays_233_ms_at_most():
    assert refusals("lorawan-us915-dr5") == {}
    link = find_link("lorawan-us915-dr5")
    assert link.hops_over == 60
    assert link.airtime(link.payload_most).channel_us < 400_000 < link.airtime(50).airtime_us
