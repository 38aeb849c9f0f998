"""Transmit power in the references regulations use.

Conducted is what enters the feeder. EIRP adds the antenna gain and takes off the feeder loss; ERP
is counted from a half-wave dipole, 2.15 dB above an isotropic radiator.
"""

from math import log10

from packcodec.radio.modulations import one_of

ERP_TO_EIRP_DB = 2.15


def convert_dbm(
    power_dbm: float,
    reference: str,
    wanted: str,
    *,
    antenna_gain_dbi: float,
    feeder_loss_db: float = 0.0,
) -> float:
    """The same emission in another reference: "conducted", "erp" or "eirp".

    `antenna_gain_dbi` is the gain towards the strongest direction, isotropic; `feeder_loss_db` is
    0 or more. RadioError for an unknown reference.
    """
    above_conducted_db = {
        "conducted": 0.0,
        "eirp": antenna_gain_dbi - feeder_loss_db,
        "erp": antenna_gain_dbi - feeder_loss_db - ERP_TO_EIRP_DB,
    }
    one_of("reference", reference, above_conducted_db)
    one_of("reference", wanted, above_conducted_db)
    return power_dbm - above_conducted_db[reference] + above_conducted_db[wanted]


def dbm_from_mw(power_mw: float) -> float:
    """10 log10 of the power over 1 mW; `power_mw` above 0."""
    return 10 * log10(power_mw)


def eirp_dbm_from_field(field_v_per_m: float, distance_m: float) -> float:
    """EIRP of a source in free space by its field strength: P = (E d)² / 30."""
    return dbm_from_mw(1000 * (field_v_per_m * distance_m) ** 2 / 30)


def density_dbm(power_dbm: float, signal_hz: int, per_hz: int) -> float:
    """Power in the strongest `per_hz` if the signal were flat; a real one is up to 3 dB above."""
    return power_dbm - 10 * log10(max(signal_hz / per_hz, 1.0))
