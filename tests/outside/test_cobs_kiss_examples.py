"""Framing against published examples.

COBS: S. Cheshire, M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on
Networking 7(2), 1999, and the table of examples in its encyclopaedia article (both from memory).
KISS: M. Chepponis, P. Karn, "The KISS Host to TNC Communications Protocol", ARRL 6th Computer
Networking Conference, 1987: the example that sends "TEST", and one that escapes FEND and FESC (from
memory). The escapes are those of SLIP, RFC 1055.
"""

import pytest

from packcodec.edge.framing import Cobs, Kiss

COBS = [
    ("00", "0101"),
    ("0000", "010101"),
    ("001100", "01021101"),
    ("11220033", "0311220233"),
    ("11223344", "0511223344"),
    ("11000000", "0211010101"),
    (bytes(range(1, 255)).hex(), "ff" + bytes(range(1, 255)).hex()),
    (bytes(range(256)).hex(), "01ff" + bytes(range(1, 255)).hex() + "02ff"),
]


@pytest.mark.parametrize(("plain", "stuffed"), COBS, ids=lambda text: text[:12])
def test_cobs(plain: str, stuffed: str) -> None:
    line = bytes.fromhex(f"00{stuffed}00")
    assert Cobs().wrap(bytes.fromhex(plain)) == line
    assert Cobs().feed(line) == [bytes.fromhex(plain)]


@pytest.mark.parametrize(
    ("plain", "line"),
    [(b"TEST", "c00054455354c0"), (bytes.fromhex("c0db"), "c000dbdcdbddc0")],
)
def test_kiss(plain: bytes, line: str) -> None:
    assert Kiss().wrap(plain) == bytes.fromhex(line)
    assert Kiss().feed(bytes.fromhex(line)) == [plain]
