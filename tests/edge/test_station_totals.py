"""Running totals go on after a power cut, and a station that lost them does not make them up."""

from fake_disk import Disk, Operation, after, cuts
from small_schema import codec_of
from station_bench import Bench

from packcodec.base.untold import Known, Untold, untold
from packcodec.edge.station import Station

TOTAL = '  { name = "sum", kind = "integer", low = 0, high = 4095, optional = true,'
ROWS = '  { name = "rows", kind'
CODEC = codec_of((ROWS, f'{TOTAL} total_of = "rows.visits" }},\n{ROWS}'))
# Of four rows of 15: 67 summaries may be unknown between two.
SILENCE = 68
LEAP = 8


def live(bench: Bench, hours: int) -> Station:
    station = bench.boot(leap=LEAP, checkpoint_s=0)
    for hour in range(hours):
        for species in ("coot", "teal", "snipe")[: 1 + hour % 3]:
            station.seen(species, None, 0.9)
        bench.run(station, 60, every_s=300)
    return station


def told(bench: Bench, lost: frozenset[int] = frozenset()) -> list[Untold]:
    """What a base makes of all frames but some, told by how many came before them."""
    records = [CODEC.decode(frame) for _, _, frame in bench.sent]
    known = [
        Known(each.sequence or 0, each.message, each.values)
        for number, each in enumerate(records)
        if number not in lost
    ]
    return list(untold(CODEC.schema, known))


def sums(bench: Bench) -> list[int | None]:
    return [each.values["sum"] for each in bench.records() if each.message == "summary"]


def visits(bench: Bench, number: int) -> int:
    rows = CODEC.decode(bench.sent[number][2]).values["rows"]
    return sum(row["visits"] for row in rows)


def test_the_visits_of_lost_summaries_are_known() -> None:
    bench = Bench(codec=CODEC)
    live(bench, 12)
    assert None not in sums(bench)
    [found] = told(bench, frozenset({4, 5, 6}))
    assert found.missing == 3
    assert found.counted == sum(visits(bench, number) for number in (4, 5, 6)) > 0


def test_a_cut_at_any_operation_neither_loses_nor_doubles_a_count() -> None:
    before = Bench(codec=CODEC)
    live(before, 6)
    log, tried = before.disk.log, 0
    for done in range(len(log) // 2, len(log)):
        sent = [each for each in before.sent if each[1] <= done]
        for partly in cuts(log[done], lambda length: [1, length - 1]):
            tried += 1
            again = Bench(Disk(after(log, done, partly)), codec=CODEC)
            again.sent = list(sent)
            again.now_s = sent[-1][0] + 60
            live(again, 4)
            # Every frame that went was heard: what lies between was never sent.
            assert [each for each in told(again) if each.counted != 0] == []
            assert None not in sums(again)
            lost = len(sent) - 1
            [found] = told(again, frozenset({lost}))
            starts = [each.values["start"] for each in again.records()]
            went_again = starts[lost] in starts[lost + 1 :]
            assert found.counted == (0 if went_again else visits(again, lost))
    assert tried > 100


def _full(operation: Operation) -> None:
    if operation[1] == "journal":
        raise OSError(28, "No space left on device")


def test_after_a_full_card_no_total_is_told_for_as_long_as_it_takes() -> None:
    bench = Bench(codec=CODEC)
    station = live(bench, 4)
    bench.disk.refuse = _full
    station.seen("rail")
    bench.run(station, 60, every_s=300)
    told_before = len(bench.sent)
    bench.disk.refuse = lambda _: None
    live(bench, SILENCE // 2)
    live(bench, SILENCE)
    after_it = sums(bench)[told_before:]
    assert after_it[:SILENCE] == [None] * SILENCE
    assert None not in after_it[SILENCE:]
    assert len(after_it) > SILENCE


def test_a_journal_that_is_gone_takes_the_totals_with_it() -> None:
    bench = Bench(codec=CODEC)
    live(bench, 4)
    del bench.disk.files["journal"]
    before = len(bench.sent)
    live(bench, 4)
    assert set(sums(bench)[before:]) == {None}


def test_a_line_of_the_journal_that_is_damaged_takes_the_totals_with_it() -> None:
    bench = Bench(codec=CODEC)
    live(bench, 4)
    *lines, end = bench.disk.files["journal"].split(b"\n")
    lines[-1] = b"#" * len(lines[-1])
    bench.disk.files["journal"] = b"\n".join([*lines, end])
    before = len(bench.sent)
    live(bench, 4)
    assert set(sums(bench)[before:]) == {None}
