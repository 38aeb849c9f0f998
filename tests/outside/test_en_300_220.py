"""European short range devices: clause values and what they mean in airtime.

Sources: ETSI EN 300 220-2 V3.3.1 (2025-03), Tables 4 and 18, as transcribed in two open
documents; the Spanish national table UN-39 (868.0-868.6, 868.7-869.2 and 869.4-869.65 MHz read);
ERC/REC 70-03, duty cycle categories (read): one continuous hour, advised longest transmissions.
"""

from fractions import Fraction

import pytest

from packcodec.radio import Lora, check_legal, find_link, known_rules, largest_payload
from packcodec.radio.power import convert_dbm, dbm_from_mw

# Lower and upper edge in kHz, ERP in mW, duty cycle, widest signal in kHz.
TABLE_4 = {
    "eu-863-865": (863_000, 865_000, 25, Fraction(1, 1000), 2_000),
    "eu-865-868": (865_000, 868_000, 25, Fraction(1, 100), 3_000),
    "eu-868.0-868.6": (868_000, 868_600, 25, Fraction(1, 100), 600),
    "eu-868.7-869.2": (868_700, 869_200, 25, Fraction(1, 1000), 500),
    "eu-869.4-869.65": (869_400, 869_650, 500, Fraction(1, 10), 250),
    "eu-869.7-870.0-5mw": (869_700, 870_000, 5, None, 300),
    "eu-869.7-870.0-25mw": (869_700, 870_000, 25, Fraction(1, 100), 300),
    "eu-433-10mw": (433_050, 434_790, 10, Fraction(1, 10), None),
    "eu-433-1mw": (433_050, 434_790, 1, None, None),
    "eu-433-10mw-narrow": (434_040, 434_790, 10, None, 25),
}
HOUR_US = 3_600_000_000


@pytest.mark.parametrize("name", TABLE_4)
def test_table_4(name):
    low_khz, high_khz, power_mw, duty_cycle, widest_khz = TABLE_4[name]
    rule = known_rules()[name]
    assert rule.bands_hz == ((low_khz * 1000, high_khz * 1000),)
    assert rule.power_reference == "erp"
    assert rule.power_dbm == pytest.approx(dbm_from_mw(power_mw), abs=0.005)
    assert rule.duty_cycle == duty_cycle
    assert rule.duty_window_us == (HOUR_US if duty_cycle else None)
    assert rule.bandwidth_most_hz == (widest_khz * 1000 if widest_khz else None)


@pytest.mark.parametrize(
    ("name", "budget_s", "advised_s"),
    [("eu-863-865", 3.6, 0.72), ("eu-868.0-868.6", 36, 3.6), ("eu-869.4-869.65", 360, 36)],
)
def test_duty_cycle_categories(name, budget_s, advised_s):
    rule = known_rules()[name]
    assert rule.duty_budget_us == budget_s * 1_000_000
    assert rule.advised_longest_us == advised_s * 1_000_000


@pytest.mark.parametrize("name", [name for name in TABLE_4 if name.startswith("eu-86")][:5])
def test_table_18_polite_spectrum_access(name):
    rule = known_rules()[f"{name}-polite"]
    assert rule.listen
    assert rule.listen_us == 160
    assert (rule.longest_us, rule.dialogue_us) == (1_000_000, 4_000_000)
    assert rule.pause_us == 100_000
    assert (rule.on_time_us, rule.on_time_window_us) == (100_000_000, HOUR_US)
    assert rule.on_time_per_hz == 200_000
    assert rule.duty_cycle is None


def test_polite_access_has_no_room_for_sf12_beyond_10_octets():
    assert largest_payload(Lora(12), 1_000_000) == 10


@pytest.mark.parametrize("frequency_hz", [868_650_000, 869_300_000, 869_675_000, 870_100_000])
def test_the_gaps_between_the_sub_bands_are_refused(frequency_hz):
    link = find_link(f"lora-eu-868.1:frequency_hz={frequency_hz}")
    (finding, *_) = check_legal(link)
    assert finding.verdict == "refused"
    assert "in none of their bands" in finding.problem


def test_867_5_mhz_has_a_budget_of_its_own_beside_868_1():
    book = known_rules()
    assert book["eu-865-868"].holds_for(867_437_500, 867_562_500)
    assert not book["eu-868.0-868.6"].holds_for(867_437_500, 867_562_500)


def test_erp_and_eirp_are_2_15_db_apart():
    for erp_mw, erp_dbm, eirp_dbm in ((25, 13.98, 16.13), (500, 26.99, 29.14), (10, 10, 12.15)):
        assert dbm_from_mw(erp_mw) == pytest.approx(erp_dbm, abs=0.005)
        converted = convert_dbm(erp_dbm, "erp", "eirp", antenna_gain_dbi=0)
        assert converted == pytest.approx(eirp_dbm, abs=0.005)


def test_14_dbm_into_5_dbi_is_16_85_dbm_erp_and_over_25_mw():
    link = find_link("lora-eu-868.1:antenna_gain_dbi=5")
    assert link.power_as("erp") == pytest.approx(16.85)
    refused = [f for f in check_legal(link) if f.verdict == "refused"]
    assert len(refused) == 1
    assert "16.85 dBm ERP is more than 13.98 dBm ERP" in refused[0].problem


def test_20_dbm_at_433_mhz_is_refused():
    refused = [
        finding
        for finding in check_legal(find_link("lora-eu-433.92:power_dbm=20"))
        if finding.verdict == "refused"
    ]
    assert [finding.rule for finding in refused] == ["eu-433-10mw"]


def test_one_channel_of_250_khz_just_fits_869_4_to_869_65():
    assert not any(
        f.verdict == "refused"
        for f in check_legal(find_link("lora-eu-869.525:bandwidth_hz=250000"))
    )
    refused = check_legal(find_link("lora-eu-869.525:bandwidth_hz=250000,frequency_hz=869500000"))
    assert refused[0].verdict == "refused"
