"""The card against the radio: every record of either is counted exactly once."""

from dataclasses import replace
from datetime import timedelta
from random import Random

from frame_stream import CODEC, EPOCH, summary
from hypothesis import given
from hypothesis import strategies as st

from packcodec.base.reconcile import Finding, reconcile
from packcodec.codec.record import Record


def record(hour: int, rows: int) -> Record:
    return Record("summary", summary(hour, rows)["values"], 3, hour)


def sighting(minute: int | None, species: str, individuals: int = 1) -> Record:
    at = None if minute is None else EPOCH + timedelta(minutes=minute)
    values = {"at": at, "species": species, "individuals": individuals}
    return Record("sighting", values, 3, 0)


def changed(one: Record, **values: object) -> Record:
    return replace(one, values={**one.values, **values})


def test_agreed_lost_left_out_and_contradicted() -> None:
    card = [record(0, 3), record(1, 3), record(2, 3), record(3, 3)]
    fitted = changed(card[1], rows=card[1].values["rows"][:1])
    wrong = changed(card[2], watched=7)
    found = reconcile(CODEC.schema, card, [card[0], fitted, wrong])
    assert [each.finding for each in found.compared] == [
        Finding.AGREED,
        Finding.LEFT_OUT,
        Finding.CONTRADICTED,
        Finding.LOST,
    ]
    assert found.compared[1].differences == ("rows: bittern", "rows: otter")
    assert found.compared[2].differences == ("watched: card 120, radio 7",)


def test_a_row_that_only_the_radio_has_contradicts() -> None:
    card = record(0, 1)
    radio = changed(card, rows=[*card.values["rows"], *record(0, 2).values["rows"][1:]])
    found = reconcile(CODEC.schema, [card], [radio])
    assert found.compared[0].differences == ("rows: heron is on the radio alone",)


def test_two_sightings_of_one_minute_are_two() -> None:
    card = [sighting(5, "otter", 1), sighting(5, "otter", 2), sighting(5, "heron", 1)]
    found = reconcile(CODEC.schema, card, [card[1], card[2]])
    assert [each.finding for each in found.compared] == [
        Finding.LOST,
        Finding.AGREED,
        Finding.AGREED,
    ]


def test_records_without_a_time_pair_only_where_they_are_equal() -> None:
    card = [sighting(None, "otter", 1), sighting(None, "otter", 2)]
    found = reconcile(CODEC.schema, card, [card[1], sighting(None, "heron")])
    assert [each.finding for each in found.compared] == [Finding.LOST, Finding.AGREED]
    assert len(found.only_radio) == 1


def test_the_radio_tells_how_much_less_of_each_species() -> None:
    card = [record(hour, 3) for hour in range(3, 9)]
    found = reconcile(CODEC.schema, card, card[:3])
    assert {name: told.card_visits for name, told in found.species.items()} == {
        "bittern": 6,
        "heron": 6,
        "otter": 6,
    }
    assert all(told.under_report == 0.5 for told in found.species.values())


@given(seed=st.integers(0, 2**32))
def test_the_sums_add_up(seed: int) -> None:
    draw = Random(seed)
    card = [record(hour, draw.randrange(5)) for hour in range(20)]
    card += [sighting(draw.randrange(5), draw.choice(["otter", "heron"])) for _ in range(5)]
    radio = []
    for each in [one for one in card if draw.random() < 0.7] + [record(50, 1)]:
        if each.message == "summary" and draw.random() < 0.3:
            each = changed(each, rows=each.values["rows"][:1])
        if draw.random() < 0.2 and each.message == "summary":
            each = changed(each, watched=60 * draw.randrange(60))
        radio.append(each)
    draw.shuffle(radio)
    found = reconcile(CODEC.schema, card, radio)
    counts = {finding: found.count(finding) for finding in Finding}
    assert sum(counts.values()) == len(card)
    paired = sum(each.radio is not None for each in found.compared)
    assert paired == len(card) - counts[Finding.LOST]
    assert paired + len(found.only_radio) == len(radio)
    assert sum(told.radio_records for told in found.species.values()) == sum(
        len(each.values["rows"]) for each in radio if each.message == "summary"
    )
