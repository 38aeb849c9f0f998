"""One way to transmit: a modulation on its channels, at a power, under named rules."""

from collections.abc import Mapping
from fractions import Fraction
from typing import Any, Literal

from packcodec.errors import RadioError
from packcodec.frozen import frozen
from packcodec.radio import rows
from packcodec.radio.airtime import Modulation, airtime
from packcodec.radio.lora import Lora
from packcodec.radio.modulations import Airtime, FixedRate, Gfsk, LrFhss, Modem, Serial, up
from packcodec.radio.power import convert_dbm
from packcodec.radio.rows import Column, Raw
from packcodec.radio.rules import FROM_MEMORY, Evidence, Reference

Carried = Literal["station", "message", "sequence"]
DIPOLE_GAIN_DBI = 2.15
# What chips, amplifiers and antennas in the field have, with room to spare (common practice).
POWERS_DBM = (-40, 60)
GAINS_DBI = (-40, 40)
FEEDER_LOSS_MOST_DB = 40


@frozen
class Link:
    """One way to transmit.

    `payload_most` counts octets of our frame; `overhead_bytes` is what the carrier adds on the
    air. `payload_most_repeated` is what is left where a repeater adds its own octets.
    `carrier_says` names what the carrier tells the base of itself, so that the frame need not.

    `rules` are the ids of the rules it works under; of these, every one whose band holds one of
    `frequencies_hz` applies. `hopping_channels` is how many channels a transmitter that truly hops
    (pseudo-random, all used equally) goes over; 0 for one that does not.

    `answer` is the modulation of an answer from the network, if it has one. `chip` is a name for
    the energy tables. A message is billed in whole quanta with a least size; `price_per_quantum`
    is None where the user has to say it.
    """

    name: str
    modulation: Modulation
    payload_most: int
    overhead_bytes: int = 0
    payload_most_repeated: int | None = None
    frequencies_hz: tuple[int, ...] = ()
    hopping_channels: int = 0
    power_dbm: float | None = None
    power_reference: Reference = "conducted"
    antenna_gain_dbi: float = DIPOLE_GAIN_DBI
    feeder_loss_db: float = 0.0
    rules: tuple[str, ...] = ()
    carrier_says: tuple[Carried, ...] = ()
    listens: bool = False
    adapts_power: bool = False
    answer: Modulation | None = None
    chip: str = ""
    billed_least_bytes: int = 0
    billed_quantum_bytes: int = 1
    price_per_quantum: Fraction | None = None
    currency: str = ""
    source: str = ""
    evidence: Evidence = "primary"
    unconfirmed: tuple[str, ...] = ()
    note: str = ""
    caution: str = ""
    users_own: bool = False

    def airtime(self, frame_bytes: int) -> Airtime:
        """Time on air of one frame, the carrier's octets included.

        RadioError if the frame is longer than the link takes.
        """
        if not 0 <= frame_bytes <= self.payload_most:
            raise RadioError(
                f"a frame of {frame_bytes} bytes does not fit",
                place=f"link '{self.name}'",
                remedy=f"it takes 0 to {self.payload_most} bytes",
            )
        return airtime(self.modulation, self.overhead_bytes + frame_bytes)

    def emission_hz(self, frequency_hz: int) -> tuple[int, int]:
        """The lower and upper edge of a transmission on that channel."""
        width_hz = self.modulation.occupied_hz
        return frequency_hz - width_hz // 2, frequency_hz + (width_hz + 1) // 2

    def power_as(self, reference: Reference) -> float | None:
        """The transmit power in another reference, dBm; None for a link without a power."""
        if self.power_dbm is None:
            return None
        return convert_dbm(
            self.power_dbm,
            self.power_reference,
            reference,
            antenna_gain_dbi=self.antenna_gain_dbi,
            feeder_loss_db=self.feeder_loss_db,
        )

    def billed_bytes(self, frame_bytes: int) -> int:
        """What the carrier bills: max(least, whole quanta)."""
        quanta = up(frame_bytes, self.billed_quantum_bytes)
        return max(self.billed_least_bytes, quanta * self.billed_quantum_bytes)

    def price(self, frame_bytes: int) -> Fraction | None:
        """The price of one frame in `currency`; None where `price_per_quantum` is not given."""
        if self.price_per_quantum is None:
            return None
        return (
            up(self.billed_bytes(frame_bytes), self.billed_quantum_bytes) * self.price_per_quantum
        )

    @property
    def hops_over(self) -> int:
        """On how many carriers it hops, within a frame (LR-FHSS) or from frame to frame."""
        within = self.modulation.hop_carriers if isinstance(self.modulation, LrFhss) else 0
        return max(self.hopping_channels, within)

    @property
    def citation(self) -> str:
        """Where the figures come from, with every doubt."""
        marks = [FROM_MEMORY] if self.evidence == "memory" else []
        if self.unconfirmed and self.evidence != "memory":
            marks.append(f"{', '.join(self.unconfirmed)} {FROM_MEMORY}")
        if self.users_own:
            marks.insert(0, "the user's own link")
        return f"{self.source} [{'; '.join(marks)}]".strip() if marks else self.source


MODULATIONS: dict[str, type[Modulation]] = {
    "lora": Lora,
    "gfsk": Gfsk,
    "lr_fhss": LrFhss,
    "fixed_rate": FixedRate,
    "serial": Serial,
    "modem": Modem,
}


def _modulation(kind: str) -> rows.Reader:
    make = MODULATIONS[kind]
    known = make.__match_args__

    def read(value: Any) -> Modulation:
        given = rows.table(value)
        for key in given:
            rows.nearest(key, known, kind)
        try:
            return make(**given)
        except TypeError as error:
            raise RadioError(str(error), place=kind) from error

    return read


def _kind_of(row: Raw, place: str) -> str:
    kinds = [kind for kind in MODULATIONS if kind in row]
    if len(kinds) == 1:
        return kinds[0]
    raise RadioError(
        f"one modulation is needed, found {' and '.join(kinds) or 'none'}",
        place=place,
        remedy=f"give one of {', '.join(MODULATIONS)}",
    )


def _answer(value: Any) -> Modulation:
    """{ lora = { … } } and the like."""
    given = rows.table(value)
    kind = _kind_of(given, "answer")
    modulation: Modulation = _modulation(kind)(given[kind])
    return modulation


COLUMNS = (
    Column("name", rows.text),
    *(Column(kind, _modulation(kind), "modulation") for kind in MODULATIONS),
    Column("answer", _answer),
    Column("payload_most", rows.whole),
    Column("payload_most_repeated", rows.whole),
    Column("overhead_bytes", rows.whole),
    Column("frequencies_hz", rows.channels),
    Column("hopping_channels", rows.whole),
    Column("power_dbm", rows.decibels),
    Column("power_reference", rows.choice("conducted", "erp", "eirp")),
    Column("antenna_gain_dbi", rows.decibels),
    Column("feeder_loss_db", rows.decibels),
    Column("rules", rows.texts),
    Column("carrier_says", rows.choices("station", "message", "sequence")),
    Column("listens", rows.truth),
    Column("adapts_power", rows.truth),
    Column("chip", rows.text),
    Column("billed_least_bytes", rows.whole),
    Column("billed_quantum_bytes", rows.whole),
    Column("price_per_quantum", rows.number),
    Column("currency", rows.text),
    Column("source", rows.text),
    Column("evidence", rows.choice("primary", "secondary", "memory")),
    Column("unconfirmed", rows.texts),
    Column("note", rows.text),
    Column("caution", rows.text),
)
REQUIRED = ("name", "payload_most", "source", "evidence")


def read_link(row: Raw, place: str, *, users_own: bool = False) -> Link:
    """One merged row → a Link; RadioError names the row and key."""
    where = f"{place}, link '{row.get('name', '?')}'"
    _kind_of(row, where)
    link = Link(**rows.fill(row, COLUMNS, REQUIRED, where), users_own=users_own)
    check_link(link, where)
    return link


def check_link(link: Link, place: str) -> None:
    """RadioError for figures that contradict one another."""
    room = link.modulation.most_bytes - link.overhead_bytes
    checks: Mapping[str, tuple[bool, str]] = {
        "payload_most": (1 <= link.payload_most <= room, f"1 to {room} bytes"),
        "overhead_bytes": (link.overhead_bytes >= 0, "0 or more"),
        "hopping_channels": (
            0 <= link.hopping_channels <= len(link.frequencies_hz),
            f"0 to {len(link.frequencies_hz)}, the channels it has",
        ),
        "billed_quantum_bytes": (link.billed_quantum_bytes >= 1, "1 or more"),
        "billed_least_bytes": (link.billed_least_bytes >= 0, "0 or more"),
        "price_per_quantum": ((link.price_per_quantum or 0) >= 0, "0 or more"),
        "feeder_loss_db": (
            0 <= link.feeder_loss_db <= FEEDER_LOSS_MOST_DB,
            f"0 to {FEEDER_LOSS_MOST_DB} dB",
        ),
        "antenna_gain_dbi": (
            GAINS_DBI[0] <= link.antenna_gain_dbi <= GAINS_DBI[1],
            f"{GAINS_DBI[0]} to {GAINS_DBI[1]} dBi",
        ),
        "frequencies_hz": (bool(link.frequencies_hz) or not link.rules, "the channels in hertz"),
        "power_dbm": (
            not link.rules
            if link.power_dbm is None
            else POWERS_DBM[0] <= link.power_dbm <= POWERS_DBM[1],
            f"the transmit power, {POWERS_DBM[0]} to {POWERS_DBM[1]} dBm",
        ),
    }
    for key, (holds, right) in checks.items():
        if not holds:
            raise RadioError(
                f"{getattr(link, key)!r} is not possible",
                place=f"{place}, {key}",
                remedy=f"give {right}",
            )
