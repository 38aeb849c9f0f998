"""Frames that carry repair symbols."""

from packcodec.errors import Reason
from vector_cases.case import LAST_COUNTER, Case, Fault, Loss, VectorFile, bits, message, schema

COUNT = message(
    'name = "visits", kind = "integer", low = 0, high = 1000',
    'name = "rows", kind = "list", least = 0, most = 2, fields = '
    '[{ name = "n", kind = "integer", low = 0, high = 255 }]',
    name="count",
)
ALIVE = message('name = "same", kind = "integer", low = 1, high = 1', name="alive", code=1)
HEALTH = message(
    'name = "at", kind = "time", step_s = 60, span_s = 86400',
    'name = "lid", kind = "boolean", optional = true',
    name="health",
    code=2,
)
SYMBOL_BITS = 8 * 4


def count(visits: int, *rows: int) -> dict[str, object]:
    return {"visits": visits, "rows": [{"n": n} for n in rows]}


def health(at: str, lid: bool | None = None) -> dict[str, object]:
    return {"at": f"2027-04-01T{at}:00Z", "lid": lid}


REPAIR = VectorFile(
    "repair",
    "Repair symbols of the messages count and alive, but not of health; window 4, stride 2.",
    schema(
        "repair",
        COUNT,
        ALIVE,
        HEALTH,
        '[repair]\nmessages = ["count", "alive"]\nwindow = 4\nstride = 2\n',
    ),
    (
        Case("an empty ring", count(1, 17), "count"),
        Case("one source, but the stride is 2", count(2), "count", counter=701),
        Case("a window of one", count(3, 1, 2), "count", counter=702),
        Case("a message without symbols", health("06:30"), "health", counter=703),
        Case("a message that says nothing", {"same": 1}, "alive", counter=704),
        Case("the longest payload", count(1000, 255, 255), "count", counter=705),
        Case("a window of three", count(0), "count", counter=706),
        Case("without symbols", health("23:59", True), "health", counter=707),
        Case("a full window", count(500, 128), "count", counter=708),
        Case("a full window that moved", count(501), "count", counter=709),
        Case("it moved again", {"same": 1}, "alive", counter=710),
        Case("made without a ring", count(7), "count", counter=711, without_ring=True),
        Case("after a skip the ring is empty", count(8), "count", counter=712),
        Case("one source", count(9, 9, 9), "count", counter=713),
        Case(
            "a skip of counters that were never used",
            count(10, 0),
            "count",
            counter=717,
            kept=True,
        ),
        Case("before the sequence wraps", count(20, 1), "count", 0, 1022),
        Case("the last sequence", count(21, 2), "count", 0, 1023),
        Case("it wrapped, and the generator starts at 1, not 0", count(22, 3), "count", 0, 1024),
        Case("two before a coefficient of 0", count(23, 4), "count", 5, 121),
        Case("one before a coefficient of 0", count(24, 5), "count", 5, 122),
        Case("a coefficient of 0 is drawn anew", count(25, 6), "count", 5, 123),
        Case("two before the last counter", count(30, 1), "count", 0, LAST_COUNTER - 2),
        Case("one before the last counter", count(31, 2), "count", 0, LAST_COUNTER - 1),
        Case("the last counter there is", count(32, 3), "count", 0, LAST_COUNTER),
    ),
    faults=(
        *(
            Fault(f"a window of {held}", bits((held, 3), (0, SYMBOL_BITS), (0, 12)))
            for held in (5, 6, 7)
        ),
        Fault("a frame that ends within its symbol", bits((0, 3), (0, 21)), Reason.WRONG_LENGTH),
        Fault(
            "a frame that ends with its symbol", bits((0, 3), (0, SYMBOL_BITS)), Reason.WRONG_LENGTH
        ),
        Fault("visits = code 1001 behind a symbol", bits((4, 3), (1, 32), (1001, 10), (0, 2))),
        Fault("3 rows of at most 2 behind a symbol", bits((4, 3), (1, 32), (0, 10), (3, 2))),
    ),
    losses=(
        Loss("nothing lost", 700, 702, ()),
        Loss("one lost, and no symbol over it yet", 700, 702, (701,)),
        Loss("one lost, and a symbol over it", 700, 705, (701,)),
        Loss("one lost that carried no symbol itself", 700, 705, (703,)),
        Loss("two lost, of which one symbol tells nothing", 700, 706, (702, 704)),
        Loss("two lost, and two symbols over them", 700, 708, (702, 704)),
        Loss("one known, one not: only what is determined is given", 700, 708, (703, 704, 708)),
        Loss("four in a row", 700, 710, (703, 704, 705, 706)),
        Loss("counters that were never used are not given", 712, 717, (713,)),
        Loss("across the wrap of the sequence", 1022, 1024, (1022,), 0),
    ),
)

UNPROTECTED = VectorFile(
    "repair-carrier-says-all",
    "No header; symbols of 2 bytes in 3 of 4 frames; payloads that do not fit are not protected.",
    schema(
        "repair_carrier_says_all",
        message(
            'name = "rows", kind = "list", least = 0, most = 4, fields = '
            '[{ name = "n", kind = "integer", low = 0, high = 255 }]'
        ),
        '[repair]\nmessages = ["m"]\nsymbol_bytes = 2\nwindow = 5\nstride = 1\n'
        "every = 4\nsymbols = 3\n",
        frame="tag_bits = 0\nmessage_bits = 0\nstation_bits = 0\nsequence_bits = 0\n",
    ),
    (
        Case("it fits, with zeros to spare", {"rows": [{"n": 165}]}, counter=65_532),
        Case("zeros at the end are cut off", {"rows": [{"n": 129}, {"n": 64}]}, counter=65_533),
        Case("no symbol here; not protected", {"rows": [{"n": 255}] * 2}, counter=65_534),
        Case("no rows", {"rows": []}, counter=65_535),
        Case("past 16 bits", {"rows": [{"n": 1}]}, counter=65_536),
        Case("a full window", {"rows": [{"n": 2}]}, counter=65_537),
        Case("no symbol again", {"rows": [{"n": 3}] * 4}, counter=65_538),
        Case("its whole counter is said", {"rows": []}, counter=65_539, said_whole=True),
        Case("a station of 32 bits", {"rows": [{"n": 4}]}, station=LAST_COUNTER, counter=0),
        Case("its second", {"rows": [{"n": 5}]}, station=LAST_COUNTER, counter=1),
    ),
    faults=(
        *(Fault(f"a window of {held}", bits((held, 3), (0, 16), (0, 3))) for held in (6, 7)),
        Fault("a frame that ends within its symbol", bits((0, 3), (0, 13)), Reason.WRONG_LENGTH),
        *(Fault(f"{n} rows of at most 4", bits((5, 3), (9, 16), (n, 3))) for n in (5, 7)),
    ),
    losses=(
        Loss("zeros that were cut off are put back", 65_532, 65_535, (65_533,)),
        Loss("what was not protected is not given", 65_532, 65_535, (65_534,)),
    ),
)

TINY = VectorFile(
    "repair-nothing-fits",
    "A symbol of 1 byte beside message codes of 8 bits: no source fits, and all symbols are zeros.",
    schema(
        "repair_nothing_fits",
        message('name = "n", kind = "integer", low = 0, high = 3', code=1),
        message('name = "same", kind = "integer", low = 1, high = 1', name="alive", code=254),
        '[repair]\nmessages = ["m", "alive"]\nsymbol_bytes = 1\nwindow = 1\nstride = 1\n',
        frame="tag_bits = 8\nmessage_bits = 8\nstation_bits = 0\nsequence_bits = 8\n",
    ),
    (
        Case("an empty ring", {"n": 0}),
        Case("no payload at all", {"same": 1}, "alive", counter=701),
        Case("a window of one, of zeros", {"n": 3}, counter=702),
        Case("a window of one, still", {"same": 1}, "alive", counter=703),
    ),
    losses=(Loss("what was not protected is not given", 700, 702, (701,)),),
)
