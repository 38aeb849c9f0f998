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
        return {
            "message": message.name,
            "station": station,
            "sequence": sequence if self.schema.frame.sequence_bits else None,
            "values": as_json(self.schema, message.fields, row),
        }


class InC(Device):
    def start(self, folder: Path) -> list[str]:
        return [str(build(self.layout, folder, "-O1", *SANITIZERS))]

    def decoding(self, frame: str, carried: dict[str, Any]) -> str:
        message = self.messages[carried.get("message", self.schema.messages[0].name)]
        return f"d {message.code} {carried.get('station', 0)} {frame}"

    def read(self, answer: str) -> Any:
        reason, *numbers = map(int, answer.split())
        if reason:
            return reason
        code, station, sequence, *values = numbers
        message = next(each for each in self.schema.messages if each.code == code)
        return self.record(message, station, sequence, unflattened(message.fields, iter(values)))

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
        if "station" in carried:
            said += f"{carried['station']}, "
        return f"d {frame} {said}"

    def read(self, answer: str) -> Any:
        told = literal_eval(answer)
        if isinstance(told, int):
            return told
        code, station, sequence, row = told
        message = next(each for each in self.schema.messages if each.code == code)
        return self.record(message, station, sequence, row)

    def encoding(self, record: dict[str, Any]) -> str:
        message = self.messages[record["message"]]
        row = nested(self.schema, message.fields, record["values"])
        return f"e {message.name} {record['station']} {record['sequence'] or 0} {row}"

    def framed(self, answer: str) -> str:
        return answer
