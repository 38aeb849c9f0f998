"""A schema's TOML and its species table's CSV → a checked `Schema`.

The only place where a wrong schema is refused: every refusal is a SchemaError that names file,
line and key, and what would be right.
"""

from datetime import UTC, datetime
from fractions import Fraction
from functools import lru_cache
from typing import Literal, cast

from packcodec.schema.fields import FieldReader
from packcodec.schema.model import (
    UNSEALED,
    FrameWidths,
    Message,
    Policy,
    Repair,
    Schema,
    SpeciesTable,
)
from packcodec.schema.models import Models, read_models
from packcodec.schema.remedy import nearest
from packcodec.schema.species import read_species
from packcodec.schema.table import Document, Table

# The names that frame/crc.py gives its checks; a stage knows only those beneath it.
CHECKS = ("auto", "crc24", "crc32", "crc16-short", "crc16")
SEALS = ("ccm4", "ccm8", "sign4", "sign8", "open")
HIDING = ("ccm4", "ccm8")
CODINGS = ("fixed", "modelled")

LATEST_VERSION = (1 << 32) - 1
MOST_CODES = 1 << 16
WIDEST_FIELD_BITS = 32
WIDEST_MESSAGE_BITS = 8
WIDEST_WINDOW = 255
LONGEST_SYMBOL_BYTES = 255
MOST_EVERY = 16
# What a carrier that numbers frames itself is sure to send of its counter.
CARRIED_SEQUENCE_BITS = 16
EPOCH_YEARS = range(1970, 9999)
DAY_MIN = 1440
WEEK_MIN = 7 * DAY_MIN


def read_schema(
    toml: str,
    species_csv: str,
    *,
    place: str = "schema",
    species_place: str = "species table",
    models_toml: str = "",
    models_place: str = "models",
) -> Schema:
    """Read a schema; `place`, `species_place` and `models_place` name the texts in errors.

    `species_csv` is empty where the schema names no species table, `models_toml` where it names no
    models file. The epoch comes back in UTC,
    durations of the policy in seconds, figures of scaled fields and durations as exact fractions.
    Raises SchemaError.
    """
    root = _root(toml, place)
    root.only(("schema", "species", "frame", "repair", "models", "policy", "stations", "message"))
    head = root.table("schema")
    head.only(("name", "version", "epoch", "coding", "note"))
    epoch = _epoch(head)
    frame = _frame(root.table("frame"))
    coding = head.choice("coding", CODINGS, "fixed")
    messages = _messages(root, frame, FieldReader(epoch, "species" in root.values))
    return Schema(
        name=head.name("name"),
        version=head.integer("version", 1, LATEST_VERSION),
        epoch=epoch,
        coding=cast(Literal["fixed", "modelled"], coding),
        frame=frame,
        messages=messages,
        species=_guarded(root, frame, _species(root, species_csv, species_place)),
        policy=_policy(root.table("policy", optional=True)),
        stations=_stations(root.table("stations", optional=True), frame),
        repair=_repair(root, messages, frame, coding),
        models=_models(root, coding, models_toml, models_place),
        note=head.text("note", ""),
    )


def species_file_named(toml: str, place: str = "schema") -> str:
    """The name of the species CSV, a file beside the schema; empty where it names none.

    Raises SchemaError.
    """
    root = _root(toml, place)
    if "species" not in root.values:
        return ""
    return _species_file(root.table("species"))


def models_file_named(toml: str, place: str = "schema") -> str:
    """The name of the models file, a file beside the schema; empty where it names none.

    Raises SchemaError.
    """
    root = _root(toml, place)
    if "models" not in root.values:
        return ""
    return _models_file(root.table("models"))


def _models_file(table: Table) -> str:
    table.only(("file",))
    return _plain_file(table, "the models file")


def _models(root: Table, coding: str, models_toml: str, place: str) -> Models | None:
    if "models" not in root.values:
        if models_toml:
            raise root.error(
                None, "the schema names no models, but some were given", "add [models] with file"
            )
        return None
    if coding != "modelled":
        raise root.error("models", "fixed coding uses no models", 'set coding = "modelled"')
    _models_file(root.table("models"))
    return read_models(models_toml, place)


# The names of its files are read from a schema before the schema is.
@lru_cache(maxsize=1)
def _root(toml: str, place: str) -> Table:
    return Document(toml.removeprefix("\ufeff"), place).root()


def _epoch(head: Table) -> datetime:
    example = "write it as 2027-04-01T00:00:00Z, without quotes"
    if "epoch" not in head.values:
        raise head.error(None, "the key 'epoch' is missing", example)
    epoch = head.values["epoch"]
    if not isinstance(epoch, datetime):
        raise head.error("epoch", "must be a date with a time of day", example)
    if epoch.tzinfo is None:
        raise head.error("epoch", "has no offset from UTC", "end it with Z or an offset as +02:00")
    if epoch.microsecond:
        raise head.error("epoch", "has a fraction of a second", "use whole seconds")
    if epoch.year not in EPOCH_YEARS:
        raise head.error("epoch", f"the year {epoch.year} is out of range", "use 1970 to 9998")
    return epoch.astimezone(UTC)


def _frame(table: Table) -> FrameWidths:
    table.only(("tag_bits", "message_bits", "station_bits", "sequence_bits", "check", "seal"))
    seal = table.choice("seal", SEALS) if "seal" in table.values else ""
    if "check" in table.values and seal not in UNSEALED:
        raise table.error("check", f"the seal {seal} takes the place of a check", "leave it out")
    return FrameWidths(
        tag_bits=table.integer("tag_bits", 0, WIDEST_FIELD_BITS),
        message_bits=table.integer("message_bits", 0, WIDEST_MESSAGE_BITS),
        station_bits=table.integer("station_bits", 0, WIDEST_FIELD_BITS),
        sequence_bits=table.integer("sequence_bits", 0, WIDEST_FIELD_BITS),
        check=table.choice("check", CHECKS, "auto"),
        seal=seal,
    )


def _guarded(root: Table, frame: FrameWidths, species: SpeciesTable) -> SpeciesTable:
    """Refuse to tell the world where a sensitive species is, unless the schema says it means to."""
    sensitive = [
        row.label
        for row in species.rows
        if row.sensitivity and row.report in ("priority", "summary") and not row.retired
    ]
    if sensitive and frame.seal not in (*HIDING, "open"):
        raise root.table("frame").error(
            "seal" if frame.seal else None,
            f"whoever listens would learn where sensitive species are ({sensitive[0]} is one)",
            'set seal = "ccm4" in [frame], or seal = "open" if anyone may know',
        )
    return species


def _species_file(table: Table) -> str:
    table.only(("file", "codes"))
    return _plain_file(table, "the species table")


def _plain_file(table: Table, what: str) -> str:
    file = table.text("file")
    if not file or file.startswith(".") or "/" in file or "\\" in file:
        raise table.error(
            "file",
            f"{file!r} is not a plain file name",
            f"keep {what} beside the schema and give its name alone",
        )
    return file


def _species(root: Table, species_csv: str, place: str) -> SpeciesTable:
    if "species" not in root.values:
        if species_csv.strip():
            raise root.error(
                None,
                "the schema names no species table, but one was given",
                "add [species] with file and codes, or give no table",
            )
        return SpeciesTable((), 0)
    table = root.table("species")
    _species_file(table)
    return read_species(species_csv, table.integer("codes", 1, MOST_CODES), place)


def _policy(table: Table) -> Policy:
    table.only(("interval_min", "independence_min", "confidence_least", "batch_min"))
    default = Policy()
    interval_min = table.integer("interval_min", 1, DAY_MIN, default.interval_s // 60)
    if DAY_MIN % interval_min:
        near = min(_DIVISORS, key=lambda divisor: abs(divisor - interval_min))
        raise table.error(
            "interval_min",
            f"a day is not a whole number of intervals of {interval_min} min",
            f"the nearest that divides it: {near}",
        )
    independence_min = table.integer("independence_min", 0, DAY_MIN, default.independence_s // 60)
    batch_min = table.integer("batch_min", 0, WEEK_MIN, default.batch_s // 60)
    confidence_least = _confidence_least(table, default)
    return Policy(interval_min * 60, independence_min * 60, confidence_least, batch_min * 60)


_DIVISORS = tuple(part for part in range(1, DAY_MIN + 1) if DAY_MIN % part == 0)


def _confidence_least(table: Table, default: Policy) -> float:
    if "confidence_least" not in table.values:
        return default.confidence_least
    confidence = table.exact("confidence_least")
    if not 0 <= confidence <= 1:
        raise table.error("confidence_least", "is out of range", "use a number from 0 to 1")
    return float(confidence)


def _stations(table: Table, frame: FrameWidths) -> tuple[tuple[str, int], ...]:
    """Names as they stand in logs, any printable text, with numbers that fit their width."""
    last = (1 << (frame.station_bits or WIDEST_FIELD_BITS)) - 1
    named: dict[int, str] = {}
    table.check_keys_are_text()
    for name in table.values:
        number = table.integer(name, 0, last)
        if number in named:
            raise table.error(
                name,
                f"the number {number} already belongs to {named[number]!r}",
                "give each station its own",
            )
        named[number] = name
    return tuple((name, number) for number, name in sorted(named.items()))


def _repair(
    root: Table, messages: tuple[Message, ...], frame: FrameWidths, coding: str
) -> Repair | None:
    if "repair" not in root.values:
        return None
    table = root.table("repair")
    table.only(("messages", "symbol_bytes", "window", "stride", "every", "symbols"))
    if coding != "fixed":
        raise root.table("schema").error(
            "coding",
            "a repair symbol needs payloads that say where they end",
            'use coding = "fixed", or leave [repair] away',
        )
    default = Repair(())
    every = table.integer("every", 1, MOST_EVERY, default.every)
    # The number of a frame decides whether it carries a symbol, before anything else is read.
    if every & (every - 1) or (frame.sequence_bits and every >> frame.sequence_bits):
        raise table.error(
            "every",
            f"is {every}",
            "use 1, 2, 4, 8 or 16, and a sequence_bits that can tell such frames apart",
        )
    symbols = table.integer("symbols", 1, every, default.symbols)
    if every > 1 and symbols % 2 == 0:
        raise table.error(
            "symbols", f"{symbols} of {every} is the same as {_lowest(symbols, every)}", "use that"
        )
    repair = Repair(
        messages=_repaired(table, messages),
        symbol_bytes=table.integer("symbol_bytes", 1, LONGEST_SYMBOL_BYTES)
        if "symbol_bytes" in table.values
        else None,
        window=table.integer("window", 1, WIDEST_WINDOW, default.window),
        stride=table.integer("stride", 1, WIDEST_WINDOW, default.stride),
        every=every,
        symbols=symbols,
    )
    most = 1 << (frame.sequence_bits or CARRIED_SEQUENCE_BITS) >> 1
    if repair.span > most:
        raise table.error(
            "window",
            f"window × stride is {repair.span}, and the counter is told only {most} frames back",
            f"use a window of {max(1, most // repair.stride)}, or more sequence_bits",
        )
    return repair


def _lowest(part: int, whole: int) -> str:
    share = Fraction(part, whole)
    return f"{share.numerator} of {share.denominator}"


def _repaired(table: Table, messages: tuple[Message, ...]) -> tuple[str, ...]:
    """In order of their codes, whatever the order they are named in."""
    named = table.names("messages", len(messages))
    known = [message.name for message in messages]
    for name in named:
        if name not in known:
            raise table.error("messages", f"has no message {name!r}", nearest(name, known))
    return tuple(name for name in known if name in named)


def _messages(root: Table, frame: FrameWidths, reader: FieldReader) -> tuple[Message, ...]:
    """In order of their codes, whatever the order of their tables."""
    section = root.table("message", optional=True)
    if not section.values:
        raise section.error(None, "the schema has no messages", "add one as [message.sighting]")
    by_code: dict[int, Message] = {}
    for name in section.values:
        section.check_name(name, (*section.path, name))
        message = _message(section.table(name), name, frame, reader)
        if message.code in by_code:
            raise section.table(name).error(
                "code",
                f"the code {message.code} already belongs to {by_code[message.code].name!r}",
                "give each message its own",
            )
        by_code[message.code] = message
    return tuple(message for _, message in sorted(by_code.items()))


def _message(table: Table, name: str, frame: FrameWidths, reader: FieldReader) -> Message:
    table.only(("code", "note", "fields"))
    last = (1 << (frame.message_bits or WIDEST_MESSAGE_BITS)) - 1
    code = table.integer("code", 0, (1 << WIDEST_MESSAGE_BITS) - 1)
    if code > last:
        raise table.error(
            "code",
            f"the code {code} does not fit message_bits = {frame.message_bits}",
            f"use a code up to {last}, or message_bits = {code.bit_length()}",
        )
    return Message(name, code, reader.fields(table), table.text("note", ""))
