"""LR-FHSS time on air and largest payloads.

Sources:
- worked values for a 29-octet packet (16 + LoRaWAN's 13): open simulator notes after
  RP002-1.0.5, EU868 DR8 and DR9 (by quotation).
- LR1121 user manual Rev 1.1: 255 coded octets at most (read); its Table 8-24 of largest payloads
  by headers (cells from memory, which is why the sentence that was read is checked as well).
- SX1261/2 data sheet Rev 2.1, 14.4: 488.28125 bit/s (read).
"""

import pytest

from packcodec.radio import LrFhss, airtime
from packcodec.radio.modulations import LR_FHSS_BIT_US

LARGEST_PAYLOADS = {
    "5/6": (189, 178, 167, 155),
    "2/3": (151, 142, 133, 123),
    "1/2": (112, 105, 99, 92),
    "1/3": (74, 69, 65, 60),
}


def test_bit_rate():
    assert 1_000_000 / LR_FHSS_BIT_US == 488.28125


@pytest.mark.parametrize(
    ("rate", "headers", "expected_us"), [("1/3", 3, 2_326_528), ("2/3", 2, 1_280_000)]
)
def test_published_worked_values(rate, headers, expected_us):
    assert airtime(LrFhss(rate, headers), 29).airtime_us == expected_us


@pytest.mark.parametrize("rate", LARGEST_PAYLOADS)
def test_largest_payloads_by_headers(rate):
    assert tuple(LrFhss(rate, h).most_bytes for h in (1, 2, 3, 4)) == LARGEST_PAYLOADS[rate]


@pytest.mark.parametrize("rate", LARGEST_PAYLOADS)
@pytest.mark.parametrize("headers", [1, 2, 3, 4])
def test_one_octet_more_passes_255_coded_octets(rate, headers):
    modulation = LrFhss(rate, headers)
    fits = modulation.on_air(modulation.most_bytes).airtime_us
    past = modulation.on_air(modulation.most_bytes + 1).airtime_us
    assert fits <= 255 * 8 * LR_FHSS_BIT_US < past
