"""Test vectors: the cases of vector_cases/ as spec/vectors/*.json, by the reference codec.

    python tools/vectors.py

Each file stands alone: the schema and its species table as text, the canonical form and the
identity that follow from them, frames with the record each must read as, frames that must be
refused with the reason, and values that no encoder may send. spec/wire-format.md says how to use
them. A file made again is the same, byte for byte.
"""

import json
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from vector_cases import FILES
from vector_cases.case import LAST_COUNTER, Case, VectorFile

from packcodec.codec import Record, to_json
from packcodec.codec import reference as payloads
from packcodec.errors import DecodeError, EncodeError, Reason
from packcodec.frame import reference as frames
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
    return {
        "about": file.about,
        "schema": file.toml,
        "species": file.species,
        "canonical": canonical_form(layout.schema),
        "identity": layout.identity.hex(),
        "check": layout.check.name,
        "valid": [_valid(layout, case) for case in file.cases],
        "invalid": list(_invalid(layout, file)),
        "refused": list(_refused(layout, file)),
    }


def _valid(layout: Layout, case: Case) -> dict[str, Any]:
    frame = frames.encode(
        layout, case.message, case.values, station=case.station, counter=case.counter
    )
    record = frames.decode(layout, frame, station=case.station, message=case.message)
    told: dict[str, Any] = {}
    if case.received:
        received = datetime.fromisoformat(case.received)
        values = frames.resolved(record.values, layout.schema.epoch, received)
        record = Record(record.message, values, record.station, record.sequence)
        told["received"] = case.received
    said = Record(case.message, case.values, case.station, case.counter)
    return {
        "about": case.about,
        "said": said.to_json(),
        "frame": frame.hex(),
        **_carried(layout, case.message, case.station),
        **told,
        "read": record.to_json(),
    }


def _carried(layout: Layout, message: str, station: int) -> dict[str, Any]:
    """What the carrier says because the header does not."""
    widths = layout.schema.frame
    carried: dict[str, str | int] = {}
    if not widths.message_bits:
        carried["message"] = message
    if not widths.station_bits:
        carried["station"] = station
    return {"carried": carried} if carried else {}


def _invalid(layout: Layout, file: VectorFile) -> Iterator[dict[str, Any]]:
    """Frames with one fault each; the reference must refuse them for the reason given."""
    case = file.cases[0]
    for about, frame, reason, station in _faults(layout, file, case):
        try:
            record = frames.decode(layout, frame, station=station, message=case.message)
        except DecodeError as error:
            if error.reason is not reason:
                raise SystemExit(f"{file.name}: {about} is refused for {error.reason}") from error
        else:
            raise SystemExit(f"{file.name}: {about} reads as {record}")
        yield {
            "about": about,
            "frame": frame.hex(),
            **_carried(layout, case.message, station),
            "reason": int(reason),
            "reason_name": reason.name,
        }


def _faults(
    layout: Layout, file: VectorFile, case: Case
) -> Iterator[tuple[str, bytes, Reason, int]]:
    schema, station, counter = layout.schema, case.station, case.counter
    message = next(one for one in schema.messages if one.name == case.message)
    payload = payloads.encode_bits(schema, message, case.values)
    octets, widths = layout.check.octets, schema.frame

    def framed(payload: str, code: int = message.code, pad: str = "") -> bytes:
        return frames.frame_of(layout, code, payload, station=station, counter=counter, pad=pad)

    good = framed(payload)
    for fault in file.faults:
        yield fault.about, framed(fault.bits), fault.reason, station
    yield "no bytes", b"", Reason.WRONG_LENGTH, station
    yield "a check without its last byte", good[-octets:-1], Reason.WRONG_LENGTH, station
    yield "longer than any link carries", framed(payload + "0" * 2700), Reason.WRONG_LENGTH, station
    yield "a zero byte after the payload", framed(payload + "0" * 8), Reason.WRONG_LENGTH, station
    bits_sent = layout.header_bits + len(payload)
    if bits_sent > 8:
        short = payload[: len(payload) - (bits_sent - 1) % 8 - 1]
        yield "payload without its last byte", framed(short), Reason.WRONG_LENGTH, station
    for pad in range(1, -bits_sent % 8 + 1):
        ones = "0" * (pad - 1) + "1"
        yield (
            f"bit {pad} of the padding is 1",
            framed(payload, pad=ones),
            Reason.NONZERO_PAD,
            station,
        )
    if widths.message_bits:
        codes = {one.code for one in schema.messages}
        unknown = min(set(range(1 << widths.message_bits)) - codes)
        yield (
            f"message code {unknown}",
            framed(payload, unknown),
            Reason.UNKNOWN_MESSAGE,
            station,
        )
    if widths.tag_bits:
        yield "a bit of the tag", _flipped(good, 0), Reason.UNKNOWN_TAG, station
    for bit in (widths.tag_bits, 8 * len(good) - 8 * octets, 8 * len(good) - 1):
        yield f"bit {bit} flipped", _flipped(good, bit), Reason.FAILED_CHECK, station
    if not widths.station_bits:
        yield "for another station", good, Reason.FAILED_CHECK, station ^ 1
    if len(good) > octets + layout.header_bits // 8 + 1:
        cut = good[: -octets - 1] + good[-octets:]
        yield "the last byte before the check lost", cut, Reason.FAILED_CHECK, station


def _flipped(frame: bytes, bit: int) -> bytes:
    """`frame` with one bit, counted from the first sent, changed."""
    changed = int.from_bytes(frame, "big") ^ 1 << (8 * len(frame) - 1 - bit)
    return changed.to_bytes(len(frame), "big")


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


def main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, text in vectors().items():
        (FOLDER / name).write_text(text, encoding="utf-8", newline="\n")
        print(FOLDER / name)


if __name__ == "__main__":
    main()
