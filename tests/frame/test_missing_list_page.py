"""The worked lists of spec/missing-list.md, made once more from its words alone."""

import re
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESCCM

from packcodec.frame import missing
from packcodec.frame.seal import Key

PAGE = (Path(__file__).parents[2] / "spec" / "missing-list.md").read_text(encoding="utf-8")
KEY, STATION, FOLLOWING = bytes(range(16)), 3, 70_100
ROWS = re.findall(r"^\| (\d+) \| ([\d to]+) \| (\d+) \| ([0-9a-f]+) \|$", PAGE, re.M)


def counters_of(said: str) -> list[int]:
    if " to " in said:
        low, high = said.split(" to ")
        return [*range(int(low), int(high) + 1)]
    return [int(each) for each in said.split()]


def test_the_page_works_four_lists() -> None:
    assert len(ROWS) == 4


@pytest.mark.parametrize(("number", "said", "most", "frame"), ROWS)
def test_the_code_makes_and_takes_them(number: str, said: str, most: str, frame: str) -> None:
    counters = counters_of(said)
    made = missing.encode_list(Key(KEY), STATION, int(number), counters, int(most))
    assert made == (bytes.fromhex(frame), tuple(counters))
    taken = missing.decode_list(Key(KEY), STATION, made[0], after=None, following=FOLLOWING)
    assert taken == missing.MissingList(int(number), tuple(counters))


@pytest.mark.parametrize(("number", "said", "most", "frame"), ROWS)
def test_the_words_of_the_page_make_them_too(number: str, said: str, most: str, frame: str) -> None:
    counters = counters_of(said)
    more = 0
    while more < 15 and counters[0] + more + 1 in counters:
        more += 1
    start = counters[0] + 1 + more
    bits = "".join(str(int(each in counters)) for each in range(start, counters[-1] + 1))
    bits += "0" * (-len(bits) % 8)
    clear = bytes([int(number) & 0xFF])
    clear += ((counters[0] & 0xFFF) << 4 | more).to_bytes(2, "big")
    clear += int(bits or "0", 2).to_bytes(len(bits) // 8, "big")
    nonce = STATION.to_bytes(8, "big") + b"\1" + int(number).to_bytes(4, "big")
    made = clear + AESCCM(KEY, 8).encrypt(nonce, b"", clear)
    assert made.hex() == frame
    assert len(made) <= int(most)


def covered(most: int) -> int:
    return len(missing.encode_list(Key(KEY), 1, 0, range(1000), most)[1])


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("shortest list has 11 bytes", missing.LEAST_BYTES == 11),
        ("of 51 bytes covers up to 336 counters", covered(51) == 336),
        ("one of the 16 lowest", missing.TRIES == 16),
        ("under one of its last 512 counters", missing.KEPT_FRAMES == 512),
    ],
)
def test_the_numbers_of_the_page_are_the_codes(said: str, value: bool) -> None:
    assert said in PAGE.replace("\n", " ")
    assert value
