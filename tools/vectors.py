"""Test vectors: the cases of vector_cases/ as spec/vectors/*.json, by the reference codec.

    python tools/vectors.py

Each file stands alone: the schema and its species table as text, the canonical form and the
identity that follow from them, frames with the record each must read as, frames that must be
refused with the reason, values that no encoder may send, and what repair symbols win back.
spec/wire-format.md says how to use them. A file made again is the same, byte for byte.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from vector_beside import WARNING, Beside, key
from vector_cases import FILES
from vector_cases.case import LAST_COUNTER, Case, Loss, VectorFile
from vector_faults import Faults

from packcodec.codec import Record, to_json
from packcodec.codec import reference as payloads
from packcodec.errors import DecodeError, EncodeError
from packcodec.frame import reference as frames
from packcodec.frame import reference_repair as repairs
from packcodec.layout import Layout, canonical_form, compile_layout
from packcodec.schema import read_schema

FOLDER = Path(__file__).parent.parent / "spec" / "vectors"


def vectors() -> dict[str, str]:
    """{file name: text} of all vector files."""
    return {
        f"{file.name}.json": json.dumps(_document(file), indent=1, ensure_ascii=False) + "\n"
        for file in FILES
    }


def _document(file: VectorFile) -> dict[str, Any]:
    layout = compile_layout(read_schema(file.toml, file.species, place=file.name))
    sent = list(_sent(layout, file))
    return {
        "about": file.about,
        **({"warning": WARNING} if file.keys else {}),
        "schema": file.toml,
        "species": file.species,
        "canonical": canonical_form(layout.schema),
        "identity": layout.identity.hex(),
        "check": layout.check.name,
        "valid": [_valid(layout, each) for each in sent],
        "invalid": list(_invalid(layout, file, sent[0].beside)),
        "refused": list(_refused(layout, file)),
        **(
            {"recovered": [_recovered(layout, sent, loss) for loss in file.losses]}
            if file.losses
            else {}
        ),
    }


@dataclass(frozen=True)
class Sent:
    """A case and its frame; `ring` is what it passed, and `source` what it left there."""

    case: Case
    frame: bytes
    beside: Beside
    ring: tuple[bytes, ...] | None
    source: bytes


@dataclass
class Ring:
    """The last sources of a station, as spec/repair.md has them."""

    span: int
    sources: list[bytes] = field(default_factory=list)
    next: int = 0

    def before(self, case: Case, unused: bytes) -> tuple[bytes, ...]:
        """The sources before a case."""
        if case.kept:
            self.sources += [unused] * (case.counter - self.next)
        elif case.counter != self.next:
            self.sources = []
        self.sources = self.sources[-self.span :]
        return tuple(self.sources)

    def add(self, case: Case, source: bytes) -> None:
        self.sources.append(source)
        self.next = case.counter + 1


def _sent(layout: Layout, file: VectorFile) -> Iterator[Sent]:
    rings: dict[int, Ring] = {}
    for case in file.cases:
        ring, source = None, b""
        if layout.repair is not None and not case.without_ring:
            message = next(one for one in layout.schema.messages if one.name == case.message)
            payload = payloads.encode_bits(layout.schema, message, case.values)
            source = repairs.source(layout, message.code, payload)
            kept = rings.setdefault(case.station, Ring(layout.repair.repair.span))
            ring = kept.before(case, bytes(layout.repair.symbol_bytes))
            kept.add(case, source)
        secret = file.keys.get(case.station, "")
        frame = frames.encode(
            layout,
            case.message,
            case.values,
            station=case.station,
            counter=case.counter,
            key=key(secret),
            ring=ring or (),
        )
        said = case.counter if case.said_whole else case.counter % (1 << frames.CARRIED_BITS)
        told = (secret, case.expected, case.received)
        yield Sent(case, frame, Beside(case.message, case.station, said, *told), ring, source)


def _valid(layout: Layout, sent: Sent) -> dict[str, Any]:
    case = sent.case
    read = sent.beside.read(layout, sent.frame)
    if case.received:
        received = datetime.fromisoformat(case.received)
        values = frames.resolved(read.record.values, layout.schema.epoch, received)
        record = Record(read.record.message, values, read.record.station, read.record.sequence)
        read = replace(read, record=record)
    said = Record(case.message, case.values, case.station, case.counter)
    passed: dict[str, Any] = {}
    if sent.ring is not None:
        passed["ring"] = [source.hex() for source in sent.ring]
        passed["source"] = sent.source.hex()
    return {
        "about": case.about,
        "said": said.to_json(),
        **passed,
        "frame": sent.frame.hex(),
        **sent.beside.to_json(layout),
        "read": read.to_json(),
    }


def _invalid(layout: Layout, file: VectorFile, beside: Beside) -> Iterator[dict[str, Any]]:
    """Frames with one fault each; the reference must refuse them for the reason given."""
    for bad in Faults(layout, file, beside).all():
        try:
            read = bad.beside.read(layout, bad.frame)
        except DecodeError as error:
            if error.reason is not bad.reason:
                raise SystemExit(
                    f"{file.name}: {bad.about} is refused for {error.reason}"
                ) from error
        else:
            raise SystemExit(f"{file.name}: {bad.about} reads as {read}")
        yield {
            "about": bad.about,
            "frame": bad.frame.hex(),
            **bad.beside.to_json(layout),
            "reason": int(bad.reason),
            "reason_name": bad.reason.name,
        }


def _refused(layout: Layout, file: VectorFile) -> Iterator[dict[str, Any]]:
    for refusal in file.refusals:
        try:
            frames.encode(layout, "m", refusal.values, station=0, counter=LAST_COUNTER)
        except EncodeError as error:
            if refusal.field not in error.place:
                raise SystemExit(
                    f"{file.name}: {refusal.about} is refused at {error.place}"
                ) from error
        else:
            raise SystemExit(f"{file.name}: {refusal.about} is sent")
        yield {
            "about": refusal.about,
            "message": "m",
            "values": to_json(refusal.values),
            "field": refusal.field,
        }


def _recovered(layout: Layout, sent: list[Sent], loss: Loss) -> dict[str, Any]:
    """The frames of a run that were heard, and the records that their symbols give back."""
    assert layout.repair is not None
    run = [
        each
        for each in sent
        if each.case.station == loss.station
        and loss.first <= each.case.counter <= loss.last
        and each.ring is not None
    ]
    heard = [each for each in run if each.case.counter not in loss.lost]
    fields = {each.case.counter: each.beside.read(layout, each.frame).repair for each in heard}
    found = repairs.won_back(
        layout.repair,
        loss.station,
        {each.case.counter: each.source for each in heard},
        {counter: said for counter, said in fields.items() if said is not None},
    )
    gives = []
    for counter, source in sorted(found.items()):
        reopened = repairs.reopened(layout.schema, source)
        if reopened is not None:
            gives.append(Record(*reopened, loss.station, counter).to_json())
    return {
        "about": loss.about,
        "heard": [{"frame": each.frame.hex(), **each.beside.to_json(layout)} for each in heard],
        "gives": gives,
    }


def main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, text in vectors().items():
        (FOLDER / name).write_text(text, encoding="utf-8", newline="\n")
        print(FOLDER / name)


if __name__ == "__main__":
    main()
