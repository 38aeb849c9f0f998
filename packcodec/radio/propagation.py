"""Will it get home: path loss, what a receiver hears, and the margin that is left.

Median losses in decibels between isotropic antennas. A model is an estimate for choosing a site
and a spreading factor; walk the path with a test transmitter before relying on it.
"""

from bisect import bisect_left
from dataclasses import dataclass
from math import exp, log10, pi

from packcodec.errors import RadioError
from packcodec.radio.chips import Chip
from packcodec.radio.quantity import checked

SPEED_OF_LIGHT_M_S = 299_792_458.0
# Thermal noise at 290 K in 1 Hz.
NOISE_DBM_HZ = -174.0
# SX1261/2 data sheet Rev 2.1, Table 6-1.
SNR_LIMIT_DB = {5: -2.5, 6: -5.0, 7: -7.5, 8: -10.0, 9: -12.5, 10: -15.0, 11: -17.5, 12: -20.0}
# ITU-R P.833, 2.1: specific attenuation measured in mixed woodland, (MHz, dB/m); by quotation.
WOODLAND_DB_M = (
    (105.9, 0.04),
    (466.475, 0.12),
    (949.0, 0.17),
    (1852.2, 0.30),
    (2117.5, 0.34),
)


def free_space_db(frequency_hz: float, distance_m: float) -> float:
    """20 log(4 π d / λ), ITU-R P.525-5 (there also as 32.4 + 20 log f MHz + 20 log d km)."""
    wavelength_m = SPEED_OF_LIGHT_M_S / checked("frequency_hz", frequency_hz, 1e6, 1e12)
    return 20 * log10(4 * pi * checked("distance_m", distance_m, 1) / wavelength_m)


def two_ray_db(
    frequency_hz: float, distance_m: float, transmitter_m: float, receiver_m: float
) -> float:
    """Over flat open ground, antennas at the given heights.

    40 log d − 20 log(ht hr) where the reflected ray governs, free space nearer by: the greater of
    the two, which meet at 4 π ht hr / λ. From memory.
    """
    heights = _heights_db(transmitter_m, receiver_m)
    ground_db = 40 * log10(checked("distance_m", distance_m, 1)) - heights
    return max(free_space_db(frequency_hz, distance_m), ground_db)


def egli_db(
    frequency_hz: float, distance_m: float, transmitter_m: float, receiver_m: float
) -> float:
    """Egli's median over gently rolling terrain (Egli 1957, by quotation).

    40 log d − 20 log(ht hr) + 20 log(f / 40 MHz), d and heights in metres. Another printed form
    has 76.3 and km, but with 10 log hr: do not mix the two. The bounds of 40 to 1000 MHz and 1 to
    60 km are from memory.
    """
    frequency_mhz = checked("frequency_hz", frequency_hz, 40e6, 1e9) / 1e6
    checked("distance_m", distance_m, 1_000, 60_000)
    heights = _heights_db(transmitter_m, receiver_m)
    return 40 * log10(distance_m) - heights + 20 * log10(frequency_mhz / 40)


def woodland_db(frequency_hz: float, depth_m: float) -> float:
    """Excess over the open path, one terminal inside the wood, ITU-R P.833-10, 2.1, eq. 1.

    Am [1 − exp(−d γ / Am)] with Am = 1.37 f^0.42 (mixed coniferous and deciduous) and γ between
    the measured points, on logarithmic axes. It saturates at Am. 105.9 to 2117.5 MHz; by
    quotation.
    """
    frequency_mhz = frequency_hz / 1e6
    checked("frequency_hz", frequency_hz, WOODLAND_DB_M[0][0] * 1e6, WOODLAND_DB_M[-1][0] * 1e6)
    most_db = float(1.37 * frequency_mhz**0.42)
    gamma_db_m = _woodland_db_m(frequency_mhz)
    return most_db * (1 - exp(-checked("depth_m", depth_m, 0) * gamma_db_m / most_db))


def weissberger_db(frequency_hz: float, depth_m: float) -> float:
    """Excess of dense, dry, leafy trees across the path (Weissberger 1982, by quotation).

    1.33 f^0.284 d^0.588 for 14 < d <= 400 m, 0.45 f^0.284 d up to 14 m, f in GHz. 230 MHz to
    95 GHz. There is no value past 400 m: further on it would run away, use :func:`woodland_db`.
    """
    frequency_ghz = checked("frequency_hz", frequency_hz, 230e6, 95e9) / 1e9
    checked("depth_m", depth_m, 0, 400)
    if depth_m > 14:
        return float(1.33 * frequency_ghz**0.284 * depth_m**0.588)
    return float(0.45 * frequency_ghz**0.284 * depth_m)


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """The least power a receiver needs, and whose figure that is."""

    power_dbm: float
    source: str


def sensitivity(
    sf: int, bandwidth_hz: int, *, chip: Chip | None = None, noise_figure_db: float = 6.0
) -> Sensitivity:
    """By the chip's data sheet where it has the row, else −174 + 10 log BW + NF + SNR limit.

    A noise figure of 6 dB comes within 0.6 dB of the SX1262's rows at 125 and 250 kHz; at SF12
    and 500 kHz it is 2 dB too hopeful. Raises RadioError for a spreading factor other than 5..12.
    """
    if sf not in SNR_LIMIT_DB:
        raise RadioError(f"there is no SF{sf}", place="sf", remedy="give 5 to 12")
    checked("bandwidth_hz", bandwidth_hz, 1, 2e6)
    if chip is not None and (sf, bandwidth_hz) in chip.sensitivity_dbm:
        told = f"{chip.source} ({chip.evidence})"
        return Sensitivity(chip.sensitivity_dbm[sf, bandwidth_hz], told)
    checked("noise_figure_db", noise_figure_db, 0, 30)
    power_dbm = NOISE_DBM_HZ + 10 * log10(bandwidth_hz) + noise_figure_db + SNR_LIMIT_DB[sf]
    return Sensitivity(power_dbm, f"model: noise figure {noise_figure_db:g} dB, SNR limit")


@dataclass(frozen=True, slots=True)
class LinkMargin:
    """`margin_db` is what is received above the sensitivity, `spare_db` that less the fade."""

    received_dbm: float
    margin_db: float
    spare_db: float

    @property
    def closes(self) -> bool:
        """Whether the fade margin leaves anything: `spare_db` of 0 or more."""
        return self.spare_db >= 0


def link_margin(
    power_dbm: float,
    path_loss_db: float,
    sensitivity_dbm: float,
    *,
    transmitter_gain_dbi: float = 0.0,
    receiver_gain_dbi: float = 0.0,
    cable_loss_db: float = 0.0,
    fade_margin_db: float = 10.0,
) -> LinkMargin:
    """Conducted power plus gains less losses, against the sensitivity.

    `path_loss_db` is the sum of a path and any excess (trees). 10 dB of fade margin is common
    practice, no source; under Rayleigh fading it leaves about 90 % of frames.
    """
    checked("path_loss_db", path_loss_db, 0)
    checked("cable_loss_db", cable_loss_db, 0)
    checked("fade_margin_db", fade_margin_db, 0)
    gains_db = transmitter_gain_dbi + receiver_gain_dbi - cable_loss_db
    received_dbm = power_dbm + gains_db - path_loss_db
    margin_db = received_dbm - sensitivity_dbm
    return LinkMargin(received_dbm, margin_db, margin_db - fade_margin_db)


def _heights_db(transmitter_m: float, receiver_m: float) -> float:
    checked("transmitter_m", transmitter_m, 0.1, 10_000)
    checked("receiver_m", receiver_m, 0.1, 10_000)
    return 20 * log10(transmitter_m * receiver_m)


def _woodland_db_m(frequency_mhz: float) -> float:
    above = max(1, bisect_left(WOODLAND_DB_M, (frequency_mhz, 0.0)))
    (low_mhz, low_db_m), (high_mhz, high_db_m) = WOODLAND_DB_M[above - 1 : above + 1]
    part = log10(frequency_mhz / low_mhz) / log10(high_mhz / low_mhz)
    return float(low_db_m * (high_db_m / low_db_m) ** part)
