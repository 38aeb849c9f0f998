"""Source: MicroPython 1.9.2 for the micro:bit, as Debian's firmware-microbit-micropython has it.

Emitted MicroPython on a port with integers of 31 bits and 9 KB of heap: the frames are ours, and
making one leaves the heap as it was.

Of modelled coding a message of three values fits, and so does a batch of sightings: compiled on the
device it takes 7.5 KB of heap, tables and all. A list that may go as a set is a little too much.
Stack is for six or seven calls in one another, as these walks make.
"""

from ast import literal_eval
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from every_kind import schema_of
from microbit import MISSING, Microbit
from whole_values import nested

from packcodec.emit import emit
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.schema.model import (
    Boolean,
    Duration,
    Enumeration,
    Field,
    Flags,
    Integer,
    ListOf,
    SpeciesCode,
    Time,
)

pytestmark = pytest.mark.skipif(bool(MISSING), reason=MISSING)

SIGHTING = schema_of(
    Time("at", 60, 15811200, "reject"),
    SpeciesCode("species"),
    Integer("individuals", 1, 8, clamp_above=True),
    Integer("temperature", -40, 85, unit="°C", optional=True),
    Flags("state", ("clock_unset", "restarted")),
    Enumeration("power", ("battery", "solar", "mains")),
    ListOf("rows", (Integer("wide", 0, (1 << 29) - 1), Boolean("lid")), 0, 3),
)
VALUES = {
    "at": "2027-09-30T23:59:00Z",
    "species": "label 3",
    "individuals": 12,
    "temperature": -7,
    "state": ["restarted"],
    "power": "mains",
    "rows": [{"wide": (1 << 29) - 1, "lid": True}, {"wide": 0, "lid": False}],
}


@pytest.fixture
def microbit() -> Iterator[Microbit]:
    device = Microbit()
    yield device
    device.stop()


@pytest.mark.parametrize("check", ["crc16", "crc24", "crc32"])
def test_frames_are_made_without_heap(microbit: Microbit, check: str) -> None:
    schema = schema_of(*SIGHTING.messages[0].fields, check=check)
    codec = Codec(compile_layout(schema))
    source = emit(codec.layout, "micropython")["every_kind_micro.py"]
    microbit.load(source.partition("class _Bits")[0])
    microbit.run(f"out = bytearray({codec.layout.messages[0].most_frame_bytes})")
    microbit.run(f"values = {nested(schema, schema.messages[0].fields, VALUES)}")
    said = microbit.run(
        "def measured():\n"
        "    gc.collect()\n"
        "    before = gc.mem_free()\n"
        "    n = 0\n"
        "    for sequence in range(20):\n"
        "        n = frame_m(out, 3, sequence, values)\n"
        "    print(before - gc.mem_free())\n"
        "    print(''.join('%02x' % octet for octet in out[:n]))\n"
        "measured()\n"
    )
    used, frame = said.split()
    assert frame == codec.encode({"message": "m", "values": VALUES}, station=3, sequence=19).hex()
    assert int(used) == 0


READING = (
    Time("at", 60, 43200),
    Integer("individuals", 1, 8, clamp_above=True),
    Integer("temperature", -40, 85, unit="°C", optional=True),
)
READ = {"at": "2027-04-01T23:59:00Z", "individuals": 12, "temperature": -7}
BATCH = (
    Time("at", 60, 43200),
    ListOf(
        "rows",
        (
            Duration("gap", 1, 600, since="previous"),
            SpeciesCode("species"),
            Integer("individuals", 1, 8, clamp_above=True),
        ),
        1,
        12,
    ),
)
SEEN = ((0, 2, 4), (60, 2, 5), (40, 1, 1), (3, 2, 4), (0, 4, 1), (9, 1, 2))
BATCHED = {
    "at": "2027-04-01T23:59:00Z",
    "rows": [
        {"gap": gap, "species": f"label {species}", "individuals": individuals}
        for gap, species, individuals in SEEN
    ],
}


@pytest.mark.parametrize(
    ("fields", "values"), [(READING, READ), (BATCH, BATCHED)], ids=["reading", "batch"]
)
def test_modelled_frames_are_made_without_heap(
    microbit: Microbit, fields: tuple[Field, ...], values: dict[str, Any]
) -> None:
    schema = replace(schema_of(*fields), coding="modelled")
    codec = Codec(compile_layout(schema))
    source = emit(codec.layout, "micropython")["every_kind_micro.py"]
    microbit.load(source.partition("class _Bits")[0])
    microbit.run(f"out = bytearray({codec.layout.messages[0].most_frame_bytes})")
    microbit.run(f"values = {nested(schema, fields, values)}")
    microbit.run("n = frame_m(out, 3, 5, values)\n")
    used = microbit.run(
        "gc.collect()\n"
        "before = gc.mem_free()\n"
        "for n in range(9):\n"
        " n = frame_m(out, 3, 5, values)\n"
        "print(before - gc.mem_free())\n"
    )
    assert int(used) == 0
    frame = codec.encode({"message": "m", "values": values}, station=3, sequence=5)
    assert literal_eval(microbit.run("print(list(out[:n]))\n")) == list(frame)
