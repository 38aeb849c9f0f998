"""A decoder by a stranger: written from spec/wire-format.md, with the standard library alone.

It imports nothing of packcodec, so that the document is shown to be enough. Only the tests use it.
"""

import csv
import io
import json
import tomllib
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from hashlib import sha256
from typing import Any

WRONG_LENGTH, UNKNOWN_TAG, FAILED_CHECK, OUT_OF_RANGE, NONZERO_PAD, UNKNOWN_MESSAGE = range(1, 7)
CHECKS = {
    "crc16-short": (16, 0x3D65),
    "crc16": (16, 0x5935),
    "crc24": (24, 0x5D6DCB),
    "crc32": (32, 0xF4ACFB13),
}
AUTO_REACH = 2024


class Refused(Exception):
    """`args[0]` is the number of the reason."""


class Stranger:
    def __init__(self, toml: str, species: str) -> None:
        self.toml = tomllib.loads(toml.removeprefix("\ufeff"), parse_float=Fraction)
        self.head, self.frame = self.toml["schema"], self.toml["frame"]
        self.epoch: datetime = self.head["epoch"].astimezone(UTC)
        self.capacity = self.toml.get("species", {}).get("codes", 0)
        lines = [line for line in csv.reader(io.StringIO(species)) if any(line)]
        cells = [[cell.strip() for cell in line] for line in lines]
        self.rows = [dict(zip(cells[0], line, strict=True)) for line in cells[1:]]
        self.labels = {int(row["code"]): row["label"] for row in self.rows}
        self.messages = {table["code"]: name for name, table in self.toml["message"].items()}
        self.identity = sha256(self.canonical().encode("utf-8")).digest()
        self.check = self.frame.get("check", "auto")
        if self.check == "auto":
            self.check = "crc24" if self.longest() <= AUTO_REACH else "crc32"

    # Identity

    def canonical(self) -> str:
        return json.dumps(self.form(), sort_keys=True, separators=(",", ":"), ensure_ascii=False)

    def form(self) -> dict[str, Any]:
        return {
            "format": 1,
            "name": self.head["name"],
            "version": self.head["version"],
            "epoch": self.epoch.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "coding": self.head.get("coding", "fixed"),
            "frame": {
                **{key: self.frame[key] for key in self.frame if key.endswith("_bits")},
                "check": self.frame.get("check", "auto"),
            },
            "species": {
                "capacity": self.capacity,
                "rows": [
                    [int(row["code"]), row["kind"], row["scientific_name"] or row["label"]]
                    for row in sorted(self.rows, key=lambda row: int(row["code"]))
                    if not row.get("added")
                ],
            },
            "messages": [
                {
                    "name": name,
                    "code": code,
                    "fields": [canonical_field(field) for field in self.fields(name)],
                }
                for code, name in sorted(self.messages.items())
            ],
        }

    def fields(self, message: str) -> list[dict[str, Any]]:
        fields: list[dict[str, Any]] = self.toml["message"][message]["fields"]
        return fields

    # Sizes

    def codes(self, field: dict[str, Any]) -> int:
        match field["kind"]:
            case "integer":
                return int(field["high"] - field["low"] + 1)
            case "scaled":
                return int((field["high"] - field["low"]) / Fraction(field["step"]) + 1)
            case "boolean":
                return 2
            case "flags":
                return int(2 ** len(field["flags"]))
            case "enumeration":
                return len(field["values"])
            case "species":
                return int(self.capacity)
            case "time":
                return int(field["span_s"] // field["step_s"])
            case "duration":
                return int(field["high_s"] / Fraction(field["step_s"]) + 1)
            case "list":
                return int(field["most"] - field["least"] + 1)
        raise AssertionError(field)

    def most(self, fields: list[dict[str, Any]]) -> int:
        bits = 0
        for field in fields:
            bits += field.get("optional", False) + width(self.codes(field))
            if field["kind"] == "list":
                bits += field["most"] * self.most(field["fields"])
        return bits

    def longest(self) -> int:
        """Of all frames before their checks, in bits of whole bytes."""
        behind = max(
            self.repair_bits(name) + self.most(self.fields(name)) for name in self.messages.values()
        )
        return -(-(self.header_bits() + behind) // 8) * 8

    def repair_bits(self, message: str) -> int:  # noqa: ARG002
        return 0

    def header_bits(self) -> int:
        return sum(self.frame[f"{part}_bits"] for part in ("tag", "message", "station", "sequence"))

    # Reading a frame

    def decode(
        self, frame: bytes, carried: dict[str, Any], received: datetime | None = None
    ) -> dict[str, Any]:
        if not -(-self.header_bits() // 8) + self.check_bytes() <= len(frame) <= 340:
            raise Refused(WRONG_LENGTH)
        reader = Reader(frame[: -self.check_bytes()])
        tag = reader.take(self.frame["tag_bits"])
        if tag != int.from_bytes(self.identity, "big") >> (256 - self.frame["tag_bits"]):
            raise Refused(UNKNOWN_TAG)
        unsent_code = unsent_station = 0
        if self.frame["message_bits"]:
            code = reader.take(self.frame["message_bits"])
        else:
            codes = {name: code for code, name in self.messages.items()}
            code = unsent_code = codes[carried.get("message", next(iter(codes)))]
        if self.frame["station_bits"]:
            station = reader.take(self.frame["station_bits"])
        else:
            station = unsent_station = carried["station"]
        sequence = carried.get("sequence")
        if self.frame["sequence_bits"]:
            sequence = reader.take(self.frame["sequence_bits"])
        unsent = (
            self.identity
            + unsent_code.to_bytes(1, "big")
            + unsent_station.to_bytes(4, "big")
            + len(frame).to_bytes(2, "big")
        )
        reader.bits = bits_of(self.verified(frame, unsent, station, sequence))
        if code not in self.messages:
            raise Refused(UNKNOWN_MESSAGE)
        name = self.messages[code]
        self.before_payload(reader, name, sequence)
        values = self.group(reader, self.fields(name), received)
        rest = reader.rest()
        if len(rest) > 7:
            raise Refused(WRONG_LENGTH)
        if "1" in rest:
            raise Refused(NONZERO_PAD)
        return {"message": name, "station": station, "sequence": sequence, "values": values}

    def check_bytes(self) -> int:
        return CHECKS[self.check][0] // 8

    def verified(self, frame: bytes, unsent: bytes, station: int, sequence: Any) -> bytes:  # noqa: ARG002
        """The frame up to its check."""
        size, polynomial = CHECKS[self.check]
        data, check = frame[: -size // 8], frame[-size // 8 :]
        if crc(unsent + data, size, polynomial) != int.from_bytes(check, "big"):
            raise Refused(FAILED_CHECK)
        return data

    def before_payload(self, reader: "Reader", message: str, sequence: Any) -> None:
        """What a schema may put there is not in this document."""

    def group(
        self, reader: "Reader", fields: list[dict[str, Any]], received: datetime | None
    ) -> dict[str, Any]:
        there = {field["name"]: reader.take(1) if field.get("optional") else 1 for field in fields}
        return {
            field["name"]: self.value(reader, field, received) if there[field["name"]] else None
            for field in fields
        }

    def value(self, reader: "Reader", field: dict[str, Any], received: datetime | None) -> Any:
        n = self.codes(field)
        c = reader.take(width(n))
        if c >= n:
            raise Refused(OUT_OF_RANGE)
        match field["kind"]:
            case "integer":
                return bound(field, c, n, field["low"] + c)
            case "scaled":
                return bound(field, c, n, number(field["low"] + c * Fraction(field["step"])))
            case "duration":
                return bound(field, c, n, number(c * Fraction(field["step_s"])))
            case "boolean":
                return c == 1
            case "flags":
                bits = format(c, f"0{len(field['flags'])}b")
                return [flag for flag, bit in zip(field["flags"], bits, strict=True) if bit == "1"]
            case "enumeration":
                return field["values"][c]
            case "species":
                return self.labels.get(c, f"#{c}")
            case "time":
                return self.time(field, c * field["step_s"], received)
            case "list":
                inner = field["fields"]
                return [self.group(reader, inner, received) for _ in range(field["least"] + c)]
        raise AssertionError(field)

    def time(self, field: dict[str, Any], offset_s: int, received: datetime | None) -> Any:
        instant = self.epoch + timedelta(seconds=offset_s)
        if field.get("beyond", "wrap") == "wrap":
            span = timedelta(seconds=field["span_s"])
            if received is None:
                return {"offset_s": offset_s, "span_s": field["span_s"]}
            turns = (received - instant) // span
            near = (instant + turns * span, instant + (turns + 1) * span)
            instant = min(near, key=lambda one: (abs(one - received), one))
        return instant.strftime("%Y-%m-%dT%H:%M:%SZ")


class Reader:
    def __init__(self, data: bytes) -> None:
        self.bits = bits_of(data)
        self.at = 0

    def take(self, bits: int) -> int:
        self.at += bits
        if self.at > len(self.bits):
            raise Refused(WRONG_LENGTH)
        return int(self.bits[self.at - bits : self.at] or "0", 2)

    def rest(self) -> str:
        return self.bits[self.at :]


def bits_of(data: bytes) -> str:
    return "".join(format(byte, "08b") for byte in data)


def canonical_field(field: dict[str, Any]) -> dict[str, Any]:
    form = {key: field[key] for key in ("name", "kind")} | {
        "optional": field.get("optional", False)
    }
    clamp = [field.get(side, "reject") == "clamp" for side in ("below", "above")]
    match field["kind"]:
        case "integer":
            form |= {key: str(field[key]) for key in ("low", "high")}
            form |= {"unit": field.get("unit", ""), "clamp": clamp}
        case "scaled":
            form |= {key: fraction(field[key]) for key in ("low", "high", "step")}
            form |= {"unit": field.get("unit", ""), "clamp": clamp}
        case "flags":
            form |= {"flags": field["flags"]}
        case "enumeration":
            form |= {"values": field["values"]}
        case "time":
            form |= {key: field[key] for key in ("step_s", "span_s")}
            form |= {"beyond": field.get("beyond", "wrap")}
        case "duration":
            form |= {key: fraction(field[key]) for key in ("step_s", "high_s")}
            form |= {"clamp": [False, clamp[1]]}
        case "list":
            form |= {key: field[key] for key in ("least", "most")}
            form |= {"fields": [canonical_field(inner) for inner in field["fields"]]}
    return form


def fraction(figure: int | Fraction) -> str:
    exact = Fraction(figure)
    return f"{exact.numerator}/{exact.denominator}"


def width(n: int) -> int:
    bits = 0
    while 2**bits < n:
        bits += 1
    return bits


def bound(field: dict[str, Any], c: int, n: int, value: float) -> Any:
    if field.get("below") == "clamp" and c == 0:
        return {"at_most": value}
    if field.get("above") == "clamp" and c == n - 1:
        return {"at_least": value}
    return value


def number(exact: Fraction) -> float:
    return exact.numerator / exact.denominator


def crc(data: bytes, size: int, polynomial: int) -> int:
    register = 2**size - 1
    for byte in data:
        for place in range(7, -1, -1):
            out = register >> (size - 1)
            register = register << 1 & (2**size - 1)
            if out != byte >> place & 1:
                register ^= polynomial
    return register ^ (2**size - 1)
