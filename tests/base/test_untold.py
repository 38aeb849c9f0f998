"""Running totals: what is told of a lost stretch is exact, or it is said to be unknown."""

from collections.abc import Iterator
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packcodec.base.untold import Known, Untold, Why, summed, untold
from packcodec.codec.record import AtLeast, AtMost
from packcodec.codec.totals import running_totals
from packcodec.emit import emit
from packcodec.errors import SchemaError
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.monitor.totals import Totals
from packcodec.schema import read_schema

TOML = """
[schema]
name = "sedgemere_totals"
version = 1
epoch = 2027-04-01T00:00:00Z

[frame]
tag_bits = 8
message_bits = 2
station_bits = 4
sequence_bits = 10

[message.health]
code = 0
fields = [{ name = "mv", kind = "integer", low = 0, high = 7 }]

[message.summary]
code = 1
fields = [
  { name = "sum", kind = "integer", low = 0, high = 63, optional = true, total_of = "rows.visits" },
  { name = "rows", kind = "list", least = 0, most = 3, fields = [
    { name = "visits", kind = "integer", low = 0, high = 3, above = "clamp" },
  ] },
]
"""
SCHEMA = read_schema(TOML, "")
MOST = 9
(TOTAL,) = running_totals(SCHEMA.messages[1])


def test_what_one_record_counts() -> None:
    assert (TOTAL.modulus, TOTAL.most, TOTAL.bridged, TOTAL.silence) == (64, MOST, 6, 7)
    rows = [{"visits": 2}, {"visits": AtLeast(3)}]
    assert TOTAL.counted({"rows": rows}) == 5
    assert TOTAL.counted({"rows": None}) == 0
    bounds = [{"visits": {"at_least": 3}}, {"visits": {"at_most": 1}}, {"visits": AtMost(1)}]
    assert TOTAL.counted({"rows": bounds}) == 5


def test_a_count_of_the_message_itself_has_a_total_as_well() -> None:
    total = '{ name = "all", kind = "integer", low = 0, high = 63, optional = true, '
    mv = '{ name = "mv", kind = "integer", low = 0, high = 7 }'
    schema = read_schema(TOML.replace(mv, f'{mv}, {total}total_of = "mv" }}'), "")
    (of_mv,) = running_totals(schema.messages[0])
    assert (of_mv.most, of_mv.bridged, of_mv.counted({"mv": 5, "all": 40})) == (7, 8, 5)
    known = [Known(4, "health", {"mv": 1, "all": 5}), Known(6, "health", {"mv": 3, "all": 10})]
    assert list(untold(schema, known)) == [Untold("health", "mv", 5, 6, 1, 2)]


class Station:
    """A station with luck as bad as can be: what it sends, and what it really counted."""

    def __init__(self, seed: int, busy: float) -> None:
        self.draw = Random(seed)
        self.busy = busy
        self.counter = 0
        self.entry = 0
        self.totals = Totals(SCHEMA.messages, fresh=True)
        self.kept: Any = None
        self.counted: dict[int, int] = {}

    def frames(self, number: int) -> Iterator[tuple[int, str, int, dict[str, Any]]]:
        """Counter, message, entry and values of each frame, in order."""
        while self.counter < number:
            fate = self.draw.random()
            if fate < 0.05:
                yield self.counter, "health", -1, {"mv": 3}
                self.counter += 1
            elif fate < 0.07:
                self._starts_anew(lost=False)
            elif fate < 0.09:
                self._starts_anew(lost=True)
            else:
                yield from self._summary()

    def _starts_anew(self, *, lost: bool) -> None:
        self.counter += self.draw.randrange(8)
        kept = None if lost else self.kept
        self.totals = Totals(SCHEMA.messages, kept, fresh=self.counter == 0)

    def _summary(self) -> Iterator[tuple[int, str, int, dict[str, Any]]]:
        self.entry += 1
        busy = self.draw.random() < self.busy
        rows = [
            {"visits": 3 if busy else self.draw.randrange(4)}
            for _ in range(3 if busy else self.draw.randrange(4))
        ]
        self.counted[self.entry] = sum(row["visits"] for row in rows)
        # A radio that fails makes the same record go again under the next number.
        for _ in range(self.draw.choice((1,) * 9 + (2,))):
            values = self.totals.told("summary", self.entry, {"rows": rows})
            cut = {**values, "rows": rows[: self.draw.choice((3, 3, 1))]}
            self.totals.count("summary", self.entry, cut)
            self.kept = self.totals.state()
            yield self.counter, "summary", self.entry, cut
            self.counter += 1


@given(
    seed=st.integers(0, 2**32),
    busy=st.sampled_from([0.0, 0.5, 1.0]),
    loss=st.sampled_from([0.0, 0.1, 0.3, 0.6, 0.8, 0.9]),
)
def test_the_sum_over_any_loss_is_exact_or_unknown(seed: int, busy: float, loss: float) -> None:
    station, draw = Station(seed, busy), Random(seed)
    sent = {frame[0]: frame for frame in station.frames(150) if draw.random() >= loss}
    known = [Known(counter, frame[1], frame[3]) for counter, frame in sent.items()]
    for each in untold(SCHEMA, known):
        _, _, before, _ = sent[each.first - 1]
        _, _, after, values = sent[each.last]
        between = [at for at in range(each.first, each.last) if at not in sent]
        assert each.missing == len(between)
        if each.counted is None:
            assert each.why in (Why.NO_TOTAL, Why.TOO_LONG)
            continue
        really = sum(station.counted[entry] for entry in range(before + 1, after + 1))
        assert each.counted == really - (TOTAL.counted(values) if after > before else 0)


@given(seed=st.integers(0, 2**32), loss=st.sampled_from([0.1, 0.3]))
def test_told_and_untold_are_all_there_is(seed: int, loss: float) -> None:
    """As long as the station keeps its totals and no stretch is too long."""
    draw = Random(seed)
    totals, records, truth = Totals(SCHEMA.messages, fresh=True), [], []
    for counter in range(100):
        rows = [{"visits": draw.randrange(4)} for _ in range(draw.randrange(4))]
        values = totals.told("summary", counter, {"rows": rows})
        totals.count("summary", counter, values)
        truth.append(sum(row["visits"] for row in rows))
        records.append(Known(counter, "summary", values))
    heard = [each for each in records[1:-1] if draw.random() >= loss]
    heard = [records[0], *heard, records[-1]]
    found = list(untold(SCHEMA, heard))
    ((counted, unknown),) = summed(found).values() or ((0, 0),)
    told = sum(TOTAL.counted(each.values or {}) for each in heard)
    if unknown:
        assert any(each.missing > TOTAL.bridged for each in found)
    else:
        assert counted + told == sum(truth)


def record(counter: int, total: int | None, *visits: int) -> Known:
    return Known(counter, "summary", {"sum": total, "rows": [{"visits": v} for v in visits]})


@pytest.mark.parametrize(
    ("known", "found"),
    [
        ([record(4, 5, 2), record(5, 8, 3)], []),
        ([record(4, 5, 2), record(7, 60, 3)], [(5, 7, 2, 52, None)]),
        ([record(4, 62, 2), record(6, 2, 3)], [(5, 6, 1, 1, None)]),
        ([record(4, 5, 2), record(5, 10, 3)], [(5, 5, 0, 2, None)]),
        ([record(4, 5, 2), record(5, 5, 2)], []),
        ([record(4, 5, 2), record(6, 7, 3)], [(5, 6, 1, None, Why.CONTRADICTED)]),
        ([record(4, 5, 2), record(6, None), record(8, 9, 1)], [
            (5, 6, 1, None, Why.NO_TOTAL), (7, 8, 1, None, Why.NO_TOTAL)]),
        ([record(4, 5, 2), record(12, 9, 1)], [(5, 12, 7, None, Why.TOO_LONG)]),
        ([record(4, 5, 2), record(11, 9, 1)], [(5, 11, 6, 3, None)]),
        ([record(4, 5, 2), record(4, 9, 3), record(7, 60, 3)], [(5, 7, 2, 52, None)]),
        ([record(4, 5, 2), *(Known(at) for at in range(5, 11)), record(12, 9, 1)],
         [(5, 12, 1, 3, None)]),
        ([record(4, 5, 2), Known(6, foreign=True), record(7, 9, 1)],
         [(5, 7, 1, None, Why.NO_TOTAL)]),
    ],
)  # fmt: skip
def test_stretches(known: list[Known], found: list[tuple[Any, ...]]) -> None:
    expected = [
        Untold("summary", "rows.visits", first, last, missing, counted, why)
        for first, last, missing, counted, why in found
    ]
    assert list(untold(SCHEMA, known)) == expected


def test_a_sum_says_how_many_stretches_are_unknown() -> None:
    known = [record(1, 5), record(3, None), record(5, 9), record(7, 12, 1), record(8, 20, 3)]
    assert summed(untold(SCHEMA, known)) == {("summary", "rows.visits"): (7, 2)}


GOOD = 'low = 0, high = 63, optional = true, total_of = "rows.visits"'


@pytest.mark.parametrize(
    ("bad", "key", "remedy"),
    [
        (GOOD.replace("63", "60"), "high", "high = 4095"),
        (GOOD.replace("63", "7"), "high", "one record may count 9"),
        (GOOD.replace("low = 0", "low = -1"), "high", "use low = 0"),
        (GOOD.replace(", optional = true", ""), "sum", "set optional = true"),
        (GOOD.replace("true", "false"), "optional", "set optional = true"),
        (GOOD.replace("rows.visits", "rows.visit"), "total_of", "from 0 up: rows.visits"),
        (GOOD.replace("rows.visits", "rows"), "total_of", "rows.visits"),
        (GOOD.replace("rows.visits", "sum"), "total_of", "rows.visits"),
        (GOOD + ', above = "clamp"', "above", "leave it out"),
    ],
)
def test_what_is_no_running_total_is_refused(bad: str, key: str, remedy: str) -> None:
    with pytest.raises(SchemaError) as refused:
        read_schema(TOML.replace(GOOD, bad), "")
    assert key in str(refused.value.place) + refused.value.problem
    assert remedy in str(refused.value)


def test_a_total_within_a_list_is_refused() -> None:
    inner = '{ name = "n", kind = "integer", low = 0, high = 63, total_of = "visits" },'
    with pytest.raises(SchemaError, match="move it out of the list"):
        read_schema(TOML.replace("fields = [\n    {", f"fields = [\n    {inner}\n    {{"), "")


def test_it_is_part_of_the_identity_and_on_the_air_a_plain_integer() -> None:
    plain = read_schema(TOML.replace(', total_of = "rows.visits"', ""), "")
    codecs = [Codec(compile_layout(schema)) for schema in (SCHEMA, plain)]
    assert codecs[0].layout.identity != codecs[1].layout.identity
    values = {"sum": 37, "rows": [{"visits": 3}]}
    one, other = (codec.payloads["summary"].pack_values(values) for codec in codecs)
    assert one == other
    texts = ["".join(emit(codec.layout, "asn1").values()) for codec in codecs]
    assert all("sum INTEGER (0..63) OPTIONAL" in text for text in texts)
