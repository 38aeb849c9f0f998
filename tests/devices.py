"""Emitted code that holds whole numbers, asked and answering in the terms of records as JSON."""

from ast import literal_eval
from pathlib import Path
from typing import Any

from c_program import SANITIZERS, build
from micropython_program import INTERPRETER, write
from whole_values import as_json, flat, nested, unflattened

from packcodec.layout.model import Layout
from packcodec.schema.model import Message


class Device:
    """A target that holds whole numbers, asked in vectors' terms."""

    def __init__(self, layout: Layout, folder: Path) -> None:
        self.layout = layout
        self.schema = layout.schema
        self.messages = {each.name: each for each in self.schema.messages}
        self.command = self.start(folder)

    def start(self, folder: Path) -> list[str]:
        raise NotImplementedError

    def record(self, message: Message, station: int, sequence: int, row: list[Any]) -> Any:
        counted = self.schema.frame.sequence_bits or self.layout.check.sealed or self.layout.repair
        return {
            "message": message.name,
            "station": station,
            "sequence": sequence if counted else None,
            "values": as_json(self.schema, message.fields, row),
        }

    def told(self, record: dict[str, Any]) -> dict[str, Any]:
        """As much of what a decoder must say as this target says."""
        return record

    def before(self, entry: dict[str, Any], counter: int = 0) -> list[str]:
        """What a vector says beside its frame; `counter` is that of a frame that is to be made."""
        lines = []
        if self.layout.check.sealed:
            lines += [f"k {entry.get('key', '-')}", f"x {entry.get('expected', 0)}"]
        if self.layout.repair is not None and "ring" in entry:
            at = len(entry["ring"]) % self.layout.repair.repair.span
            lines.append(f"r {counter} {at} {''.join(entry['ring'])}")
        elif self.layout.repair is not None:
            lines.append("r -")
        return lines


class InC(Device):
    def told(self, record: dict[str, Any]) -> dict[str, Any]:
        """It passes over repair symbols."""
        return {name: record[name] for name in record if name != "repair"}

    def start(self, folder: Path) -> list[str]:
        return [str(build(self.layout, folder, "-O1", *SANITIZERS))]

    def decoding(self, frame: str, carried: dict[str, Any]) -> str:
        message = self.messages[carried.get("message", self.schema.messages[0].name)]
        said = f"d {message.code} {carried.get('station', 0)} {frame}"
        return f"{said} {carried['sequence']}" if "sequence" in carried else said

    def read(self, answer: str) -> Any:
        reason, *numbers = map(int, answer.split())
        if reason:
            return reason
        code, station, sequence, *values = numbers
        message = next(each for each in self.schema.messages if each.code == code)
        counter = {"counter": values.pop()} if self.layout.check.sealed else {}
        row = unflattened(message.fields, iter(values))
        return self.record(message, station, sequence, row) | counter

    def encoding(self, record: dict[str, Any]) -> str:
        message = self.messages[record["message"]]
        values = flat(self.schema, message.fields, record["values"])
        head = ["e", message.code, record["station"], record["sequence"] or 0]
        return " ".join(map(str, [*head, *values]))

    def framed(self, answer: str) -> str:
        return answer.removeprefix("0 ")


class InMicroPython(Device):
    def start(self, folder: Path) -> list[str]:
        return [str(INTERPRETER), *write(self.layout, folder)]

    def decoding(self, frame: str, carried: dict[str, Any]) -> str:
        said = ""
        if "message" in carried and len(self.schema.messages) > 1:
            said += f"{self.messages[carried['message']].code}, "
        said += "".join(f"{carried[name]}, " for name in ("station", "sequence") if name in carried)
        return f"d {frame} {said}"

    def read(self, answer: str) -> Any:
        told = literal_eval(answer)
        if isinstance(told, int):
            return told
        code, station, sequence, row, *more = told
        message = next(each for each in self.schema.messages if each.code == code)
        record = self.record(message, station, sequence, row)
        if self.layout.check.sealed:
            record["counter"] = more.pop(0)
        if self.layout.repair and more[0]:
            held, symbol = more[0]
            record["repair"] = {"held": held, "symbol": symbol.hex()}
        return record

    def encoding(self, record: dict[str, Any]) -> str:
        message = self.messages[record["message"]]
        row = nested(self.schema, message.fields, record["values"])
        return f"e {message.name} {record['station']} {record['sequence'] or 0} {row}"

    def framed(self, answer: str) -> str:
        return answer
