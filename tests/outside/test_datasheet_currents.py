"""Source: Semtech SX1261/2 data sheet Rev 2.1 (Dec 2021), Tables 3-5, 3-6, 3-8 and 6-1 (read), and
SX1276/77/78/79 data sheet Rev 7, Table 6 (as transcribed in open drivers).
"""

import pytest

from packcodec.radio.chips import find_chip, transmit_current_ma
from packcodec.radio.energy import transmission_energy
from packcodec.radio.propagation import SNR_LIMIT_DB, sensitivity


@pytest.mark.parametrize(
    ("chip", "power_dbm", "matched_dbm", "frequency_hz", "current_ma"),
    [
        ("SX1262", 22, 22, 868_100_000, 118),
        ("SX1262", 14, 22, 868_100_000, 90),
        ("SX1262", 14, 14, 868_100_000, 45),
        ("SX1262", 14, 14, 433_920_000, 32),
        ("SX1262", 22, 22, 490_000_000, 107),
        ("SX1261", 14, 14, 868_100_000, 25.5),
        ("SX1261", 10, None, 868_100_000, 18),
        ("SX1276", 20, None, 868_100_000, 120),
        ("SX1276", 13, 13, 433_920_000, 29),
    ],
)
def test_supply_current_as_printed(
    chip: str, power_dbm: int, matched_dbm: int | None, frequency_hz: int, current_ma: float
) -> None:
    found = transmit_current_ma(find_chip(chip), power_dbm, frequency_hz, matched_dbm)
    assert found == current_ma


def test_the_28_ma_often_repeated_for_the_sx1262_is_not_its_own() -> None:
    assert transmit_current_ma(find_chip("SX1262"), 14, 868_100_000) >= 45


@pytest.mark.parametrize(
    ("chip", "power_dbm", "matched_dbm", "airtime_us", "energy_mj"),
    [
        # 25 octets at 125 kHz, 4/5: 61.696 ms at SF7, 205.824 ms at SF9, 1482.752 ms at SF12.
        ("SX1262", 14, 14, 61_696, 9.16),
        ("SX1262", 14, 14, 1_482_752, 220.19),
        ("SX1262", 22, 22, 205_824, 80.15),
        ("SX1261", 14, 14, 205_824, 17.32),
        ("SX1276", 20, 20, 1_482_752, 587.17),
    ],
)
def test_transmit_energy_is_volts_times_amperes_times_seconds(
    chip: str, power_dbm: int, matched_dbm: int, airtime_us: int, energy_mj: float
) -> None:
    energy = transmission_energy(
        find_chip(chip), airtime_us, power_dbm, 868_100_000, matched_dbm=matched_dbm
    )
    assert energy.transmit_mj == pytest.approx(energy_mj, abs=0.005)


@pytest.mark.parametrize(
    ("sf", "bandwidth_hz", "printed_dbm", "within_db"),
    [
        (7, 125_000, -124, 0.6),
        (12, 125_000, -137, 0.6),
        (7, 250_000, -121, 0.6),
        (12, 250_000, -134, 0.6),
        (12, 500_000, -129, 2.1),
    ],
)
def test_sensitivity_as_printed_and_the_model_close_to_it(
    sf: int, bandwidth_hz: int, printed_dbm: float, within_db: float
) -> None:
    told = sensitivity(sf, bandwidth_hz, chip=find_chip("SX1262"))
    assert told.power_dbm == printed_dbm
    assert "data sheet" in told.source
    modelled = sensitivity(sf, bandwidth_hz)
    assert abs(modelled.power_dbm - printed_dbm) <= within_db
    assert modelled.source.startswith("model")


def test_the_snr_limit_falls_by_two_and_a_half_a_step() -> None:
    assert list(SNR_LIMIT_DB.values()) == [-2.5 * step for step in range(1, 9)]
