"""What radio chips draw and hear: the rows of data/chips.toml, checked and frozen."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from packcodec.errors import RadioError


@dataclass(frozen=True, slots=True)
class TransmitCurrent:
    """`current_ma` at `power_dbm` (conducted), with the output matched for `matched_dbm`."""

    low_mhz: float
    high_mhz: float
    matched_dbm: int
    power_dbm: int
    current_ma: float


@dataclass(frozen=True, slots=True)
class Supply:
    """The voltage of the data sheet's rows, and the currents while listening and asleep."""

    volts: float
    receive_ma: float
    sleep_ma: float


@dataclass(frozen=True, slots=True)
class Chip:
    """One chip's data-sheet rows. `supply` is None for a base's chip, whose energy is not counted.

    `sensitivity_dbm` is keyed by (spreading factor, bandwidth in hertz).
    """

    name: str
    source: str
    evidence: str
    supply: Supply | None
    transmit: tuple[TransmitCurrent, ...]
    sensitivity_dbm: dict[tuple[int, int], float]


@cache
def known_chips() -> dict[str, Chip]:
    """Every chip by its name."""
    text = files("packcodec.radio").joinpath("data", "chips.toml").read_text(encoding="utf-8")
    return {name: _chip(name, row) for name, row in tomllib.loads(text).items()}


def find_chip(name: str) -> Chip:
    """The chip of that name. Raises RadioError, with the names there are."""
    chips = known_chips()
    if name not in chips:
        raise RadioError(
            f"no chip is called {name!r}",
            place="chip",
            remedy=f"name one of {', '.join(chips)}",
        )
    return chips[name]


def transmit_current_ma(
    chip: Chip, power_dbm: float, frequency_hz: int, matched_dbm: int | None = None
) -> float:
    """The supply current while sending `power_dbm` (conducted), as :func:`transmit_row` has it."""
    return transmit_row(chip, power_dbm, frequency_hz, matched_dbm).current_ma


def transmit_row(
    chip: Chip, power_dbm: float, frequency_hz: int, matched_dbm: int | None = None
) -> TransmitCurrent:
    """The row of the next power at or above the one asked for (conducted).

    Boards differ in what their output is matched for, by up to a factor of two; without
    `matched_dbm` the greatest of the rows counts. Raises RadioError where the sheet has no such
    row.
    """
    rows = [
        row
        for row in chip.transmit
        if row.low_mhz * 1e6 <= frequency_hz <= row.high_mhz * 1e6
        and row.power_dbm >= power_dbm
        and matched_dbm in (None, row.matched_dbm)
    ]
    if not rows:
        here = [
            row.power_dbm
            for row in chip.transmit
            if row.low_mhz * 1e6 <= frequency_hz <= row.high_mhz * 1e6
        ]
        told = f"turn it down: its rows end at {max(here)} dBm" if here else "it has no row there"
        raise RadioError(
            f"the data sheet gives no current for {power_dbm:g} dBm at {frequency_hz / 1e6:g} MHz",
            place=f"chip {chip.name}",
            remedy=told,
        )
    return min(rows, key=lambda row: (row.power_dbm, -row.current_ma))


def supply_of(chip: Chip) -> Supply:
    """The chip's supply rows. Raises RadioError where there are none."""
    if chip.supply is None:
        raise RadioError(
            "no supply currents are known",
            place=f"chip {chip.name}",
            remedy="choose a station's chip; this one is a base's receiver",
        )
    return chip.supply


def _chip(name: str, row: dict[str, Any]) -> Chip:
    return Chip(
        name=name,
        source=row["source"],
        evidence=row["evidence"],
        supply=Supply(row["supply_v"], row["receive_ma"], row["sleep_ma"])
        if "supply_v" in row
        else None,
        transmit=tuple(
            TransmitCurrent(
                low_mhz=cell["band_mhz"][0],
                high_mhz=cell["band_mhz"][1],
                matched_dbm=cell["matched_dbm"],
                power_dbm=cell["power_dbm"],
                current_ma=cell["current_ma"],
            )
            for cell in row.get("transmit", ())
        ),
        sensitivity_dbm={
            (cell["sf"], cell["bandwidth_hz"]): cell["power_dbm"] for cell in row["sensitivity"]
        },
    )
