"""The erasure code: what it gives back is what was sent, and what cannot be proved stays back."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from random import Random
from typing import Any

import pytest
from frame_stream import CODEC, frames_of, summary
from hypothesis import given
from hypothesis import strategies as st

from packcodec.errors import CarrierError, DecodeError, EncodeError, Reason
from packcodec.frame.codec import Codec
from packcodec.frame.explain import explain
from packcodec.frame.gf256 import multiply
from packcodec.frame.repair import (
    HORIZON_SPANS,
    Contradiction,
    RepairField,
    Ring,
    Solver,
    coefficients,
)
from packcodec.frame.source import Sources
from packcodec.layout import compile_layout
from packcodec.layout.model import RepairLayout
from packcodec.schema import Boolean, Integer, Message, Repair


def layout_of(window: int, stride: int, symbol_bytes: int = 3) -> RepairLayout:
    return RepairLayout(Repair(("summary",), None, window, stride), 6, symbol_bytes, 10)


def stream(layout: RepairLayout, count: int, seed: int) -> list[tuple[bytes, RepairField]]:
    draw = Random(seed)
    ring = Ring(layout, 7)
    sources = [draw.randbytes(layout.symbol_bytes) for _ in range(count)]
    return [(source, ring.advance(at, source)) for at, source in enumerate(sources)]


def test_coefficients_are_fixed() -> None:
    """Golden: a station in the field and a base must draw the same ones for ever."""
    assert coefficients(3, 700, 8).hex() == GOLDEN
    assert coefficients(3, 700, 32)[:8].hex() == GOLDEN
    assert len({coefficients(station, 700, 32) for station in range(64)}) == 64
    assert 0 not in coefficients(0, 0, 255)


GOLDEN = "74f34cf22bc64cd5"


@given(
    window=st.integers(1, 10),
    stride=st.integers(1, 3),
    seed=st.integers(0, 2**32),
    loss=st.floats(0.05, 0.7),
)
def test_what_is_given_back_is_what_was_sent(
    window: int, stride: int, seed: int, loss: float
) -> None:
    layout = layout_of(window, stride)
    draw = Random(seed)
    sent = stream(layout, 150, seed)
    solver = Solver(layout, 7)
    lost = {at for at in range(150) if draw.random() < loss}
    given_back: set[int] = set()
    for at, (source, field) in enumerate(sent):
        if at in lost:
            continue
        for recovered in solver.heard(at, source, field):
            assert recovered.counter in lost
            assert recovered.counter not in given_back
            assert recovered.source == sent[recovered.counter][0]
            given_back.add(recovered.counter)


@given(
    seed=st.integers(0, 2**32),
    loss=st.floats(0.2, 0.6),
    order=st.sampled_from(["in order", "late", "twice"]),
)
def test_nothing_provable_is_held_back(seed: int, loss: float, order: str) -> None:
    """Against elimination of the whole system at once, with no horizon and no shortcuts."""
    layout = layout_of(6, 2)
    count = HORIZON_SPANS * layout.repair.span
    draw = Random(seed)
    sent = stream(layout, count, seed)
    heard = [at for at in range(count) if draw.random() >= loss]
    arrivals = list(heard)
    if order == "late":
        # Nothing arrives so late that the horizon would have moved past it.
        arrivals.sort(key=lambda at: at + draw.randrange(8))
    if order == "twice":
        arrivals = [at for at in arrivals for _ in range(2)]
    solver = Solver(layout, 7)
    given_back = {recovered.counter for at in arrivals for recovered in solver.heard(at, *sent[at])}
    assert given_back - set(heard) == provable(layout, heard, sent)


def provable(
    layout: RepairLayout, heard: list[int], sent: list[tuple[bytes, RepairField]]
) -> set[int]:
    """The unknowns that dense elimination over GF(256) determines."""
    rows = []
    stride = layout.repair.stride
    for at in heard:
        factors = coefficients(7, at, sent[at][1].held)
        row = {at - stride * (slot + 1): factor for slot, factor in enumerate(factors)}
        unknown = {each: factor for each, factor in row.items() if each not in heard}
        if unknown:
            rows.append(unknown)
    reduced: list[dict[int, int]] = []
    while rows:
        row = rows.pop()
        pivot = min(row)
        scale = _inverse(row[pivot])
        row = {each: multiply(factor, scale) for each, factor in row.items()}
        reduced = [_less(other, row, pivot) for other in reduced]
        rows = [left for other in rows if (left := _less(other, row, pivot))]
        reduced.append(row)
    return {each for row in reduced if len(row) == 1 for each in row}


@cache
def _inverse(element: int) -> int:
    return next(other for other in range(1, 256) if multiply(element, other) == 1)


def _less(row: dict[int, int], other: dict[int, int], pivot: int) -> dict[int, int]:
    factor = row.get(pivot, 0)
    both = {
        each: row.get(each, 0) ^ multiply(factor, other.get(each, 0))
        for each in row.keys() | other.keys()
    }
    return {each: left for each, left in both.items() if left}


def test_a_long_silence_neither_confuses_nor_stays() -> None:
    layout = layout_of(8, 3)
    sent = stream(layout, 1000, 1)
    solver = Solver(layout, 7)
    for at in (*range(0, 100), *range(700, 1000)):
        for recovered in solver.heard(at, *sent[at]):
            assert recovered.source == sent[recovered.counter][0]


def test_a_late_frame_that_was_won_back_adds_nothing() -> None:
    layout = layout_of(4, 1)
    sent = stream(layout, 10, 5)
    solver = Solver(layout, 7)
    won = [r for at in (0, 1, 3, 4, 5) for r in solver.heard(at, *sent[at])]
    assert [each.counter for each in won] == [2]
    assert solver.heard(2, *sent[2]) == []


def test_a_late_frame_that_belies_what_was_won_back_is_refused() -> None:
    layout = layout_of(4, 1)
    sent = stream(layout, 20, 5)
    solver = Solver(layout, 7)
    assert [r for at in (0, 1, 3, 4) for r in solver.heard(at, *sent[at])]
    with pytest.raises(Contradiction):
        solver.heard(2, b"\xff\xff\xff")
    assert solver.heard(2, b"\xff\xff\xff") == [], "what was heard is what is known"


def test_equations_that_cannot_both_be_true_are_refused() -> None:
    layout = layout_of(4, 1)
    sent = stream(layout, 20, 5)
    solver = Solver(layout, 7)
    for at in (0, 1, 4):
        assert solver.heard(at, *sent[at]) == []
    source, field = sent[4]
    with pytest.raises(Contradiction):
        solver.heard(4, source, RepairField(field.held, bytes(3)))
    assert solver.heard(5, *sent[5]) == [], "the first of the two was forgotten with the second"


@given(count=st.integers(0, 40))
def test_a_ring_outlasts_a_reboot(count: int) -> None:
    layout = layout_of(5, 2)
    ring = Ring(layout, 7)
    for at in range(count):
        ring.advance(at, bytes([at, 1, 2]))
    again = Ring.resumed(layout, 7, ring.sources, count)
    assert again.sources == ring.sources
    assert again.advance(count, bytes(3)) == ring.advance(count, bytes(3))


@given(count=st.integers(1, 20), unused=st.integers(0, 25))
def test_numbers_never_used_are_zeros_in_a_ring_that_knows(count: int, unused: int) -> None:
    layout = layout_of(5, 2)
    ring, other = Ring(layout, 7), Ring(layout, 7)
    for at in range(count):
        ring.advance(at, bytes([at + 1, 1, 2]))
        other.advance(at, bytes([at + 1, 1, 2]))
    for at in range(count, count + unused):
        other.advance(at, bytes(3))
    again = Ring.resumed(layout, 7, ring.sources, count + unused)
    if unused < layout.repair.span:
        assert again.sources == other.sources
        assert again.advance(other.next, bytes(3)) == other.advance(other.next, bytes(3))
    else:
        assert again.sources == {}


def test_a_leap_of_the_counter_empties_the_ring() -> None:
    layout = layout_of(5, 1)
    ring = Ring(layout, 7)
    for at in range(8):
        ring.advance(at, bytes([at, 1, 2]))
    assert ring.advance(64, bytes(3)) == RepairField(0, bytes(3))
    assert ring.advance(65, bytes(3)).held == 1


def test_frames_carry_records_through_losses() -> None:
    frames = frames_of(240)
    solver = Solver(CODEC.layout.repair, 3)  # type: ignore[arg-type]
    lost = {at for at in range(240) if at % 5 == 2 or 100 <= at < 112}
    won = {}
    for at, frame in enumerate(frames):
        if at in lost:
            with pytest.raises(KeyError):
                won[at]
            continue
        opened = CODEC.open(frame)
        for recovered in solver.heard(at, opened.source, opened.repair):
            won[recovered.counter] = CODEC.reopen(
                recovered.source, station=3, sequence=recovered.counter
            )
    assert {at for at in lost if at < 230} <= won.keys()
    for at, record in won.items():
        assert record.values == CODEC.decode(frames[at]).values


def test_a_payload_too_long_for_the_symbol_says_so_with_zeros() -> None:
    frames = frames_of(100, rows=lambda at: 12 if at == 50 else 1)
    solver = Solver(CODEC.layout.repair, 3)  # type: ignore[arg-type]
    won = [
        recovered
        for at, frame in enumerate(frames)
        if at not in (50, 51)
        for opened in [CODEC.open(frame)]
        for recovered in solver.heard(at, opened.source, opened.repair)
    ]
    sources = {each.counter: each.source for each in won}
    assert not any(sources[50])
    assert (
        CODEC.reopen(sources[51], station=3, sequence=51).values == CODEC.decode(frames[51]).values
    )
    with pytest.raises(DecodeError):
        CODEC.reopen(sources[50], station=3, sequence=50)


def test_a_frame_made_without_a_ring_covers_nothing() -> None:
    opened = CODEC.open(CODEC.encode(summary(0, 1), station=3, sequence=9))
    assert opened.repair == RepairField(0, bytes(20))


def test_what_a_frame_covers_is_explained() -> None:
    told = [
        part.meaning.partition(",")[0]
        for frame in frames_of(8)
        for part in explain(CODEC, frame).parts
        if part.name == "repair held"
    ]
    assert {"covers 0 earlier frames", "covers 1 earlier frame"} < set(told)


@pytest.mark.parametrize(("symbols", "turn"), [(1, "x..."), (3, "x.xx")])
def test_only_the_messages_named_and_only_so_many_frames_carry_it(symbols: int, turn: str) -> None:
    assert CODEC.schema.repair is not None
    repair = replace(CODEC.schema.repair, every=4, symbols=symbols)
    schema = replace(CODEC.schema, repair=repair)
    codec = Codec(compile_layout(schema))
    carried = [
        codec.open(codec.encode(summary(0, 1), station=3, sequence=at)).repair is not None
        for at in range(8)
    ]
    assert carried == [each == "x" for each in turn] * 2
    sighting = {"message": "sighting", "values": {"species": "otter", "individuals": 1}}
    assert codec.open(codec.encode(sighting, station=3, sequence=0)).repair is None


def test_the_sequence_must_be_known() -> None:
    frame = replace(CODEC.schema.frame, sequence_bits=0)
    codec = Codec(compile_layout(replace(CODEC.schema, frame=frame)))
    with pytest.raises(EncodeError, match="whole counter"):
        codec.encode(summary(0, 1), station=3)
    sent = codec.encode(summary(0, 1), station=3, sequence=9)
    with pytest.raises(CarrierError, match="sequence"):
        codec.decode(sent)
    assert codec.decode(sent, sequence=9).sequence == 9


def test_a_field_that_says_too_much_is_refused() -> None:
    with pytest.raises(DecodeError) as refused:
        spoiled(CODEC, lambda bits: bits | 0b111111 << 160)
    assert refused.value.reason == Reason.OUT_OF_RANGE
    with pytest.raises(DecodeError) as refused:
        short(CODEC)
    assert refused.value.reason == Reason.WRONG_LENGTH


def test_a_field_holds_the_window_at_the_most_and_ends_within_the_frame() -> None:
    layout = layout_of(window=12, stride=1, symbol_bytes=1)
    sources = Sources(layout, 1)
    held, rest = sources.field("summary", 0, 12 << 8 | 0xAB, layout.bits)
    assert (held, rest) == (RepairField(12, b"\xab"), 0)
    for x, n, reason in (
        (13 << 8, layout.bits, Reason.OUT_OF_RANGE),
        (0, layout.bits - 1, Reason.WRONG_LENGTH),
    ):
        with pytest.raises(DecodeError) as refused:
            sources.field("summary", 0, x, n)
        assert refused.value.reason == reason


def test_a_symbol_with_no_room_for_the_message_itself_holds_nothing() -> None:
    sources = Sources(layout_of(window=12, stride=1, symbol_bytes=1), 200)
    assert sources.source(200, 0, 0) == b"\0"


def spoiled(codec: Codec, change: Callable[[int], int]) -> Any:
    """A frame that passes its check with a repair field that no station makes."""
    assert codec.layout.repair is not None
    repair = codec.layout.repair
    other = Codec(codec.layout)
    frame = codec.encode(summary(0, 0), station=3, sequence=9)
    octets = codec.layout.check.octets
    n = 8 * (len(frame) - octets) - codec.layout.header_bits - repair.bits
    data = int.from_bytes(frame[:-octets], "big")
    data ^= change(0) << n
    return other.decode(_checked(codec, data.to_bytes(len(frame) - octets, "big")))


def short(codec: Codec) -> Any:
    frame = codec.encode(summary(0, 0), station=3, sequence=9)
    return codec.decode(_checked(codec, frame[:8]))


def _checked(codec: Codec, data: bytes) -> bytes:
    check = codec.check(data, 1, 3)
    return data + check.to_bytes(codec.layout.check.octets, "big")


def test_a_message_that_says_nothing_is_a_repair_frame_of_its_own() -> None:
    schema = replace(
        CODEC.schema,
        messages=(
            Message("plain", 0, (Boolean("dark"),)),
            Message("repair", 1, (Integer("nothing", 0, 0),)),
        ),
        repair=Repair(("repair",), None, 4, 1),
    )
    codec = Codec(compile_layout(schema))
    ring, solver = Ring(codec.layout.repair, 3), Solver(codec.layout.repair, 3)  # type: ignore[arg-type]
    frames = [
        codec.encode(
            {"message": "repair", "values": {"nothing": 0}}
            if at % 3 == 2
            else {"message": "plain", "values": {"dark": at % 2 == 0}},
            station=3,
            sequence=at,
            ring=ring,
        )
        for at in range(12)
    ]
    won = [
        codec.reopen(recovered.source, station=3, sequence=recovered.counter)
        for at, frame in enumerate(frames)
        if at != 7
        for opened in [codec.open(frame)]
        for recovered in solver.heard(at, opened.source, opened.repair)
    ]
    assert [(each.sequence, each.values) for each in won] == [(7, {"dark": False})]
