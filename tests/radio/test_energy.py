"""Energy of a transmission, a day and a season: the worked default, and what must be refused."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from packcodec.errors import RadioError
from packcodec.radio.chips import find_chip, known_chips, transmit_current_ma
from packcodec.radio.energy import (
    LITHIUM_CAUTION,
    BaseLoad,
    DayEnergy,
    Pack,
    day_energy,
    endurance,
    octets_per_joule,
    steady_days,
    transmission_energy,
)

SX1262 = find_chip("SX1262")


def test_the_worked_default_two_watts_from_37_wh_last_about_18_hours() -> None:
    # 10 Ah at 3.7 V (common practice, no source).
    assert Pack().energy_wh == 10 * 3.7
    days = steady_days(Pack(), BaseLoad().day_wh())
    assert days is not None
    assert days * 24 == pytest.approx(18.5)
    derated = steady_days(Pack(conversion=0.85), BaseLoad().day_wh())
    assert derated is not None
    assert derated * 24 == pytest.approx(15.7, abs=0.03)


def test_asleep_at_night_a_pack_lasts_a_day_and_a_half() -> None:
    day_wh = BaseLoad(2.0, 0.05).day_wh(awake_h=12)
    assert day_wh == pytest.approx(24.6)
    assert steady_days(Pack(), day_wh) == pytest.approx(1.5, abs=0.01)
    # 20 W of panel, 3 peak hours, 60 %: the sun carries it.
    assert steady_days(Pack(), day_wh, solar_wh=20 * 3 * 0.6) is None


def test_cold_takes_its_share_before_the_regulator_does() -> None:
    assert Pack(usable=0.6, conversion=0.5).usable_wh == pytest.approx(37 * 0.3)


def test_listening_costs_too() -> None:
    energy = transmission_energy(SX1262, 61_696, 14, 868_100_000, listen_us=1_000_000)
    assert energy.receive_mj == pytest.approx(3.3 * 5.3)
    assert energy.total_mj == pytest.approx(energy.transmit_mj + energy.receive_mj)
    with pytest.raises(RadioError, match="airtime_us: -1 is out of range"):
        transmission_energy(SX1262, -1, 14, 868_100_000)


def test_without_a_matching_the_greater_current_counts() -> None:
    assert transmit_current_ma(SX1262, 14, 868_100_000) == 90
    assert transmit_current_ma(SX1262, 13.5, 868_100_000) == 90
    assert transmit_current_ma(SX1262, 15, 868_100_000, matched_dbm=17) == 58


@pytest.mark.parametrize(
    ("chip", "power_dbm", "frequency_hz", "problem"),
    [
        ("SX1262", 23, 868_100_000, r"23 dBm at 868.1 MHz; turn it down: its rows end at 22 dBm"),
        ("SX1262", 14, 2_400_000_000, "no current for 14 dBm at 2400 MHz; it has no row there"),
        ("SX1302", 14, 868_100_000, "it has no row there"),
    ],
)
def test_a_power_the_sheet_does_not_have_is_refused(
    chip: str, power_dbm: float, frequency_hz: int, problem: str
) -> None:
    with pytest.raises(RadioError, match=problem):
        transmit_current_ma(find_chip(chip), power_dbm, frequency_hz)


def test_a_bases_receiver_has_no_day_of_energy() -> None:
    with pytest.raises(RadioError, match="chip SX1302: no supply currents are known"):
        day_energy(BaseLoad(), find_chip("SX1302"), 0)


def test_an_unknown_chip_is_refused_with_those_there_are() -> None:
    with pytest.raises(RadioError, match="name one of SX1262, SX1261, SX1276, SX1302"):
        find_chip("SX9999")


def test_every_chip_names_its_source_and_how_far_it_is_confirmed() -> None:
    for chip in known_chips().values():
        assert chip.source
        assert chip.evidence in ("primary", "secondary", "memory")


def test_a_day_of_hourly_frames_is_a_small_share_of_the_energy() -> None:
    frame = transmission_energy(SX1262, 205_824, 14, 868_100_000, matched_dbm=14)
    day = day_energy(BaseLoad(), SX1262, 24 * frame.total_mj)
    asleep_wh = 3.3 * 0.0006e-3 * 24
    assert day.radio_wh == pytest.approx(24 * frame.total_mj / 3.6e6 + asleep_wh)
    assert 0 < day.radio_share < 0.001
    assert DayEnergy(0, 0).radio_share == 0
    assert octets_per_joule(24 * 25, 24 * frame.total_mj) == pytest.approx(25 / 0.03056, rel=0.001)


def test_the_pack_empties_during_the_day_it_cannot_carry() -> None:
    course = endurance(Pack(energy_wh=50), [20, 20, 20, 20])
    assert course.left_wh == (30, 10, 0, 0)
    assert course.days == pytest.approx(2.5)


def test_the_sun_fills_the_pack_but_never_overfills_it() -> None:
    course = endurance(Pack(energy_wh=50), [20, 20, 20], solar_wh=[0, 100, 15])
    assert course.left_wh == (30, 50, 45)
    assert course.days is None


def test_a_pack_once_empty_stays_empty() -> None:
    course = endurance(Pack(energy_wh=10), [20, 0, 0], solar_wh=[0, 50, 50])
    assert course.left_wh == (0, 0, 0)
    assert course.days == pytest.approx(0.5)


@given(draw=st.floats(0.5, 50), solar=st.floats(0, 60), full=st.floats(1, 500))
def test_a_steady_run_of_days_ends_when_the_division_says(
    draw: float, solar: float, full: float
) -> None:
    pack = Pack(energy_wh=full)
    course = endurance(pack, [draw] * 1_000, solar_wh=solar)
    expected = steady_days(pack, draw, solar)
    # A pack that gives out as the run ends may or may not outlast it, by a rounding.
    assume(expected is None or abs(expected - 1_000) > 1e-3)
    if expected is None or expected > 1_000:
        assert course.days is None
    else:
        assert course.days == pytest.approx(expected, abs=1e-6, rel=1e-6)


@pytest.mark.parametrize(
    "call",
    [
        lambda: Pack(usable=1.2).usable_wh,
        lambda: BaseLoad().day_wh(25),
        lambda: BaseLoad(awake_w=float("nan")).day_wh(),
        lambda: endurance(Pack(), [1, 2], solar_wh=[1]),
        lambda: endurance(Pack(), [-1]),
        lambda: steady_days(Pack(), 1, "much"),  # type: ignore[arg-type]
        lambda: octets_per_joule(5, 0),
    ],
)
def test_a_figure_out_of_range_is_one_clear_error(call: object) -> None:
    with pytest.raises(RadioError, match=r"is (out of range|no number); give"):
        call()  # type: ignore[operator]


def test_cells_come_with_a_caution() -> None:
    assert "below 0 °C" in LITHIUM_CAUTION
