"""Headers of any width, and the checks."""

from vector_cases.case import LAST_COUNTER, Case, VectorFile, message, schema

TWO_MESSAGES = (
    message('name = "n", kind = "integer", low = 0, high = 7', name="few"),
    message('name = "n", kind = "integer", low = 0, high = 255', name="many", code=255),
)
CARRIER = VectorFile(
    "carrier-says-all",
    "No header at all: the carrier says message and station, and both are under the check.",
    schema(
        "carrier_says_all",
        *TWO_MESSAGES,
        frame="tag_bits = 0\nmessage_bits = 0\nstation_bits = 0\nsequence_bits = 0\n",
    ),
    (
        Case("a message", {"n": 5}, "few", 0),
        Case("another message of the same length", {"n": 160}, "many", 0),
        Case("a station of 32 bits", {"n": 5}, "few", LAST_COUNTER),
    ),
)

EMPTY = VectorFile(
    "nothing-but-a-check",
    "A message of no bits, without a header: the frame is its check.",
    schema(
        "nothing_but_a_check",
        message('name = "n", kind = "integer", low = 1, high = 1'),
        frame="tag_bits = 0\nmessage_bits = 0\nstation_bits = 0\nsequence_bits = 0\n",
    ),
    (Case("alive", {"n": 1}, station=7),),
)

WIDEST = VectorFile(
    "widest-header",
    "32 bits each for tag, station and sequence, 8 for the message.",
    schema(
        "widest_header",
        *TWO_MESSAGES,
        frame="tag_bits = 32\nmessage_bits = 8\nstation_bits = 32\nsequence_bits = 32\n",
    ),
    (
        Case("all small", {"n": 0}, "few", 0, 0),
        Case("all great", {"n": 255}, "many", LAST_COUNTER, LAST_COUNTER),
    ),
)

ODD = VectorFile(
    "odd-header",
    "A header that ends within a byte, and a counter of which 7 bits are sent.",
    schema(
        "odd_header",
        message('name = "a", kind = "integer", low = 0, high = 1000', name="first", code=3),
        message(
            'name = "b", kind = "boolean"',
            'name = "c", kind = "integer", low = 0, high = 2, optional = true',
            name="second",
            code=5,
        ),
        frame="tag_bits = 3\nmessage_bits = 3\nstation_bits = 5\nsequence_bits = 7\n",
    ),
    (
        Case("a message", {"a": 1000}, "first", 31, 127),
        Case("the other, its counter just wrapped", {"b": True}, "second", 0, 128),
        Case("the other, its counter about to wrap", {"b": False, "c": 2}, "second", 1, 255),
        Case("the last counter there is", {"a": 0}, "first", 2, LAST_COUNTER),
    ),
)

BY_CHECK = tuple(
    VectorFile(
        f"check-{check}",
        f"The check {check}.",
        schema(
            f"check_{check.replace('-', '_')}",
            message(
                'name = "rows", kind = "list", least = 0, most = 12, fields = '
                '[{ name = "n", kind = "integer", low = 0, high = 255 }]'
            ),
            frame="tag_bits = 8\nmessage_bits = 2\nstation_bits = 4\nsequence_bits = 10\n"
            f'check = "{check}"\n',
        ),
        (
            Case("short", {"rows": []}),
            Case("all zeros", {"rows": [{"n": 0}] * 3}, station=0, counter=0),
            Case("all ones", {"rows": [{"n": 255}] * 12}, station=15, counter=1023),
        ),
    )
    for check in ("crc16-short", "crc16", "crc24", "crc32")
)
