"""The main job on invented data, start to end, in a folder of its own."""

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path
from typing import Literal

from packcodec.budget.plan import Budget, Supply, plan_budget
from packcodec.budget.verdict import nearest_percent, percent
from packcodec.codec.record import Record
from packcodec.edge.demo_air import REPAIR, SCHEMA, run_demo_air
from packcodec.edge.demo_publish import DATA as PUBLISHED_WITH
from packcodec.edge.demo_publish import publish_lines
from packcodec.edge.files import load
from packcodec.edge.lines import record_line
from packcodec.edge.log_traffic import Logs, read_logs, traffic_of, watch_s_a_day
from packcodec.errors import DecodeError, LogError, MissingPartError
from packcodec.frame.codec import Codec
from packcodec.frame.explain import explain
from packcodec.monitor.whole_log import Summary, summarise
from packcodec.radio.links import find_link

LINK = "lora-eu-868.1"
DATA = (
    *("schema.toml", "species.csv", "detections.csv", "watch.csv", "health.csv", "README.txt"),
    *PUBLISHED_WITH,
)


@dataclass(frozen=True, slots=True)
class Step:
    """One stage's result: its name and a few lines that a newcomer understands."""

    name: str
    lines: tuple[str, ...]


Coding = Literal["fixed", "modelled"]
# By which schema of the folder the frames are made.
SCHEMAS: dict[Coding, str] = {"fixed": "schema.toml", "modelled": "schema_modelled.toml"}


def run_demo(folder: Path, coding: Coding = "fixed") -> Iterator[Step]:
    """Run every stage, leaving its files in `folder`, and tell each as soon as it is done.

    Raises LogError if the folder cannot be written.
    """
    _lay_out(folder)
    fixed = load(folder / "schema.toml")
    text = (folder / "schema.toml").read_text(encoding="utf-8")
    if coding != "fixed":
        coded = text.replace('coding = "fixed"', f'coding = "{coding}"')
        _write(folder / SCHEMAS[coding], iter(coded.splitlines()))
    codec = load(folder / SCHEMAS[coding])
    yield Step("schema", tuple(_schema_lines(codec)))

    logs = read_logs(
        codec,
        str(folder / "detections.csv"),
        str(folder / "watch.csv"),
        str(folder / "health.csv"),
    )
    watches = logs.watches.rows if logs.watches else None
    summary = summarise(
        codec, logs.detections.rows, watches, logs.health.rows if logs.health else ()
    )
    _write(folder / "records.jsonl", (record_line(record) for record in summary.records))
    yield Step("summarise", tuple(_summary_lines(summary, logs)))

    frames = [codec.encode(record) for record in summary.records]
    _write(folder / "frames.hex", (frame.hex() for frame in frames))
    log_bytes = (folder / "detections.csv").stat().st_size
    lines = _frame_lines(codec, summary, frames, log_bytes)
    yield Step("encode", (*lines, *_saved_lines(fixed, codec, summary.records, frames)))

    decoded = [codec.decode(frame) for frame in frames]
    _write(folder / "decoded.jsonl", (record_line(record) for record in decoded))
    yield Step("decode", tuple(_decode_lines(codec, summary.records, decoded, frames)))

    # The erasure code goes with fixed coding.
    _write(folder / SCHEMA, iter((text + REPAIR).splitlines()))
    air = load(folder / SCHEMA)
    yield Step("air", tuple(_air_lines(air, summary.records, folder / "base.db")))

    awake_h = (watch_s_a_day(logs) or 86400) / 3600
    budget = plan_budget(
        codec.layout, find_link(LINK), traffic_of(codec, logs), supply=Supply(awake_h=awake_h)
    )
    yield Step("budget", tuple(_budget_lines(budget)))

    yield Step("publish", tuple(publish_lines(codec, decoded, budget.link, folder)))


def _lay_out(folder: Path) -> None:
    """Copy the demo's data, but never over a file that somebody else wrote or changed."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with as_file(files("packcodec.edge") / "demo_data") as data:
            for name in DATA:
                there, ours = folder / name, (data / name).read_bytes()
                if there.is_symlink() or (there.exists() and there.read_bytes() != ours):
                    raise LogError(
                        "is there already, and not as the demo left it",
                        place=str(there),
                        remedy="give the demo a folder of its own: packcodec demo FOLDER",
                    )
            for name in DATA:
                shutil.copyfile(data / name, folder / name)
    except OSError as error:
        raise LogError(
            f"cannot be written: {error.strerror}", place=str(folder), remedy="give another folder"
        ) from None


def _write(path: Path, lines: Iterator[str]) -> None:
    path.write_text("".join(f"{line}\n" for line in lines), encoding="utf-8")


def _schema_lines(codec: Codec) -> Iterator[str]:
    schema = codec.schema
    yield (
        f"{len(schema.species.rows)} rows in the species code table, {len(schema.stations)} "
        f"stations, {len(schema.messages)} messages"
    )
    for message in codec.layout.messages:
        least, most = message.least_frame_bytes, message.most_frame_bytes
        size = f"{most} bytes" if least == most else f"{least} to {most} bytes"
        yield f"{message.name}: {size} on the air, header and check included"


def _summary_lines(summary: Summary, logs: Logs) -> Iterator[str]:
    yield (
        f"{summary.detections:,} detections at {len({r.station for r in summary.records})} "
        f"stations in three weeks, {summary.counted:,} of them counted"
    )
    for reason, count in summary.refused.items():
        if count:
            yield f"  {count:,} {reason.value}"
    yield f"  {logs.refused} rows that could not be read"
    kinds: dict[str, int] = {}
    for record in summary.records:
        kinds[record.message] = kinds.get(record.message, 0) + 1
    said = ", ".join(f"{count:,} {name}" for name, count in kinds.items())
    yield f"gave {len(summary.records):,} records: {said}"


def _frame_lines(
    codec: Codec, summary: Summary, frames: list[bytes], log_bytes: int
) -> Iterator[str]:
    total = sum(map(len, frames))
    yield (
        f"{len(frames):,} frames, {total:,} bytes in all, "
        f"where the log has {log_bytes:,} ({log_bytes / total:.0f} times as many)"
    )
    sighting = next(at for at, each in enumerate(summary.records) if each.message == "sighting")
    frame = frames[sighting]
    yield f"for instance {frame.hex()}, {len(frame)} bytes, which says"
    said = {part.name: part.meaning for part in explain(codec, frame).parts}
    wanted = ("station", "at", "species", "individuals", "confidence")
    yield "  " + ", ".join(f"{name} {said[name]}" for name in wanted if name in said)


def _saved_lines(
    fixed: Codec, codec: Codec, records: list[Record], frames: list[bytes]
) -> Iterator[str]:
    if codec is fixed:
        return
    before, after = sum(len(fixed.encode(record)) for record in records), sum(map(len, frames))
    yield (
        f"in fixed coding {before:,} bytes, so modelled coding saves "
        f"{percent(1 - after / before)}, untrained: packcodec train learns from your own logs"
    )


def _air_lines(codec: Codec, records: list[Record], store: Path) -> Iterator[str]:
    for suffix in ("", "-wal", "-shm"):
        store.with_name(store.name + suffix).unlink(missing_ok=True)
    try:
        yield from run_demo_air(codec, records, store).lines()
    except MissingPartError as error:
        yield f"a base needs more: {error.remedy}"


def _decode_lines(
    codec: Codec, records: list[Record], decoded: list[Record], frames: list[bytes]
) -> Iterator[str]:
    same = sum(one == other for one, other in zip(records, decoded, strict=True))
    yield f"{same:,} of {len(records):,} records come back just as they were"
    first = frames[0]
    refused = 0
    for bit in range(8 * len(first)):
        damaged = int.from_bytes(first, "big") ^ 1 << bit
        try:
            codec.decode(damaged.to_bytes(len(first), "big"))
        except DecodeError:
            refused += 1
    yield f"the first frame with any one bit flipped: {refused} of {8 * len(first)} are refused"


def _budget_lines(budget: Budget) -> Iterator[str]:
    yield f"on {budget.link.name} ({budget.link.note})"
    for message in budget.messages:
        yield (
            f"{message.name}: {float(message.frames_per_day):.1f} frames a station-day, "
            f"{message.airtime_us_per_day / 1e6:.1f} s on the air"
        )
    for verdict in budget.verdicts:
        share = "" if verdict.share is None else f", {percent(verdict.share)} of the limit used"
        yield f"{verdict.subject}: {verdict.word}{share}"
    energy = budget.energy
    yield f"the radio takes {nearest_percent(energy.day.radio_share)} of the station's energy"
    if energy.days is not None:
        yield f"a pack of {budget.supply.pack.energy_wh:g} Wh lasts {energy.days:.1f} days"
