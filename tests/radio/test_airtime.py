"""Time on air: exact arithmetic, steps, and what is refused."""

from fractions import Fraction
from math import ceil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packcodec.errors import RadioError
from packcodec.radio import (
    FixedRate,
    Gfsk,
    Lora,
    LrFhss,
    Modem,
    Serial,
    airtime,
    largest_payload,
    octets_to_next_step,
)
from packcodec.radio.lora import LORA_BANDWIDTHS

loras = st.builds(
    Lora,
    sf=st.integers(7, 12),
    bandwidth_hz=st.sampled_from(list(LORA_BANDWIDTHS)),
    coding_rate=st.integers(1, 4),
    preamble_symbols=st.integers(6, 40),
    explicit_header=st.booleans(),
    crc=st.booleans(),
    low_data_rate=st.sampled_from([None, True, False]),
    chip=st.sampled_from(["SX126x", "SX127x"]),
)
modulations = st.one_of(
    loras,
    st.builds(Gfsk, bitrate_bps=st.integers(1_200, 300_000)),
    st.builds(LrFhss, st.sampled_from(["5/6", "2/3", "1/2", "1/3"]), st.integers(1, 4)),
    st.just(FixedRate()),
)


def datasheet_us(lora: Lora, octets: int) -> Fraction:
    """The printed SF7..SF12 equation, in rationals and without our integer shortcuts."""
    symbol_us = Fraction(2**lora.sf * 1_000_000 * LORA_BANDWIDTHS[lora.bandwidth_hz], 500_000)
    optimised = symbol_us >= 16_000 if lora.low_data_rate is None else lora.low_data_rate
    header = 20 if lora.explicit_header else 0
    bits = 8 * octets + 16 * lora.crc - 4 * lora.sf + 8 + header
    blocks = ceil(Fraction(max(bits, 0), 4 * (lora.sf - 2 * optimised)))
    symbols = lora.preamble + Fraction(17, 4) + 8 + blocks * (lora.coding_rate + 4)
    return symbols * symbol_us


@given(loras, st.integers(0, 255))
def test_lora_equals_the_printed_equation_exactly_on_both_chips(lora, octets):
    assert airtime(lora, octets).airtime_us == datasheet_us(lora, octets)


def test_sf5_and_sf6_have_a_longer_sync_word_and_no_payload_in_the_header_block():
    # By hand: 12 + 6.25 + 8 + ceil((80 + 16 - 20 + 20) / 20) * 5 symbols of 256 us.
    assert airtime(Lora(5), 10).airtime_us == int((12 + 6.25 + 8 + 5 * 5) * 256)
    # By hand: 12 + 6.25 + 8 + ceil((80 + 16 - 24 + 20) / 24) * 5 symbols of 512 us.
    assert airtime(Lora(6), 10).airtime_us == int((12 + 6.25 + 8 + 4 * 5) * 512)


@pytest.mark.parametrize(
    ("sf", "bandwidth_hz", "optimised"),
    [
        (10, 125_000, False),
        (11, 125_000, True),
        (12, 125_000, True),
        (11, 250_000, False),
        (12, 250_000, True),
        (12, 500_000, False),
        (9, 62_500, False),
        (10, 62_500, True),
        (8, 15_625, True),
    ],
)
def test_low_data_rate_optimisation_starts_at_a_16_ms_symbol(sf, bandwidth_hz, optimised):
    assert Lora(sf, bandwidth_hz).optimised is optimised


@given(modulations, st.data())
def test_the_next_step_is_where_the_airtime_grows(modulation, data):
    octets = data.draw(st.integers(0, modulation.most_bytes))
    free = octets_to_next_step(modulation, octets)
    now = airtime(modulation, octets)
    assert airtime(modulation, octets + free) == now
    if octets + free < modulation.most_bytes:
        assert airtime(modulation, octets + free + 1).airtime_us > now.airtime_us


@given(modulations, st.integers(0, 12_000_000))
def test_largest_payload_fits_and_one_more_octet_does_not(modulation, limit_us):
    octets = largest_payload(modulation, limit_us)
    if octets is None:
        assert airtime(modulation, 0).airtime_us > limit_us
        return
    assert airtime(modulation, octets).airtime_us <= limit_us
    if octets < modulation.most_bytes:
        assert airtime(modulation, octets + 1).airtime_us > limit_us


def test_a_block_at_sf12_makes_12_and_13_octets_cost_the_same():
    assert airtime(Lora(12), 12) == airtime(Lora(12), 13)
    assert octets_to_next_step(Lora(12), 13) == octets_to_next_step(Lora(12), 12) - 1


def test_gfsk_is_the_sum_of_its_parts():
    assert airtime(Gfsk(), 20).airtime_us == 4_960
    assert airtime(Gfsk(), 255).airtime_us == 42_560


def test_lr_fhss_stays_on_one_frequency_no_longer_than_its_header():
    on_air = airtime(LrFhss("2/3", 2, 1_523_000, 25_391), 29)
    assert on_air.channel_us == 233_472
    assert on_air.burst_us == on_air.airtime_us
    assert LrFhss("2/3", 2, 1_523_000, 25_391).hop_carriers == 60


def test_an_ultra_narrowband_uplink_is_three_bursts_whatever_its_payload():
    on_air = airtime(FixedRate(), 12)
    assert (on_air.airtime_us, on_air.burst_us) == (6_240_000, 2_080_000)
    assert airtime(FixedRate(), 1) == on_air
    assert airtime(FixedRate(), 0).airtime_us < on_air.airtime_us


def kiss(payload: bytes) -> bytes:
    escaped = payload.replace(b"\xdb", b"\xdb\xdd").replace(b"\xc0", b"\xdb\xdc")
    return b"\xc0\x00" + escaped + b"\xc0"


def cobs(payload: bytes) -> bytes:
    out = bytearray()
    for run in payload.split(b"\0"):
        while len(run) >= 254:
            out += b"\xff" + run[:254]
            run = run[254:]
        out += bytes([len(run) + 1]) + run
    return bytes(out) + b"\0"


@given(st.binary(max_size=700))
def test_the_serial_bound_holds_for_real_framings(payload):
    assert len(kiss(payload)) <= Serial(framing="kiss").line_bytes(len(payload))
    assert len(cobs(payload)) <= Serial(framing="cobs").line_bytes(len(payload))


def test_the_serial_bound_is_reached():
    assert len(kiss(b"\xc0" * 50)) == Serial(framing="kiss").line_bytes(50)
    assert len(cobs(b"\x01" * 254)) == Serial(framing="cobs").line_bytes(254)
    assert airtime(Serial(9_600, framing="none"), 960).airtime_us == 1_000_000


def test_a_modem_session_has_one_length():
    modem = Modem(session_s=20, message_bytes_most=340)
    assert airtime(modem, 1) == airtime(modem, 340)
    assert airtime(modem, 1).airtime_s == 20.0


@pytest.mark.parametrize(
    ("make", "place"),
    [
        (lambda: Lora(13), "sf"),
        (lambda: Lora(9.0), "sf"),
        (lambda: Lora(5, chip="SX127x"), "sf"),
        (lambda: Lora(9, 125), "bandwidth_hz"),
        (lambda: Lora(9, coding_rate=5), "coding_rate"),
        (lambda: Lora(6, preamble_symbols=8), "preamble_symbols"),
        (lambda: Lora(6, chip="SX127x"), "explicit_header"),
        (lambda: Lora(9, chip="SX1"), "chip"),
        (lambda: Gfsk(0), "bitrate_bps"),
        (lambda: LrFhss("1/4"), "coding_rate"),
        (lambda: LrFhss("1/3", 5), "headers"),
        (lambda: FixedRate(copies=0), "copies"),
        (lambda: Serial(framing="slip"), "framing"),
        (lambda: Modem(-1, 10), "session_s"),
        (lambda: airtime(Lora(9), 256), "payload_bytes"),
        (lambda: airtime(Lora(9), -1), "payload_bytes"),
        (lambda: airtime(LrFhss(), 66), "payload_bytes"),
        (lambda: octets_to_next_step(FixedRate(), 13), "payload_bytes"),
    ],
)
def test_the_impossible_is_refused_with_its_place_and_remedy(make, place):
    with pytest.raises(RadioError) as refused:
        make()
    assert refused.value.place == place
    assert refused.value.remedy
