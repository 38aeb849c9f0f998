"""The outbox's file: cut at every byte, rotten at every bit, and never longer than it must be."""

import pytest
from fake_disk import Disk

from packcodec.edge import journal as module
from packcodec.edge.journal import Journal
from packcodec.monitor import Change, Kept
from packcodec.monitor.outbox import Entry

LAYOUT = b"layout"


def entry(number: int) -> Entry:
    return Entry(number, "summary", bytes([number]), 1, 1000 * number)


def written(disk: Disk, changes: list[Change]) -> list[Kept]:
    """Write changes to a new journal; what is kept after none, one, two … of them."""
    journal, kept = Journal(disk("journal"), LAYOUT), Kept()
    states = [Kept()]
    for change in changes:
        kept.add(change)
        journal.add(change, lambda: kept)
        states.append(Kept.of_json(kept.to_json()))
    return states


CHANGES = [
    Change([entry(0)], state={"n": 0}),
    Change([entry(1), entry(2)], state={"n": 1}),
    Change(gone=[0], sent=5),
    Change([entry(3)], [1], state={"n": 3}),
    Change(gone=[2], sent=6),
]


def reopened(data: bytes) -> Journal:
    return Journal(Disk({"journal": data})("journal"), LAYOUT)


def test_a_cut_at_every_byte_leaves_the_changes_before_it() -> None:
    disk = Disk()
    states = written(disk, CHANGES)
    data = disk.files["journal"]
    ends = [place + 1 for place, byte in enumerate(data) if byte == ord("\n")]
    for cut in range(ends[0], len(data) + 1):
        journal = reopened(data[:cut])
        assert journal.kept == states[sum(end <= cut for end in ends)]
        assert journal.damaged == 0


def test_after_a_cut_what_is_added_is_not_spoilt_by_the_half_line() -> None:
    disk = Disk()
    states = written(disk, CHANGES)
    disk.files["journal"] = disk.files["journal"][:-3]
    journal = Journal(disk("journal"), LAYOUT)
    change = Change([entry(9)])
    journal.kept.add(change)
    journal.add(change, lambda: journal.kept)
    states[-2].add(change)
    assert reopened(disk.files["journal"]).kept == states[-2]


def test_a_rotten_line_costs_itself_and_is_counted() -> None:
    disk = Disk()
    written(disk, CHANGES)
    data = disk.files["journal"]
    head = data.index(b"\n") + 1
    for place in range(head, len(data) - 1):
        if data[place] == ord("\n") or data[place] ^ 4 == ord("\n"):
            continue
        journal = reopened(data[:place] + bytes([data[place] ^ 4]) + data[place + 1 :])
        assert journal.damaged == 1
        assert set(journal.kept.entries) <= {0, 1, 2, 3}
    assert reopened(b"\xff" + data[1:]).damaged == 1
    assert reopened(b"no journal\n").damaged == 1


def test_a_write_that_failed_is_made_good_by_the_next() -> None:
    disk, kept = Disk(), Kept()
    journal = Journal(disk("journal"), LAYOUT)

    def refuse(_: object) -> None:
        raise OSError(28, "No space left on device")

    for number in range(6):
        change = Change([entry(number)])
        kept.add(change)
        disk.refuse = refuse if number in (2, 3) else lambda _: None
        if number in (2, 3):
            with pytest.raises(OSError, match="No space"):
                journal.add(change, lambda: kept)
        else:
            journal.add(change, lambda: kept)
            assert reopened(disk.files["journal"]).kept == kept


@pytest.mark.parametrize("tidy", [False, True])
def test_the_file_is_rewritten_before_it_grows_long(
    monkeypatch: pytest.MonkeyPatch, tidy: bool
) -> None:
    monkeypatch.setattr(module, "APPENDS_BEFORE_REWRITE", 20)
    monkeypatch.setattr(module, "TIDY_LEFT", 5)
    disk, kept = Disk(), Kept()
    journal = Journal(disk("journal"), LAYOUT)
    longest = 0
    for number in range(100):
        change = Change([entry(number)], [number - 1])
        kept.add(change)
        journal.add(change, lambda: kept, tidy=tidy)
        longest = max(longest, disk.files["journal"].count(b"\n"))
        assert reopened(disk.files["journal"]).kept == kept
    assert longest == (16 if tidy else 21)
