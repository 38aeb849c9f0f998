"""What a transmission costs the pack, and how long the pack lasts.

An estimate from typical data-sheet currents at room temperature, not a promise: regulators, age,
cold and self-discharge all take their share, and each has an explicit parameter here or none.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from packcodec.radio.chips import Chip, supply_of, transmit_current_ma
from packcodec.radio.quantity import checked

LITHIUM_CAUTION = (
    "Lithium cells can burn: use protected cells, their own charger and a fuse at the pack, never "
    "charge below 0 °C, retire swollen cells; follow the maker's sheet and the transport rules."
)

JOULES_PER_WH = 3600.0
HOURS_A_DAY = 24.0


@dataclass(frozen=True, slots=True)
class TransmissionEnergy:
    """Energy out of the radio's supply for one transmission and its listening, in millijoules."""

    transmit_mj: float
    receive_mj: float

    @property
    def total_mj(self) -> float:
        """Both together, in millijoules."""
        return self.transmit_mj + self.receive_mj


def transmission_energy(
    chip: Chip,
    airtime_us: int,
    power_dbm: float,
    frequency_hz: int,
    *,
    matched_dbm: int | None = None,
    listen_us: int = 0,
) -> TransmissionEnergy:
    """Supply voltage × current × time: `airtime_us` on air, `listen_us` with the receiver on.

    Oscillator start-up and the controller's own time awake are not in it: count the latter in the
    monitor's base load. Raises RadioError as :func:`transmit_current_ma` does.
    """
    transmit_ma = transmit_current_ma(chip, power_dbm, frequency_hz, matched_dbm)
    supply = supply_of(chip)
    checked("airtime_us", airtime_us, 0)
    checked("listen_us", listen_us, 0)
    return TransmissionEnergy(
        transmit_mj=supply.volts * transmit_ma * airtime_us / 1e6,
        receive_mj=supply.volts * supply.receive_ma * listen_us / 1e6,
    )


@dataclass(frozen=True, slots=True)
class Pack:
    """A battery pack.

    37 Wh is a common 10 Ah lithium-ion pack at its nominal 3.7 V (common practice, no source).
    `usable` is the share that can be drawn: 1 for a new pack in the warm; lithium-ion at −10 to
    −20 °C yields perhaps 0.6 to 0.8 (from memory). `conversion` is the regulator's efficiency.
    """

    energy_wh: float = 37.0
    usable: float = 1.0
    conversion: float = 1.0

    @property
    def usable_wh(self) -> float:
        """What reaches the load. Raises RadioError for a share outside 0..1."""
        checked("energy_wh", self.energy_wh, 0)
        checked("usable", self.usable, 0, 1)
        checked("conversion", self.conversion, 0, 1)
        return self.energy_wh * self.usable * self.conversion


@dataclass(frozen=True, slots=True)
class BaseLoad:
    """The monitor without its radio: watts awake and watts asleep.

    2 W awake is a small computer with a camera or microphone (common practice, no source).
    """

    awake_w: float = 2.0
    asleep_w: float = 0.0

    def day_wh(self, awake_h: float = HOURS_A_DAY) -> float:
        """One day with `awake_h` hours awake, for example the hours of daylight."""
        checked("awake_w", self.awake_w, 0)
        checked("asleep_w", self.asleep_w, 0)
        checked("awake_h", awake_h, 0, HOURS_A_DAY)
        return self.awake_w * awake_h + self.asleep_w * (HOURS_A_DAY - awake_h)


@dataclass(frozen=True, slots=True)
class DayEnergy:
    """One day's draw, in watt-hours at the load."""

    monitor_wh: float
    radio_wh: float

    @property
    def total_wh(self) -> float:
        """Both together, in watt-hours at the load."""
        return self.monitor_wh + self.radio_wh

    @property
    def radio_share(self) -> float:
        """0..1; 0 for a day that draws nothing."""
        return self.radio_wh / self.total_wh if self.total_wh else 0.0


def day_energy(
    load: BaseLoad, chip: Chip, radio_mj: float, *, awake_h: float = HOURS_A_DAY
) -> DayEnergy:
    """The monitor's day, `radio_mj` for all of its transmissions, and the chip's sleep.

    Raises RadioError for a chip without supply currents.
    """
    supply = supply_of(chip)
    sleep_mj = supply.volts * supply.sleep_ma * HOURS_A_DAY * 3600
    radio_wh = (checked("radio_mj", radio_mj, 0) + sleep_mj) / 1000 / JOULES_PER_WH
    return DayEnergy(load.day_wh(awake_h), radio_wh)


def octets_per_joule(octets: int, radio_mj: float) -> float:
    """Payload octets brought home for each joule of the radio. `radio_mj` is above 0."""
    return checked("octets", octets, 0) / (checked("radio_mj", radio_mj, 1e-9) / 1000)


@dataclass(frozen=True, slots=True)
class Endurance:
    """A pack over a run of days.

    `left_wh` is what remains at each day's end. `days` is the time until the pack is empty, the
    last day by its part; None where it outlasts the run.
    """

    left_wh: tuple[float, ...]
    days: float | None


def endurance(
    pack: Pack, draws_wh: Sequence[float], solar_wh: Sequence[float] | float = 0.0
) -> Endurance:
    """A full pack, day after day: the draw goes out, the sun comes in, and it never overfills.

    `draws_wh` is one draw a day, `solar_wh` what reaches the load from the sun (panel × peak hours
    × all losses), one figure for every day or one a day. A pack once empty stays empty: a monitor
    that browned out has missed its season, however bright the next day.
    Raises RadioError for negative figures, and for fewer solar days than days.
    """
    days = len(draws_wh)
    sun_wh = [solar_wh] * days if isinstance(solar_wh, int | float) else list(solar_wh)
    checked("days of solar_wh", len(sun_wh), days, days)
    full_wh = left_wh = pack.usable_wh
    course: list[float] = []
    empty_after: float | None = None
    for day, (draw_wh, income_wh) in enumerate(zip(draws_wh, sun_wh, strict=True)):
        net_wh = checked("draws_wh", draw_wh, 0) - checked("solar_wh", income_wh, 0)
        if empty_after is None and net_wh > left_wh:
            empty_after = day + left_wh / net_wh
        left_wh = 0.0 if empty_after is not None else min(full_wh, left_wh - net_wh)
        course.append(left_wh)
    return Endurance(tuple(course), empty_after)


def steady_days(pack: Pack, draw_wh: float, solar_wh: float = 0.0) -> float | None:
    """Days on the pack when every day is alike; None where the sun carries the load.

    2 W around the clock from 37 Wh: 0.77 days, 18.5 h.
    """
    net_wh = checked("draw_wh", draw_wh, 0) - checked("solar_wh", solar_wh, 0)
    return pack.usable_wh / net_wh if net_wh > 0 else None
