"""Sealed frames: nothing opens that was changed or sealed by another; nothing tells a key."""

import pickle
import subprocess
import sys

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESCCM
from hypothesis import given
from hypothesis import strategies as st
from small_schema import codec_of, schema_of

from packcodec.codec.record import Record
from packcodec.errors import DecodeError, EncodeError, LayoutError, SchemaError
from packcodec.frame import Codec
from packcodec.frame.repair import Ring
from packcodec.frame.seal import Key, Keys
from packcodec.layout import canonical_form, compare_layouts, compile_layout

SECRET, OTHER = bytes(range(16)), bytes(range(1, 17))
KEYS: Keys = {1: Key(SECRET), 2: Key(OTHER)}
# 8 + 2 + 4 + 18 bits: a header of whole bytes.
WHOLE = ("sequence_bits = 16", "sequence_bits = 18")
SEALS = ("ccm4", "ccm8", "sign4", "sign8")


def sealed(seal: str, keys: Keys | None = KEYS, *changes: tuple[str, str]) -> Codec:
    schema = schema_of((WHOLE[0], f'{WHOLE[1]}\nseal = "{seal}"'), *changes)
    return Codec(compile_layout(schema), keys)


def record(sequence: int = 7, station: int = 1) -> Record:
    values = {"battery_mv": 3900, "state": [], "at": None, "restarts": 2, "sealed": None}
    return Record("health", values, station, sequence)


@pytest.mark.parametrize("seal", SEALS)
@given(counter=st.integers(0, (1 << 32) - 1), behind=st.integers(0, 100_000))
def test_a_sealed_frame_opens_by_its_whole_counter(seal: str, counter: int, behind: int) -> None:
    codec = sealed(seal)
    frame = codec.encode(record(counter))
    opened = codec.open(frame, expected={1: max(0, counter - behind)})
    assert opened.counter == counter
    assert opened.record == codec.decode(frame, expected={1: counter})
    assert opened.record.values["battery_mv"] == 3900
    assert opened.record.sequence == counter % (1 << 18)


@pytest.mark.parametrize("seal", SEALS)
def test_the_seal_takes_the_place_of_the_check(seal: str) -> None:
    codec, plain = sealed(seal), codec_of(WHOLE)
    longer = int(seal[-1]) - plain.layout.check.octets
    assert len(codec.encode(record())) == len(plain.encode(record())) + longer
    for mine, other in zip(codec.layout.messages, plain.layout.messages, strict=True):
        assert mine.most_frame_bytes == other.most_frame_bytes + longer


def test_encrypted_frames_hide_what_signed_ones_show() -> None:
    plain = codec_of(WHOLE).encode(record())[:-3]
    assert sealed("sign4").encode(record())[1:-4] == plain[1:]
    hidden = sealed("ccm4").encode(record())
    assert hidden[1:4] == plain[1:4]
    assert hidden[4:-4] != plain[4:]
    again = sealed("ccm4").encode(record(8))
    assert hidden[4:-4] != again[4:-4]


@pytest.mark.parametrize("seal", SEALS)
def test_any_flipped_bit_shuts_the_frame(seal: str) -> None:
    codec = sealed(seal)
    frame = codec.encode(record())
    for place in range(8 * len(frame)):
        changed = bytearray(frame)
        changed[place // 8] ^= 1 << place % 8
        with pytest.raises(DecodeError):
            codec.decode(bytes(changed))
    for length in range(len(frame)):
        with pytest.raises(DecodeError):
            codec.decode(frame[:length])
    with pytest.raises(DecodeError):
        codec.decode(frame + b"\0")


@pytest.mark.parametrize("seal", SEALS)
def test_another_key_counter_station_or_schema_does_not_open_it(seal: str) -> None:
    codec = sealed(seal)
    frame = codec.encode(record())
    beyond = 1 << 18
    for wrong in (
        sealed(seal, {1: Key(OTHER)}),
        sealed(
            seal,
            KEYS,
            ("version = 1", "version = 2"),
            ("tag_bits = 8", "tag_bits = 0"),
            ("station_bits = 4", "station_bits = 12"),
        ),
    ):
        with pytest.raises(DecodeError):
            wrong.decode(frame)
    with pytest.raises(DecodeError, match="replayed"):
        codec.decode(frame, expected={1: beyond})
    with pytest.raises(DecodeError, match="there is no key for station 1"):
        sealed(seal, {2: Key(OTHER)}).decode(frame)
    with pytest.raises(EncodeError, match="there is none for station 1"):
        sealed(seal, None).encode(record())


def test_the_nonce_and_what_is_authenticated_are_as_the_module_says() -> None:
    """The seal made once more by hand, from the page."""
    codec = sealed("ccm4")
    frame = codec.encode(record(0x12345678))
    identity = codec.layout.identity
    unsent = bytes([0]) + bytes(4) + len(frame).to_bytes(2, "big")
    nonce = (1).to_bytes(8, "big") + b"\0" + bytes.fromhex("12345678")
    plain = AESCCM(SECRET, 4).decrypt(nonce, frame[4:], identity + unsent + frame[:4])
    assert plain == codec_of(WHOLE).encode(record())[4:-3]


def test_stations_that_the_carrier_names_are_authenticated_too() -> None:
    without = ("station_bits = 4", "station_bits = 0"), (WHOLE[1], "sequence_bits = 22")
    codec = sealed("ccm4", {1: Key(SECRET), 2: Key(SECRET)}, *without)
    frame = codec.encode(record())
    assert codec.decode(frame, station=1).station == 1
    with pytest.raises(DecodeError):
        codec.decode(frame, station=2)


def test_repair_symbols_ride_inside_the_seal() -> None:
    repair = ("[policy]", '[repair]\nmessages = ["health"]\nwindow = 4\nstride = 1\n[policy]')
    codec = sealed("ccm4", KEYS, repair)
    assert codec.layout.repair is not None
    ring = Ring(codec.layout.repair, 1)
    for counter in range(6):
        opened = codec.open(codec.encode(record(counter), ring=ring))
        assert opened.repair is not None
        assert opened.repair.held == min(4, counter)


def test_a_header_that_ends_inside_a_byte_cannot_be_sealed() -> None:
    with pytest.raises(LayoutError, match=r"2 bits short of a byte.*sequence_bits = 18"):
        compile_layout(schema_of(("sequence_bits = 16", 'sequence_bits = 16\nseal = "ccm8"')))
    signed = schema_of(("sequence_bits = 16", 'sequence_bits = 16\nseal = "sign8"'))
    codec = Codec(compile_layout(signed), KEYS)
    assert codec.decode(codec.encode(record())).values["battery_mv"] == 3900


def test_the_seal_is_part_of_the_identity_and_openness_is_not() -> None:
    plain = codec_of(WHOLE).layout
    openly = compile_layout(schema_of((WHOLE[0], f'{WHOLE[1]}\nseal = "open"')))
    assert openly.identity == plain.identity
    identities = {sealed(seal).layout.identity for seal in SEALS}
    assert len({*identities, plain.identity}) == 5
    assert '"seal":"ccm4"' in canonical_form(sealed("ccm4").schema)
    told = compare_layouts(plain, sealed("ccm4").layout)
    assert any("seal" in line for line in told.reasons)


def test_a_check_beside_a_seal_is_refused() -> None:
    with pytest.raises(SchemaError, match="takes the place of a check; leave it out"):
        schema_of((WHOLE[0], f'{WHOLE[1]}\nseal = "ccm4"\ncheck = "crc24"'))


SENSITIVE = (
    ("report,status", "report,status,sensitivity"),
    (",active", ",active,"),
    (",retired", ",retired,"),
    ("otter,Lutra lutra,animal,priority,active,", "otter,Lutra lutra,animal,priority,active,0.1"),
)


@pytest.mark.parametrize("seal", ["", "sign4", "sign8"])
def test_a_sensitive_species_in_the_clear_is_refused_unless_said_openly(seal: str) -> None:
    line = f'\nseal = "{seal}"' if seal else ""
    with pytest.raises(SchemaError, match=r'otter is one.*set seal = "ccm4"'):
        schema_of((WHOLE[0], WHOLE[1] + line), *SENSITIVE)
    schema_of((WHOLE[0], f'{WHOLE[1]}\nseal = "open"'), *SENSITIVE)
    schema_of((WHOLE[0], f'{WHOLE[1]}\nseal = "ccm8"'), *SENSITIVE)


def test_a_sensitive_species_that_is_never_told_needs_no_seal() -> None:
    schema_of(
        *SENSITIVE[:3],
        ("heron,Ardea,animal,summary,retired,", "heron,Ardea,animal,summary,retired,1"),
    )


def test_keys_never_show() -> None:
    key = Key(SECRET)
    for text in (repr(key), str(key), f"{key}", repr({1: key}), repr(sealed("ccm4"))):
        assert SECRET.hex() not in text
        assert repr(SECRET) not in text
    with pytest.raises(EncodeError):
        pickle.dumps(key)
    with pytest.raises(EncodeError) as refused:
        Key(SECRET + b"!")
    assert "000102" not in str(refused.value)
    assert repr(SECRET)[2:-1] not in str(refused.value)


def test_without_the_package_one_line_says_what_to_install() -> None:
    code = (
        "import sys; sys.modules['cryptography'] = None\n"
        "sys.path.insert(0, 'tests')\n"
        "from small_schema import *\n"
        "from packcodec.errors import MissingPartError\n"
        "schema = schema_of(('sequence_bits = 16', 'sequence_bits = 18\\nseal = \"ccm4\"'))\n"
        "try: Codec(compile_layout(schema))\n"
        "except MissingPartError as error: print(error)"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout == (
        "a sealed schema needs cryptography, which is not installed; "
        "pip install 'packcodec[seal]'\n"
    )
