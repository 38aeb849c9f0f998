"""Frames filled with as many elements as they take, in both codings."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Any, Literal

import pytest
from every_kind import schema_of
from hypothesis import given
from hypothesis import strategies as st

from packcodec.codec.record import Record
from packcodec.errors import EncodeError
from packcodec.frame import Codec
from packcodec.frame.fill import as_sets, batches, frame_bytes
from packcodec.layout import compile_layout
from packcodec.schema.model import Duration, Integer, ListOf, Repair, SpeciesCode, Time

Coding = Literal["fixed", "modelled"]
START = datetime(2027, 4, 2, 5, tzinfo=UTC)
STEP = timedelta(minutes=1)
AT = Time("at", 60, 172800, "wrap")
SEEN = ListOf(
    "seen",
    (
        Duration("after", Fraction(60), Fraction(3600), since="previous"),
        SpeciesCode("species"),
        Integer("individuals", 1, 8),
    ),
    1,
    60,
)


def codec_of(coding: Coding, *fields: Any) -> Codec:
    schema = schema_of(*fields, check="auto")
    return Codec(compile_layout(replace(schema, coding=coding)))


SIGHTINGS = st.lists(
    st.tuples(st.integers(0, 90), st.integers(0, 4), st.integers(1, 8)), min_size=1, max_size=90
)


def elements_of(drawn: list[tuple[int, int, int]]) -> list[tuple[datetime, dict[str, Any]]]:
    at, found = START, []
    for minutes, species, individuals in drawn:
        at += minutes * STEP
        found.append((at, {"species": f"label {species}", "individuals": individuals}))
    return found


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
@given(drawn=SIGHTINGS, limit_bytes=st.integers(14, 60))
def test_every_element_arrives_once_and_frames_are_full(
    coding: Coding, drawn: list[tuple[int, int, int]], limit_bytes: int
) -> None:
    codec = codec_of(coding, AT, SEEN)
    elements = elements_of(drawn)
    arrived = []
    taken = 0
    for record in batches(codec, "m", elements, limit_bytes, station=1):
        frame = codec.encode(record, sequence=0)
        assert len(frame) <= limit_bytes
        values = codec.decode(frame, received=elements[taken][0]).values
        at = values["at"]
        for row in values["seen"]:
            at += timedelta(seconds=row["after"])
            arrived.append((at, {"species": row["species"], "individuals": row["individuals"]}))
        taken = len(arrived)
        if taken < len(elements) and len(values["seen"]) < 60:
            gap = elements[taken][0] - elements[taken - 1][0]
            longer = {
                "at": record.values["at"],
                "seen": [*record.values["seen"], {**elements[taken][1], "after": gap}],
            }
            # It ended for one of two reasons: too long a gap, or no room for one more.
            assert gap > 60 * STEP or frame_bytes(codec, Record("m", longer)) > limit_bytes
    assert arrived == elements


def test_modelled_frames_take_more_of_what_is_usual() -> None:
    burst = elements_of([(1, 2, 1)] * 60)
    counts = {
        coding: len(next(batches(codec_of(coding, AT, SEEN), "m", burst, 30)).values["seen"])
        for coding in ("fixed", "modelled")
    }
    assert counts["modelled"] > 1.5 * counts["fixed"]


def test_what_is_no_batch_or_does_not_fit_is_refused() -> None:
    with pytest.raises(EncodeError, match="not a batch"):
        next(batches(codec_of("fixed", AT), "m", elements_of([(1, 1, 1)]), 30))
    with pytest.raises(EncodeError, match="no message"):
        next(batches(codec_of("fixed", AT, SEEN), "n", elements_of([(1, 1, 1)]), 30))
    with pytest.raises(EncodeError, match="not even one"):
        next(batches(codec_of("fixed", AT, SEEN), "m", elements_of([(1, 1, 1)]), 8))


def test_rows_of_one_species_each_are_put_in_order() -> None:
    rows = ListOf("rows", (SpeciesCode("species"), Integer("visits", 0, 7)), 0, 5)
    codec = codec_of("modelled", rows)
    two = [{"species": "label 3", "visits": 1}, {"species": "label 1", "visits": 2}]
    assert as_sets(codec, "m", {"rows": two}) == {"rows": two[::-1]}
    twice = [two[0], two[0], two[1]]
    assert as_sets(codec, "m", {"rows": twice}) == {"rows": twice}
    payload = codec.payloads["m"]
    assert len(payload.pack_values({"rows": two[::-1]})) <= len(payload.pack_values({"rows": two}))


def test_a_frame_past_the_largest_is_refused_not_cut() -> None:
    codec = codec_of("modelled", AT, ListOf("rows", (Integer("n", 0, (1 << 32) - 1),), 0, 255))
    laid_out = codec.layout.messages[0]
    assert laid_out.most_frame_bytes == 340
    rows = [{"n": 4_000_000_000 + at} for at in range(100)]
    with pytest.raises(EncodeError, match="the largest of this layout"):
        codec.encode({"message": "m", "values": {"at": START, "rows": rows}}, station=1, sequence=0)
    frame = codec.encode(
        {"message": "m", "values": {"at": START, "rows": rows[:80]}}, station=1, sequence=0
    )
    assert len(frame) <= 340


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
def test_a_repair_field_takes_its_room(coding: Coding) -> None:
    """Every second frame carries one; a record that does not know its sequence counts with it."""
    schema = replace(
        schema_of(AT, SEEN, check="auto"), coding=coding, repair=Repair(("m",), 12, every=2)
    )
    codec = Codec(compile_layout(schema))
    (record, *_) = batches(codec, "m", elements_of([(1, 2, 1)] * 60), 40, station=1)
    sizes = [len(codec.encode(record, sequence=sequence)) for sequence in (0, 1)]
    assert sizes[0] > sizes[1]
    assert sizes[0] <= 40
    assert frame_bytes(codec, record) == sizes[0]
    assert [frame_bytes(codec, replace(record, sequence=n)) for n in (0, 1)] == sizes
