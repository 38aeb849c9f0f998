"""What each way of sending costs in time, LoRa apart (packcodec.radio.lora).

Every modulation is a frozen value with `most_bytes` (the longest payload its radio accepts),
`occupied_hz` (the spectrum a transmission covers), `signal_hz` (its width at any one moment, less
where it hops) and `on_air(payload_bytes)`. The payload is what the
radio is handed: our frame and whatever the carrier adds to it. All arithmetic is in whole
microseconds, rounded up.

Sources: LR-FHSS SX1261/2 data sheet Rev 2.1, 14.4 (bit rate, read), bit counts from the chip
maker's open constants (by quotation); GFSK the sum of the packet's parts, as in the chip maker's
open driver; KISS the TNC protocol as printed in a TNC manual; COBS Cheshire and Baker 1999.
"""

from collections.abc import Callable, Iterable
from typing import Literal

from packcodec.errors import RadioError
from packcodec.frozen import frozen

US_PER_S = 1_000_000

LrFhssRate = Literal["5/6", "2/3", "1/2", "1/3"]
Framing = Literal["kiss", "cobs", "none"]

LR_FHSS_BIT_US = 2_048
LR_FHSS_SIGNAL_HZ = 488
LR_FHSS_HEADER_BITS = 114
LR_FHSS_HOP_BITS = 48
LR_FHSS_HOP_OVERHEAD_BITS = 2
LR_FHSS_CODED_BITS_MOST = 255 * 8
LR_FHSS_RATES: dict[str, tuple[int, int]] = {
    "5/6": (5, 6),
    "2/3": (2, 3),
    "1/2": (1, 2),
    "1/3": (1, 3),
}


@frozen
class Airtime:
    """`airtime_us` in all, `burst_us` the longest unbroken transmission within it, and
    `channel_us` the longest stay on one frequency; whole microseconds, rounded up."""

    airtime_us: int
    burst_us: int
    channel_us: int

    @property
    def airtime_s(self) -> float:
        """`airtime_us` in seconds."""
        return self.airtime_us / US_PER_S


def unbroken(time_us: int) -> Airtime:
    """The airtime of one transmission that stays on one frequency, `time_us` in microseconds."""
    return Airtime(time_us, time_us, time_us)


def up(number: int, divisor: int) -> int:
    """The quotient rounded up."""
    return -(-number // divisor)


def within(name: str, value: int, least: int, most: int) -> None:
    """RadioError if `value` is not a whole number least..most."""
    if not isinstance(value, int) or not least <= value <= most:
        remedy = f"give a whole number {least} to {most}"
        raise RadioError(f"{value!r} is out of range", place=name, remedy=remedy)


def one_of(name: str, value: object, allowed: Iterable[object], hint: str = "") -> None:
    """RadioError if `value` is none of `allowed`."""
    choices = tuple(allowed)
    if not any(type(value) is type(choice) and value == choice for choice in choices):
        listed = ", ".join(str(choice) for choice in choices)
        raise RadioError(
            f"{value!r} is not possible", place=name, remedy=f"give one of {listed} {hint}".rstrip()
        )


@frozen
class Gfsk:
    """GFSK packets. The defaults are LoRaWAN's 50 kbit/s; its deviation is from memory."""

    bitrate_bps: int = 50_000
    deviation_hz: int = 25_000
    preamble_bytes: int = 5
    sync_bytes: int = 3
    length_bytes: int = 1
    address_bytes: int = 0
    crc_bytes: int = 2

    def __post_init__(self) -> None:
        within("bitrate_bps", self.bitrate_bps, 600, 300_000)
        within("deviation_hz", self.deviation_hz, 0, 200_000)
        for name, most in (("preamble", 8_191), ("sync", 8), ("length", 1), ("address", 1)):
            within(f"{name}_bytes", getattr(self, f"{name}_bytes"), 0, most)
        within("crc_bytes", self.crc_bytes, 0, 2)

    @property
    def most_bytes(self) -> int:
        """What a length byte can tell."""
        return 255

    @property
    def occupied_hz(self) -> int:
        """Carson's rule: bit rate + 2 × deviation."""
        return self.bitrate_bps + 2 * self.deviation_hz

    @property
    def signal_hz(self) -> int:
        """As wide as what it occupies."""
        return self.occupied_hz

    def on_air(self, payload_bytes: int) -> Airtime:
        """Every bit from preamble to CRC at the bit rate; `payload_bytes` 0 to `most_bytes`."""
        overhead = self.preamble_bytes + self.sync_bytes + self.length_bytes + self.address_bytes
        bits = 8 * (overhead + payload_bytes + self.crc_bytes)
        return unbroken(up(bits * US_PER_S, self.bitrate_bps))


@frozen
class LrFhss:
    """LR-FHSS: `headers` copies of the header, then hops of 48 coded bits; the last may be short.

    The published values leave out the one pulse-shaping bit (2.048 ms) a transmitter adds; so
    does this. `channel_width_hz` is the operating channel the hops stay within, and
    `hop_grid_hz` the spacing of the hopping carriers in it.
    """

    coding_rate: LrFhssRate = "1/3"
    headers: int = 3
    channel_width_hz: int = 137_000
    hop_grid_hz: int = 3_906

    def __post_init__(self) -> None:
        one_of("coding_rate", self.coding_rate, LR_FHSS_RATES)
        within("headers", self.headers, 1, 4)
        within("channel_width_hz", self.channel_width_hz, 39_000, 1_600_000)
        within("hop_grid_hz", self.hop_grid_hz, 1_000, self.channel_width_hz)

    @property
    def hop_carriers(self) -> int:
        """How many carriers the hops choose from."""
        return round(self.channel_width_hz / self.hop_grid_hz)

    @property
    def most_bytes(self) -> int:
        """Header and payload bits together stay within 255 octets (LR1121 manual)."""
        return max(n for n in range(256) if self._bits(n) <= LR_FHSS_CODED_BITS_MOST)

    @property
    def occupied_hz(self) -> int:
        """The operating channel that the hops stay within."""
        return self.channel_width_hz

    @property
    def signal_hz(self) -> int:
        """One hop's carrier: the bit rate of 488 bit/s."""
        return LR_FHSS_SIGNAL_HZ

    def on_air(self, payload_bytes: int) -> Airtime:
        """Headers, hops and their overhead at 2.048 ms a bit; `payload_bytes` 0 to `most_bytes`.

        The longest stay on one frequency is a header's.
        """
        whole_us = self._bits(payload_bytes) * LR_FHSS_BIT_US
        return Airtime(whole_us, whole_us, LR_FHSS_HEADER_BITS * LR_FHSS_BIT_US)

    def _bits(self, payload_bytes: int) -> int:
        told, sent = LR_FHSS_RATES[self.coding_rate]
        coded = up((8 * (payload_bytes + 2) + 6) * sent, told)
        hops = up(coded, LR_FHSS_HOP_BITS)
        return LR_FHSS_HEADER_BITS * self.headers + coded + LR_FHSS_HOP_OVERHEAD_BITS * hops


@frozen
class FixedRate:
    """A frame of fixed overhead at a fixed bit rate, sent `copies` times on different carriers.

    A payload fills whole blocks of `block_bytes`. Ultra-narrowband uplinks are of this kind.
    """

    bitrate_bps: int = 100
    overhead_bytes: int = 14
    block_bytes: int = 12
    payload_bytes_most: int = 12
    copies: int = 3

    def __post_init__(self) -> None:
        within("bitrate_bps", self.bitrate_bps, 1, 1_000_000)
        within("overhead_bytes", self.overhead_bytes, 0, 255)
        within("payload_bytes_most", self.payload_bytes_most, 1, 65_535)
        within("block_bytes", self.block_bytes, 1, self.payload_bytes_most)
        within("copies", self.copies, 1, 16)

    @property
    def most_bytes(self) -> int:
        """The longest payload the network takes."""
        return self.payload_bytes_most

    @property
    def occupied_hz(self) -> int:
        """About the bit rate, as binary phase modulation has it."""
        return self.bitrate_bps

    @property
    def signal_hz(self) -> int:
        """As wide as what it occupies."""
        return self.occupied_hz

    def on_air(self, payload_bytes: int) -> Airtime:
        """`copies` times the overhead and the payload's whole blocks, at the bit rate."""
        blocks = up(payload_bytes, self.block_bytes)
        bits = 8 * (self.overhead_bytes + blocks * self.block_bytes)
        copy_us = up(bits * US_PER_S, self.bitrate_bps)
        return Airtime(self.copies * copy_us, copy_us, copy_us)


@frozen
class Serial:
    """A serial line. The time is an upper bound: the framing escapes as many bytes as it can.

    KISS: two flags, one type octet and every octet escaped (2n + 3). COBS: one octet, one more
    per whole 254, and the delimiter.
    """

    baud: int = 9_600
    bits_per_byte: int = 10
    framing: Framing = "kiss"

    def __post_init__(self) -> None:
        within("baud", self.baud, 50, 4_000_000)
        within("bits_per_byte", self.bits_per_byte, 7, 12)
        one_of("framing", self.framing, _FRAMING_BYTES)

    @property
    def most_bytes(self) -> int:
        """No limit of the line's own: more than any frame here has."""
        return 65_535

    @property
    def occupied_hz(self) -> int:
        """0: a wire takes no spectrum."""
        return 0

    def line_bytes(self, payload_bytes: int) -> int:
        """The most octets the framed payload can take on the line."""
        return _FRAMING_BYTES[self.framing](payload_bytes)

    @property
    def signal_hz(self) -> int:
        """0, as `occupied_hz`."""
        return self.occupied_hz

    def on_air(self, payload_bytes: int) -> Airtime:
        """`line_bytes` at `bits_per_byte` (start and stop bits among them) and `baud`."""
        bits = self.line_bytes(payload_bytes) * self.bits_per_byte
        return unbroken(up(bits * US_PER_S, self.baud))


_FRAMING_BYTES: dict[str, Callable[[int], int]] = {
    "kiss": lambda n: 2 * n + 3,
    "cobs": lambda n: n + n // 254 + 2,
    "none": lambda n: n,
}


@frozen
class Modem:
    """A modem whose network owns the air: each message keeps it powered for `session_s`.

    Its time counts for the energy; no rule of ours limits it.
    """

    session_s: int
    message_bytes_most: int

    def __post_init__(self) -> None:
        within("session_s", self.session_s, 0, 86_400)
        within("message_bytes_most", self.message_bytes_most, 1, 65_535)

    @property
    def most_bytes(self) -> int:
        """The longest message the network takes."""
        return self.message_bytes_most

    @property
    def occupied_hz(self) -> int:
        """0: the spectrum is the network's to account for."""
        return 0

    @property
    def signal_hz(self) -> int:
        """0, as `occupied_hz`."""
        return self.occupied_hz

    def on_air(self, payload_bytes: int) -> Airtime:  # noqa: ARG002 - a session has one length
        """`session_s`, whatever the payload's length."""
        return unbroken(self.session_s * US_PER_S)
