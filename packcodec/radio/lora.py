"""LoRa time on air, exact.

A LoRa bandwidth is 500 kHz divided by a whole number, so a symbol lasts a whole number of
microseconds and no limit is ever decided by a rounding (SF8 at 138 octets is 128 us inside the
400 ms dwell limit).

The two chip families have one formula each. They agree from SF7 to SF12; at SF5 and SF6 the
SX126x has a longer sync word and no room for payload in its header block.

Sources: SX1261/2 data sheet Rev 2.1, 6.1.1.4 and 6.1.4 (read); SX1272/73 data sheet Rev 2,
4.1.1.7 (text and parameters read, the equation by quotation). The long interleaver has no
published equation and is not offered.
"""

from collections.abc import Callable
from typing import Literal

from packcodec.errors import RadioError
from packcodec.frozen import frozen
from packcodec.radio.modulations import Airtime, one_of, unbroken, up, within

Chip = Literal["SX126x", "SX127x"]

# Nominal bandwidth in hertz → what 500 kHz is divided by.
LORA_BANDWIDTHS = {
    7_812: 64,
    10_417: 48,
    15_625: 32,
    20_833: 24,
    31_250: 16,
    41_667: 12,
    62_500: 8,
    125_000: 4,
    250_000: 2,
    500_000: 1,
}
# The rule is 'a symbol of 16 ms or more'; SF11 at 125 kHz sits at 16.384 ms, so never compare
# against 16.384 itself.
LONG_SYMBOL_US = 16_000
LORA_SPREADING_FACTORS = {"SX126x": range(5, 13), "SX127x": range(6, 13)}
LORA_SHORT_SF = (5, 6)
LORA_PREAMBLE_LEAST_SHORT_SF = 12
# The sync word and start of frame, in quarters of a symbol: 4.25 symbols, 6.25 at SF5 and SF6.
LORA_SYNC_QUARTERS = 17
LORA_SYNC_QUARTERS_SHORT_SF = 25


@frozen
class Lora:
    """LoRa with the short interleaver. `coding_rate` 1..4 stands for 4/5..4/8.

    `low_data_rate` None follows the rule (on from a symbol of 16 ms); both ends must agree.
    `preamble_symbols` None is 8, or 12 at SF5 and SF6, where the SX126x sends no fewer.
    """

    sf: int
    bandwidth_hz: int = 125_000
    coding_rate: int = 1
    preamble_symbols: int | None = None
    explicit_header: bool = True
    crc: bool = True
    low_data_rate: bool | None = None
    chip: Chip = "SX126x"

    def __post_init__(self) -> None:
        one_of("chip", self.chip, LORA_SPREADING_FACTORS)
        one_of("sf", self.sf, LORA_SPREADING_FACTORS[self.chip], f"on an {self.chip}")
        one_of("bandwidth_hz", self.bandwidth_hz, LORA_BANDWIDTHS, "in hertz")
        one_of("coding_rate", self.coding_rate, range(1, 5), "for 4/5 to 4/8")
        one_of("explicit_header", self.explicit_header, (True, False))
        one_of("crc", self.crc, (True, False))
        one_of("low_data_rate", self.low_data_rate, (None, True, False))
        least = LORA_PREAMBLE_LEAST_SHORT_SF if self.short else 6
        within("preamble_symbols", self.preamble, least, 65_535)
        if self.chip == "SX127x" and self.sf == 6 and self.explicit_header:
            raise RadioError(
                "SF6 on an SX127x has no explicit header",
                place="explicit_header",
                remedy="give explicit_header = false, or SF7 and up",
            )

    @property
    def preamble(self) -> int:
        """The preamble really sent, in symbols."""
        if self.preamble_symbols is not None:
            return self.preamble_symbols
        return LORA_PREAMBLE_LEAST_SHORT_SF if self.short else 8

    @property
    def symbol_us(self) -> int:
        """One symbol, 2^sf / bandwidth, in whole microseconds."""
        return (2 * LORA_BANDWIDTHS[self.bandwidth_hz]) << self.sf

    @property
    def optimised(self) -> bool:
        """Whether the low-data-rate optimisation is on."""
        if self.low_data_rate is None:
            return self.symbol_us >= LONG_SYMBOL_US
        return self.low_data_rate

    @property
    def most_bytes(self) -> int:
        """The longest payload the header can tell: its length takes one byte."""
        return 255

    @property
    def occupied_hz(self) -> int:
        """The chirp sweeps the whole bandwidth."""
        return self.bandwidth_hz

    @property
    def signal_hz(self) -> int:
        """The width that the power is spread over at any time, as rules on density count it."""
        return self.occupied_hz

    @property
    def short(self) -> bool:
        """Whether the frame has the form of its own that SF5 and SF6 have."""
        return self.chip == "SX126x" and self.sf in LORA_SHORT_SF

    def on_air(self, payload_bytes: int) -> Airtime:
        """Symbols of the preamble, the sync word, the header block, and the payload's blocks."""
        sync = LORA_SYNC_QUARTERS_SHORT_SF if self.short else LORA_SYNC_QUARTERS
        symbols = self.preamble + 8 + _LORA_BLOCKS[self.chip](self, payload_bytes)
        return unbroken((4 * symbols + sync) * self.symbol_us // 4)


def _sx126x_payload_symbols(lora: Lora, payload_bytes: int) -> int:
    header_room = 0 if lora.short else 8
    optimised = lora.optimised and not lora.short
    bits = 8 * payload_bytes + 16 * lora.crc - 4 * lora.sf + header_room + 20 * lora.explicit_header
    return up(max(bits, 0), 4 * (lora.sf - 2 * optimised)) * (lora.coding_rate + 4)


def _sx127x_payload_symbols(lora: Lora, payload_bytes: int) -> int:
    implicit = not lora.explicit_header
    bits = 8 * payload_bytes - 4 * lora.sf + 28 + 16 * lora.crc - 20 * implicit
    return max(up(bits, 4 * (lora.sf - 2 * lora.optimised)) * (lora.coding_rate + 4), 0)


_LORA_BLOCKS: dict[str, Callable[[Lora, int], int]] = {
    "SX126x": _sx126x_payload_symbols,
    "SX127x": _sx127x_payload_symbols,
}
