"""The durable record of transmissions: cut at every byte, rotten at every byte, out of room."""

from pathlib import Path

import pytest

from packcodec.edge import ledger_store
from packcodec.edge.ledger_store import DiskFile, LedgerStore
from packcodec.errors import RadioError
from packcodec.radio.ledger import Limit, WindowLimit

LIMITS: list[Limit] = [WindowLimit("b", 30, 1_000)]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "ledger"


def waits(store: LedgerStore, airtime_us: int = 30) -> int | None:
    return store.ledger.earliest_start(airtime_us, 0, ["b"])


def two_records(path: Path) -> tuple[bytes, bytes]:
    """The file after the first of two transmissions, and after the second."""
    store = LedgerStore.create(DiskFile(path), LIMITS, 0)
    store.record(0, 10, ["b"])
    first = path.read_bytes()
    store.record(100, 20, ["b"])
    return first, path.read_bytes()


def test_what_was_recorded_before_the_power_cut_counts_after_it(path: Path) -> None:
    two_records(path)
    store = LedgerStore.open(DiskFile(path), LIMITS, 0)
    # Back at ledger time 120: the first left the window at 1010, the second at 1120.
    assert waits(store, 10) == 1_000 - 10 - (120 - 10)
    assert waits(store, 30) == 1_000 - 30


def test_a_trusted_clock_shortens_the_wait_by_the_time_it_saw(path: Path) -> None:
    store = LedgerStore.create(DiskFile(path), LIMITS, 0)
    store.record(0, 30, ["b"], trusted_us=5_000)
    back = LedgerStore.open(DiskFile(path), LIMITS, 0, trusted_us=5_400)
    assert waits(back) == 1_000 - 400
    again = LedgerStore.open(DiskFile(path), LIMITS, 0, trusted_us=5_300)
    assert waits(again) == 1_000 - 400


def test_a_trusted_clock_that_went_back_vouches_for_nothing(path: Path) -> None:
    store = LedgerStore.create(DiskFile(path), LIMITS, 0)
    store.record(0, 30, ["b"], trusted_us=5_000)
    assert waits(LedgerStore.open(DiskFile(path), LIMITS, 0, trusted_us=4_000)) == 1_000 - 30
    with pytest.raises(RadioError, match=r"trusted_us is 0\.5; give whole microseconds"):
        LedgerStore.open(DiskFile(path), LIMITS, 0, trusted_us=0.5)  # type: ignore[arg-type]


def test_a_cut_at_every_byte_of_an_append_keeps_all_that_was_synced(path: Path) -> None:
    first, second = two_records(path)
    assert second.startswith(first)
    for cut in range(len(first), len(second)):
        path.write_bytes(second[:cut])
        store = LedgerStore.open(DiskFile(path), LIMITS, 0)
        assert store.past == "1 transmissions on record"
        assert waits(store, 20) == 0
        assert waits(store, 21) == 1_000 - 21 - 9
        store.record(0, 20, ["b"])
        assert waits(LedgerStore.open(DiskFile(path), LIMITS, 0), 11) is not None


def test_a_flipped_bit_anywhere_costs_the_whole_budget(path: Path) -> None:
    _, whole = two_records(path)
    for place in range(len(whole) - 1):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 4]) + whole[place + 1 :])
        store = LedgerStore.open(DiskFile(path), LIMITS, 0)
        assert store.past.startswith("unknown past")
        assert waits(store) == 1_000 - 30


@pytest.mark.parametrize(
    "content", [None, b"", b"\n", b"\x00" * 64, b"00000000 \n", b"6dd28e9b 3\n"]
)
def test_without_a_record_the_budget_counts_as_just_spent(
    path: Path, content: bytes | None
) -> None:
    if content is not None:
        path.write_bytes(content)
    store = LedgerStore.open(DiskFile(path), LIMITS, 0)
    assert store.past.startswith("unknown past")
    assert waits(store) == 1_000 - 30
    # What was assumed is itself on record now: a second reboot starts from it.
    assert waits(LedgerStore.open(DiskFile(path), LIMITS, 0)) == 1_000 - 30


def test_a_record_kept_under_other_limits_says_nothing_of_these(path: Path) -> None:
    two_records(path)
    store = LedgerStore.open(DiskFile(path), [WindowLimit("b", 30, 2_000)], 0)
    assert store.past == "unknown past: the record was kept under other limits"
    assert waits(store) == 2_000 - 30


def test_a_station_that_has_sent_cannot_be_commissioned_again(path: Path) -> None:
    LedgerStore.create(DiskFile(path), LIMITS, 0)
    with pytest.raises(RadioError, match="would forget what was sent"):
        LedgerStore.create(DiskFile(path), LIMITS, 0)


def test_the_file_stays_small_over_a_season(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ledger_store, "APPENDS_BEFORE_REWRITE", 16)
    store = LedgerStore.create(DiskFile(path), LIMITS, 0)
    longest = 0
    for step in range(50):
        store.record(step * 1_000, 30, ["b"])
        longest = max(longest, path.read_bytes().count(b"\n"))
    assert 16 <= longest <= 20
    assert waits(LedgerStore.open(DiskFile(path), LIMITS, 0)) == 1_000 - 30


class FullDisk(DiskFile):
    """Writes half of what is appended, then says that there is no room, as long as it is full."""

    full = False

    def append(self, data: bytes) -> None:
        if self.full:
            super().append(data[: len(data) // 2])
            raise OSError(28, "No space left on device")
        super().append(data)

    def replace(self, data: bytes) -> None:
        if self.full:
            raise OSError(28, "No space left on device")
        super().replace(data)


def test_a_full_disk_forbids_the_transmission_and_spoils_nothing(path: Path) -> None:
    disk = FullDisk(path)
    store = LedgerStore.create(disk, LIMITS, 0)
    store.record(0, 10, ["b"])
    disk.full = True
    for start_us in (100, 200):
        with pytest.raises(RadioError, match=r"No space left on device; do not transmit"):
            store.record(start_us, 5, ["b"])
    disk.full = False
    store.record(300, 5, ["b"])
    back = LedgerStore.open(DiskFile(path), LIMITS, 0)
    # The two that were refused still count: too careful rather than too bold.
    assert back.past == "4 transmissions on record"


def test_a_folder_in_place_of_the_file_is_one_clear_error(path: Path) -> None:
    path.mkdir()
    with pytest.raises(RadioError, match=r"ledger: the record of transmissions cannot be read"):
        LedgerStore.open(DiskFile(path), LIMITS, 0)
