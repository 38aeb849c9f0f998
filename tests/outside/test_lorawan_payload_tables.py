"""The LoRaWAN maximum payload tables, and the airtime limits they come from.

Sources: RP002-1.0.5 Tables 10, 15, 16 (EU868), 19, 24, 25 (US915), 39, 44, 46 (AU915), 50, 54, 56
(CN470), 72, 73 (AS923, Table 73 read), sections 3.11 to 3.13 (KR920, IN865, RU864); LoRaWAN RP
1.0.3rA Table 31 (EU433, read). Others by an open test suite that asserts the printed tables and by
the open LoRaWAN reference stack. SF5 and SF6 sizes outside EU868 and AS923 are from memory.

The check: where a plan limits the time on air, the largest PHYPayload within the limit, less the 5
octets of MHDR and MIC and at most 250, is the table's M. For every such data rate it must come
out to the octet.
"""

import pytest

from packcodec.radio import Lora, airtime, find_link, known_links, largest_payload

WIDE = 500_000

# plan: {data rate: (M, N)}, none behind a repeater.
TABLES = {
    "eu868": {
        **dict.fromkeys((0, 1, 2), (59, 51)),
        3: (123, 115),
        **dict.fromkeys((4, 5, 6, 7, 12, 13), (250, 242)),
        8: (58, 50),
        9: (123, 115),
        10: (58, 50),
        11: (123, 115),
    },
    "eu433": {
        **dict.fromkeys((0, 1, 2), (59, 51)),
        3: (123, 115),
        **dict.fromkeys((4, 5, 6, 7, 12, 13), (250, 242)),
    },
    "us915": {
        0: (19, 11),
        1: (61, 53),
        2: (133, 125),
        3: (250, 242),
        4: (250, 242),
        5: (58, 50),
        6: (133, 125),
    },
    "au915-dwell0": {
        **dict.fromkeys((0, 1, 2), (59, 51)),
        3: (123, 115),
        **dict.fromkeys((4, 5, 6), (250, 242)),
        7: (58, 50),
    },
    "au915-dwell1": {
        2: (19, 11),
        3: (61, 53),
        4: (133, 125),
        5: (250, 242),
        6: (250, 242),
        7: (58, 50),
    },
    "as923-1-dwell0": {
        **dict.fromkeys((0, 1), (59, 51)),
        **dict.fromkeys((2, 3), (123, 115)),
        **dict.fromkeys((4, 5, 6, 7, 12, 13), (250, 242)),
    },
    "as923-1-dwell1": {
        2: (19, 11),
        3: (61, 53),
        4: (133, 125),
        **dict.fromkeys((5, 6, 7, 12, 13), (250, 242)),
    },
    "kr920": {
        **dict.fromkeys((0, 1, 2), (59, 51)),
        3: (123, 115),
        **dict.fromkeys((4, 5, 12, 13), (250, 242)),
    },
    "in865": {
        **dict.fromkeys((0, 1, 2), (59, 51)),
        3: (123, 115),
        **dict.fromkeys((4, 5, 7, 12, 13), (250, 242)),
    },
    "ru864": {
        **dict.fromkeys((0, 1, 2), (59, 51)),
        3: (123, 115),
        **dict.fromkeys((4, 5, 6, 7, 12, 13), (250, 242)),
    },
    "cn470": {
        1: (31, 23),
        2: (94, 86),
        3: (192, 184),
        **dict.fromkeys((4, 5, 6, 7), (250, 242)),
    },
}
ROWS = [(plan, dr, m, n) for plan, rates in TABLES.items() for dr, (m, n) in rates.items()]

# plan: (limit in microseconds, {data rate: LoRa})
LIMITED = {
    "us915": (400_000, {dr: Lora(10 - dr) for dr in range(4)} | {4: Lora(8, WIDE)}),
    "au915-dwell1": (400_000, {dr: Lora(12 - dr) for dr in range(2, 6)} | {6: Lora(8, WIDE)}),
    "as923-1-dwell1": (
        400_000,
        {dr: Lora(12 - dr) for dr in range(2, 6)} | {6: Lora(7, 250_000), 12: Lora(6), 13: Lora(5)},
    ),
    "cn470": (1_000_000, {dr: Lora(12 - dr) for dr in range(1, 6)} | {6: Lora(7, WIDE)}),
}
LIMITED_ROWS = [
    (plan, dr, limit_us, lora)
    for plan, (limit_us, loras) in LIMITED.items()
    for dr, lora in loras.items()
]


@pytest.mark.parametrize(("plan", "dr", "m", "n"), ROWS)
def test_our_room_is_the_tables_n(plan, dr, m, n):
    link = find_link(f"lorawan-{plan}-dr{dr}")
    assert link.payload_most == n
    assert link.payload_most + link.overhead_bytes == m + 5
    assert link.payload_most_repeated == {250: 222}.get(m, n)


def test_no_data_rate_is_made_up():
    named = {f"lorawan-{plan}-dr{dr}" for plan, dr, _, _ in ROWS}
    shifted_or_part = ("lorawan-as923-2", "lorawan-as923-3", "lorawan-as923-4", "lorawan-us915-8ch")
    made = {name for name in known_links() if name.startswith("lorawan-")}
    assert {name for name in made if not name.startswith(shifted_or_part)} == named


@pytest.mark.parametrize(("plan", "dr", "limit_us", "lora"), LIMITED_ROWS)
def test_the_table_is_the_largest_payload_within_the_limit(plan, dr, limit_us, lora):
    physical = largest_payload(lora, limit_us)
    assert physical is not None
    assert min(physical - 5, 250) == TABLES[plan][dr][0]
    assert find_link(f"lorawan-{plan}-dr{dr}").modulation == lora


@pytest.mark.parametrize(
    ("sf", "limit_us", "octets", "at_us"),
    [
        (10, 400_000, 24, 370_688),
        (9, 400_000, 66, 390_144),
        (8, 400_000, 138, 399_872),
        (7, 400_000, 255, 399_616),
        (10, 1_000_000, 99, 985_088),
        (9, 1_000_000, 197, 984_064),
        (11, 1_000_000, 36, 987_136),
    ],
)
def test_the_edges_themselves(sf, limit_us, octets, at_us):
    assert largest_payload(Lora(sf), limit_us) == octets
    assert airtime(Lora(sf), octets).airtime_us == at_us


def test_what_the_tables_leave_out_cannot_carry_an_empty_frame():
    """AU915 and AS923 DR0 and DR1 under 400 ms, CN470 DR0 under 1 s: 'not usable'."""
    empty_frame = 12
    for sf, limit_us in ((12, 400_000), (11, 400_000), (12, 1_000_000)):
        largest = largest_payload(Lora(sf), limit_us)
        assert largest is None or largest < empty_frame
