"""Sealed frames: every seal, headers of any width, whole counters, and repair inside the seal.

The keys are invented and published here: no station may ever have one of them.
"""

from vector_cases.case import LAST_COUNTER, Case, Fault, Loss, VectorFile, bits, message, schema

KEYS = {
    0: "00000000000000000000000000000000",
    2: "d7c59eb5cf9dc8d8fbe5c3b5f0a1e64b",
    3: "000102030405060708090a0b0c0d0e0f",
    5: "f0e0d0c0b0a090807060504030201000",
    15: "ffffffffffffffffffffffffffffffff",
    LAST_COUNTER: "536564676572652c20696e76656e7465",
}
MESSAGES = (
    message(
        'name = "battery_mv", kind = "integer", low = 2800, high = 4300',
        'name = "rows", kind = "list", least = 0, most = 3, fields = '
        '[{ name = "n", kind = "integer", low = 0, high = 255 }]',
    ),
    message('name = "same", kind = "integer", low = 1, high = 1', name="alive", code=2),
)
ALIVE = {"same": 1}


def values(battery_mv: int = 3912, *rows: int) -> dict[str, object]:
    return {"battery_mv": battery_mv, "rows": [{"n": n} for n in rows]}


def frame(seal: str, tag: int = 8, message: int = 2, station: int = 4, sequence: int = 10) -> str:
    return (
        f"tag_bits = {tag}\nmessage_bits = {message}\nstation_bits = {station}\n"
        f'sequence_bits = {sequence}\nseal = "{seal}"\n'
    )


FAULTS = (
    Fault("battery_mv = code 1501, sealed as it is", bits((1501, 11), (0, 2))),
    Fault("battery_mv = code 2047, sealed as it is", bits((2047, 11), (0, 2))),
)

BY_SEAL = tuple(
    VectorFile(
        f"sealed-{seal}",
        f"The seal {seal}: keys, whole counters, and frames that must stay shut.",
        schema(f"sealed_{seal}", *MESSAGES, frame=frame(seal)),
        (
            Case("a record", values(3912, 7, 255)),
            Case("the same record again", values(3912, 7, 255), counter=701, expected=701),
            Case("the same record and counter of another station", values(3912, 7, 255), station=5),
            Case("a message of no bits", ALIVE, "alive", 5, 701, expected=701),
            Case("the first counter of station 0", values(2800), station=0, counter=0),
            Case("the counter as it is expected", values(), counter=70_000, expected=70_000),
            Case("300 frames lost", values(), counter=70_000, expected=69_700),
            Case("300 counters back", values(), counter=70_000, expected=70_300),
            Case("half the circle lost", values(), counter=70_000, expected=69_488),
            Case("half the circle back, less one", values(), counter=70_000, expected=70_511),
            Case("half the circle, from the first", values(), counter=512),
            Case(
                "beside the last counter there is no next circle",
                values(4300, 0, 0, 0),
                station=15,
                counter=LAST_COUNTER - 1023,
                expected=LAST_COUNTER - 1,
            ),
            Case(
                "the last counter there is",
                values(),
                station=15,
                counter=LAST_COUNTER,
                expected=LAST_COUNTER,
            ),
        ),
        faults=FAULTS,
        keys=KEYS,
    )
    for seal in ("ccm4", "ccm8", "sign4", "sign8")
)

CARRIER = VectorFile(
    "sealed-carrier-says-all",
    "The seal ccm8 and no header: the carrier says message, station and 16 bits of the counter.",
    schema("sealed_carrier_says_all", *MESSAGES, frame=frame("ccm8", 0, 0, 0, 0)),
    (
        Case("a record", values(3912, 7, 255)),
        Case("a message of no bits", ALIVE, "alive"),
        Case("a counter past 16 bits", values(), counter=70_000, expected=70_000),
        Case("30,000 frames lost", values(), counter=70_000, expected=40_000),
        Case(
            "of a whole counter that the carrier says, the last 16 bits count",
            values(),
            counter=140_000,
            expected=139_000,
            said_whole=True,
        ),
        Case("a station of 32 bits", values(), station=LAST_COUNTER, counter=0),
        Case(
            "the last counter there is",
            values(4300, 1, 2, 3),
            station=LAST_COUNTER,
            counter=LAST_COUNTER,
            expected=LAST_COUNTER,
        ),
    ),
    faults=FAULTS,
    keys=KEYS,
)

ODD = VectorFile(
    "sealed-odd-header",
    "The seal sign4 and a header that ends within a byte, with 7 bits of the counter.",
    schema("sealed_odd_header", *MESSAGES, frame=frame("sign4", 3, 3, 5, 7)),
    (
        Case("a record", values(3912, 7, 255), counter=100),
        Case("a message of no bits", ALIVE, "alive", 2, 100),
        Case("the counter just wrapped", values(2801), station=2, counter=128, expected=127),
        Case("the counter just before", values(2801), station=2, counter=127, expected=130),
        Case("63 frames lost", values(), counter=70_063, expected=70_000),
    ),
    faults=FAULTS,
    keys=KEYS,
)

WIDEST = VectorFile(
    "sealed-widest-header",
    "The seal ccm4 and the widest header, with the whole counter: what is expected is no matter.",
    schema("sealed_widest_header", *MESSAGES, frame=frame("ccm4", 32, 8, 32, 32)),
    (
        Case("a record", values(3912, 7, 255)),
        Case("far from what is expected", values(), counter=3_000_000_000, expected=5),
        Case("all great", values(4300, 255), station=LAST_COUNTER, counter=LAST_COUNTER),
    ),
    faults=FAULTS,
    keys=KEYS,
)

REPAIR = '[repair]\nmessages = ["m", "alive"]\nwindow = 5\nstride = 1\nevery = 2\n'
SYMBOL_BYTES = 5
BY_REPAIR = tuple(
    VectorFile(
        f"sealed-repair-{seal}",
        f"Repair symbols in every second frame, inside the seal {seal}.",
        schema(f"sealed_repair_{seal}", *MESSAGES, REPAIR, frame=frame(seal)),
        (
            Case("an empty ring", values(3000, 1), counter=700),
            Case("no symbol in an odd frame", values(3001, 2, 3), counter=701, expected=701),
            Case("a window of two", values(3002), counter=702, expected=702),
            Case("the shortest message, no symbol", ALIVE, "alive", counter=703, expected=703),
            Case("the shortest message, a symbol", ALIVE, "alive", counter=704, expected=704),
            Case("longest, no symbol", values(4300, 255, 255, 255), counter=705, expected=705),
            Case("a full window", values(4300, 255, 255, 255), counter=706, expected=706),
            Case("a full window that moved", values(2800, 0, 0, 0), counter=708, kept=True),
            Case("another station and key", values(), station=5, counter=1022),
            Case("its next", values(), station=5, counter=1023, expected=1023),
            Case("its sequence wrapped", values(), station=5, counter=1024, expected=1024),
            Case("made without a ring", values(), counter=710, without_ring=True),
        ),
        faults=(
            *(
                Fault(
                    f"a window of {held}, sealed as it is",
                    bits((held, 3), (0, 8 * SYMBOL_BYTES), (0, 13)),
                )
                for held in (6, 7)
            ),
            Fault(
                "battery_mv = code 1501 behind a symbol",
                bits((0, 3), (0, 8 * SYMBOL_BYTES), (1501, 11), (0, 2)),
            ),
        ),
        keys=KEYS,
        losses=(
            Loss("one lost", 700, 702, (701,)),
            Loss("two lost, and two symbols over them", 700, 706, (701, 703)),
        ),
    )
    for seal in ("ccm4", "sign8")
)
