"""What a base can take, and what the erasure code wins back, measured on this machine.

    python tools/bench_base.py ingest [--frames 200000]   a file into SQLite, frames a second
    python tools/bench_base.py recovery [--intervals 30000]   delivered share by loss and burst
    python tools/bench_base.py airtime                     what the repair symbol costs on the air
    python tools/bench_base.py asking [--intervals 30000]  what a base gets that asks once a day
    python tools/bench_base.py flood [--frames 200000]     forged frames a second, and their rows

Needs `pip install packcodec[base,seal]`.
"""

from __future__ import annotations

import argparse
import resource
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from random import Random
from statistics import median
from time import perf_counter, process_time

from packcodec.base.failures import MOST_KEPT_A_DAY
from packcodec.base.simulate import (
    Losses,
    asked,
    bound,
    bursts,
    coded,
    independent,
    losses,
    plain,
    repeated,
)
from packcodec.edge.capture import Reader
from packcodec.edge.files import load
from packcodec.edge.receive import Receiver, Tally
from packcodec.edge.sources import FileSource
from packcodec.edge.store import Store
from packcodec.frame.codec import Codec
from packcodec.frame.repair import Ring
from packcodec.frame.seal import Key
from packcodec.layout.compiler import compile_layout
from packcodec.layout.model import RepairLayout
from packcodec.radio.airtime import airtime
from packcodec.radio.lora import Lora
from packcodec.schema.model import Repair
from packcodec.schema.words import repair_words

SCHEMA = Path(__file__).parent.parent / "packcodec" / "edge" / "demo_data" / "schema.toml"
STATIONS = range(1, 5)
MESSAGE_MIX = 3
PAYLOAD_BYTES = 12
FRAME_BYTES = 3 + PAYLOAD_BYTES + 3
LINK_BYTES = 13
A_DAY, LIST_BYTES = 24, 51

# (loss, mean bad spell or None) → the least that must be delivered.
BARS = {
    (0.2, None): 0.9995,
    (0.3, None): 0.999,
    (0.2, 4): 0.998,
    (0.3, 4): 0.99,
    (0.2, 12): 0.985,
    (0.3, 12): 0.94,
}
# In every frame, as is the default; and in some, with a longer window to make up for it.
CODES = (
    Repair(("summary",)),
    Repair(("summary",), window=64, every=4, symbols=3),
    Repair(("summary",), window=64, every=16, symbols=11),
    Repair(("summary",), window=96, every=8, symbols=5),
)
FACTORS = range(7, 13)
LEAST_INGEST = 20_000
MOST_AIRTIME = 1.30


def lines(codec: Codec, count: int, loss: float = 0.0, seed: int = 1) -> Iterator[str]:
    """A capture: hourly summaries of four stations, none to two rows each, season after season."""
    draw = Random(seed)
    labels = [row.label for row in codec.schema.species.rows if row.kind == "animal"]
    rings = {
        station: Ring(codec.layout.repair, station) for station in STATIONS if codec.layout.repair
    }
    epoch = codec.schema.epoch
    for at in range(count // len(STATIONS)):
        for station in STATIONS:
            rows = [
                {
                    "species": labels[(at + row) % len(labels)],
                    "visits": 1 + row,
                    "most": 1 + at % 8,
                    "first": 60 * (at % 50),
                    "last": 60 * (at % 50 + 5),
                    "confidence": 0.8,
                }
                for row in range(at % MESSAGE_MIX)
            ]
            values = {
                "start": epoch + timedelta(hours=at % 4000),
                "watched": 3600,
                "left_out": 0,
                "state": [],
                "rows": rows,
            }
            record = {"message": "summary", "values": values}
            frame = codec.encode(record, station=station, sequence=at, ring=rings.get(station))
            if draw.random() >= loss:
                received = epoch + timedelta(hours=at + 1, seconds=station)
                yield f"{frame.hex()} {received.isoformat()}\n"


def with_repair(codec: Codec) -> Codec:
    schema = replace(codec.schema, repair=Repair(("summary",), symbol_bytes=20))
    return Codec(compile_layout(schema))


def ingest(frames: int) -> bool:
    """Frames a second from a file into a new SQLite store, beside a bare executemany."""
    plain_codec = load(SCHEMA)
    good = True
    for name, codec, loss in (
        ("no repair", plain_codec, 0.0),
        ("repair, nothing lost", with_repair(plain_codec), 0.0),
        ("repair, 20 % lost", with_repair(plain_codec), 0.2),
    ):
        with tempfile.TemporaryDirectory() as folder:
            rate, cpu_rate, bare, refit = _ingest(codec, frames, loss, Path(folder))
        good &= rate >= LEAST_INGEST
        verdict = "ok" if rate >= LEAST_INGEST else f"BELOW {LEAST_INGEST:,}"
        print(
            f"{name}: {rate:,.0f} frames/s ({cpu_rate:,.0f} for each second of one processor); a "
            f"bare executemany of the same rows {bare:,.0f}, {bare / rate:.1f} times as many; the "
            f"look at the clocks when all is in {refit:,.0f}  [{verdict}]"
        )
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    return good


def _ingest(codec: Codec, frames: int, loss: float, folder: Path) -> tuple[float, ...]:
    """Frames a second: by the clock, by processor time, by rows written bare, and of a refit."""
    capture = folder / "capture.hex"
    with capture.open("w") as file:
        file.writelines(lines(codec, frames, loss))
    tally = Tally()
    store = Store.open(str(folder / "store.db"), [codec])
    source = FileSource(str(capture), Reader("bench"))
    receiver = Receiver(store, [source], on_events=tally.add, tell=print)
    start, start_cpu = perf_counter(), process_time()
    receiver.run()
    taken_s, cpu_s = perf_counter() - start, process_time() - start_cpu
    start = perf_counter()
    store.refit()
    refit_s = perf_counter() - start
    store.close()
    bare_s = median(_bare(folder) for _ in range(3))
    return tuple(tally.frames / each for each in (taken_s, cpu_s, bare_s, refit_s))


def _bare(folder: Path) -> float:
    """Seconds to write the rows of the store into the same tables of another, and nothing else."""
    with sqlite3.connect(folder / "store.db") as store:
        tables = {
            name: (sql, store.execute(f"SELECT * FROM {name}").fetchall())
            for name, sql in store.execute(
                "SELECT name, sql FROM sqlite_master WHERE name IN ('frame', 'reception')"
            ).fetchall()
        }
    bare = folder / "bare.db"
    bare.unlink(missing_ok=True)
    connection = sqlite3.connect(bare, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    start = perf_counter()
    for name, (sql, rows) in tables.items():
        connection.execute(sql)
        marks = ", ".join("?" * len(rows[0]))
        for at in range(0, len(rows), 2000):
            connection.execute("BEGIN")
            connection.executemany(f"INSERT INTO {name} VALUES ({marks})", rows[at : at + 2000])
            connection.execute("COMMIT")
    taken_s = perf_counter() - start
    connection.close()
    return taken_s


def recovery(intervals: int) -> bool:
    """Delivered shares beside their bars; the last span of intervals is not counted."""
    held = [_recovery(_layout(repair), intervals) for repair in CODES]
    return all(held)


def _recovery(repair: RepairLayout, intervals: int) -> bool:
    print(repair_words(repair.repair))
    span, good = repair.repair.span, True
    for (loss, mean), bar in BARS.items():
        draw = Random(7).random
        model: Losses = independent(loss, draw) if mean is None else bursts(loss, mean, draw)
        lost = losses(model, intervals)
        won = coded(repair, [*lost, *[False] * span], Random(1).random)
        share = (won.delivered - span) / intervals
        good &= share >= bar and won.wrong == 0
        kind = "independent" if mean is None else f"bursts of mean {mean}"
        most = bound(lost, repair.rate).share
        print(
            f"  {loss:.0%} {kind}: {share:.5f} (bar {bar}); once {plain(lost).share:.4f}, twice "
            f"{repeated(lost, 1).share:.4f}, bound {most:.4f}; 95 % within "
            f"{won.delay(0.95)} intervals; wrong {won.wrong}  "
            f"[{'ok' if share >= bar and not won.wrong else 'BELOW THE BAR'}]"
        )
    return good


def cost() -> bool:
    """Airtime with the symbols over airtime without, for a 12-byte summary on LoRa.

    The mean over the frames, of which only some carry a symbol. Good where some code of CODES
    keeps to the bar; that code's recovery is told by `recovery`.
    """
    good = True
    for name, link in (("LoRaWAN, 13 bytes around it", LINK_BYTES), ("bare LoRa", 0)):
        print(name)
        least = dict.fromkeys(FACTORS, 9.9)
        for repair in CODES:
            found = {sf: _factor(_layout(repair), sf, link) for sf in FACTORS}
            least = {sf: min(least[sf], factor) for sf, factor in found.items()}
            told = ", ".join(f"SF{sf} {factor:.2f}" for sf, factor in found.items())
            print(f"  {told}: {repair_words(repair)}")
        over = [f"SF{sf}" for sf, factor in least.items() if factor > MOST_AIRTIME]
        print(f"  bar {MOST_AIRTIME}: {'over at ' + ', '.join(over) if over else 'ok'}")
        good &= not over
    return good


def asking(intervals: int) -> bool:
    """Delivered shares where the base asks once a day, lists lost like frames, and what goes again.

    The last ten days of intervals lose nothing, and are not counted.
    """
    tail, good = 10 * A_DAY, True
    repair = _layout(CODES[0])
    for loss, mean in BARS:
        draw = Random(7).random
        model: Losses = independent(loss, draw) if mean is None else bursts(loss, mean, draw)
        lost = [*losses(model, intervals), *[False] * tail]
        told = []
        for coding in (None, (repair, Random(1).random)):
            won = asked(lost, independent(loss, Random(8).random), A_DAY, LIST_BYTES, coding)
            share = (won.delivered - tail) / intervals
            good &= won.wrong == 0
            told.append(
                f"{share:.5f}, {won.again / intervals:.3f} of the frames again, 95 % within "
                f"{won.delay(0.95)} intervals"
            )
        kind = "independent" if mean is None else f"bursts of mean {mean}"
        print(f"{loss:.0%} {kind}: asked {told[0]}; with the code {told[1]}")
    return good


def flood(frames: int) -> bool:
    """Forged frames a second into a new store beside real sealed ones, all within a day or two,
    and the rows that stay."""
    schema = load(SCHEMA).schema
    sealed = replace(schema.frame, seal="ccm4", sequence_bits=18)
    layout = compile_layout(replace(schema, frame=sealed))
    real, forger = (
        Codec(layout, {station: Key(bytes([each]) * 16) for station in STATIONS}) for each in (1, 2)
    )
    good = True
    for name, codec in (("real", real), ("forged", forger)):
        with tempfile.TemporaryDirectory() as folder:
            capture, tally = Path(folder) / "capture.hex", Tally()
            with capture.open("w") as file:
                for at, line in enumerate(lines(codec, frames)):
                    when = schema.epoch + at * timedelta(milliseconds=500)
                    file.write(f"{line.split()[0]} {when.isoformat()}\n")
            store = Store.open(str(Path(folder) / "store.db"), [real])
            source = FileSource(str(capture), Reader("bench"))
            start = perf_counter()
            Receiver(store, [source], on_events=tally.add, tell=print).run()
            rate = tally.frames / (perf_counter() - start)
            with store.engine.connect() as connection:
                rows = connection.exec_driver_sql("SELECT count(*) FROM stray").scalar_one()
            store.close()
        good &= rows <= len(STATIONS) * MOST_KEPT_A_DAY * (1 + frames // (2 * 86_400))
        print(
            f"{name}: {rate:,.0f} frames/s; {rows:,} rows of {tally.frames:,} that gave no record, "
            f"{tally.kinds['forgeries']} alarms"
        )
    return good


def _factor(repair: RepairLayout, sf: int, link_bytes: int) -> float:
    without = airtime(Lora(sf), link_bytes + FRAME_BYTES).airtime_us
    more = -(-repair.bits // 8)
    with_symbol = airtime(Lora(sf), link_bytes + FRAME_BYTES + more).airtime_us
    return 1 + (with_symbol / without - 1) * repair.repair.symbols / repair.repair.every


def _layout(repair: Repair) -> RepairLayout:
    return RepairLayout(repair, repair.window.bit_length(), PAYLOAD_BYTES + 1, 10)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("what", choices=("ingest", "recovery", "airtime", "asking", "flood"))
    parser.add_argument("--frames", type=int, default=200_000)
    parser.add_argument("--intervals", type=int, default=30_000)
    said = parser.parse_args()
    measures: dict[str, Callable[[], bool]] = {
        "ingest": lambda: ingest(said.frames),
        "recovery": lambda: recovery(said.intervals),
        "airtime": cost,
        "asking": lambda: asking(said.intervals),
        "flood": lambda: flood(said.frames),
    }
    return 0 if measures[said.what]() else 1


if __name__ == "__main__":
    raise SystemExit(main())
