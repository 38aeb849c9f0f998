"""Carriers that are not ours: text messages and ultra-narrowband uplinks.

Sources: 3GPP TS 23.040 V18, 9.2.3.24.1 (read): 140 octets, 160 characters of 7 bits, 134 octets
beside an 8-bit concatenation header. EURASIP JWCN 2019, 10.1186/s13638-019-1502-5, Table 6 (by
quotation): 12-octet payload, 26-octet frame, 100 bit/s; three copies from memory. KISS and COBS
escapes as printed in a TNC manual and in library documentation.
"""

from packcodec.radio import FixedRate, Serial, airtime, find_link, known_rules


def test_a_text_message_is_140_octets_or_160_characters_of_7_bits():
    link = find_link("text-message")
    assert link.payload_most == 140
    assert link.payload_most * 8 // 7 == 160
    concatenation_header = 6
    assert link.payload_most - concatenation_header == 134
    assert (link.payload_most - concatenation_header) * 8 // 7 == 153


def test_an_ultra_narrowband_message_takes_6_24_s():
    link = find_link("unb-eu-868.13")
    assert link.payload_most == 12
    assert link.airtime(12).airtime_us == 6_240_000
    assert airtime(FixedRate(copies=1), 12).airtime_us == 26 * 8 * 10_000


def test_five_whole_messages_fit_an_hour_at_1_percent_not_the_popular_six():
    budget_us = known_rules()["eu-868.0-868.6"].duty_budget_us
    assert budget_us is not None
    assert budget_us // find_link("unb-eu-868.13").airtime(12).airtime_us == 5


def test_worst_case_framing():
    assert Serial(framing="kiss").line_bytes(100) == 2 * 100 + 3
    assert Serial(framing="cobs").line_bytes(253) == 253 + 1 + 1
    assert Serial(framing="cobs").line_bytes(254) == 254 + 2 + 1
