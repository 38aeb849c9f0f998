"""The worked frames of spec/seal.md, made once more from its words alone."""

import re
from hashlib import sha256
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESCCM

from packcodec.frame import Codec
from packcodec.frame.seal import Key
from packcodec.layout import canonical_form, compile_layout
from packcodec.schema import read_schema

PAGE = (Path(__file__).parents[2] / "spec" / "seal.md").read_text(encoding="utf-8")
TOML = PAGE.split("```toml\n")[1].split("```")[0]
KEY = bytes(range(16))
STATION, COUNTER = 3, 70_000
VALUES = {"battery_mv": 3912, "temperature_c": -7}
ROWS = re.findall(r"^\| (ccm\d|sign\d) \| ([0-9a-f]{64}) \| ([0-9a-f]+) \|$", PAGE, re.M)


def codec_of(seal: str) -> Codec:
    schema = read_schema(TOML.replace('seal = "ccm4"', f'seal = "{seal}"'), "")
    return Codec(compile_layout(schema), {STATION: Key(KEY)})


def test_the_page_works_a_frame_for_each_seal() -> None:
    assert [seal for seal, _, _ in ROWS] == ["ccm4", "ccm8", "sign4", "sign8"]


@pytest.mark.parametrize(("seal", "identity", "frame"), ROWS)
def test_the_codec_makes_the_frame_on_the_page(seal: str, identity: str, frame: str) -> None:
    codec = codec_of(seal)
    assert codec.layout.identity.hex() == identity
    record = {"message": "health", "values": VALUES}
    assert codec.encode(record, station=STATION, sequence=COUNTER).hex() == frame
    opened = codec.open(bytes.fromhex(frame), expected={STATION: COUNTER - 300})
    assert (opened.counter, opened.record.values) == (COUNTER, VALUES)


@pytest.mark.parametrize(("seal", "identity", "frame"), ROWS)
def test_the_words_of_the_page_make_it_too(seal: str, identity: str, frame: str) -> None:
    canonical = canonical_form(codec_of(seal).schema)
    assert f'"seal":"{seal}"' in canonical
    assert sha256(canonical.encode()).hexdigest() == identity
    # tag 8 | message 2 | station 4 | sequence 10, then 11 and 7 bits of payload and 6 of padding.
    header = (bytes.fromhex(identity)[0] << 2 | 2) << 4 | STATION
    header = header << 10 | COUNTER & 0x3FF
    payload = (VALUES["battery_mv"] - 2800) << 7 | VALUES["temperature_c"] + 40
    head, body = header.to_bytes(3, "big"), (payload << 6).to_bytes(3, "big")
    tag = int(seal[-1])
    nonce = STATION.to_bytes(8, "big") + b"\0" + COUNTER.to_bytes(4, "big")
    unsent = bytes.fromhex(identity) + bytes(1) + bytes(4) + (6 + tag).to_bytes(2, "big")
    cipher = AESCCM(KEY, tag)
    if seal.startswith("ccm"):
        made = head + cipher.encrypt(nonce, body, unsent + head)
    else:
        made = head + body + cipher.encrypt(nonce, b"", unsent + head + body)
    assert made.hex() == frame
