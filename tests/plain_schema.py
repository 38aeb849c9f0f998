"""A small schema round a few fields, for tests that need no more."""

from datetime import UTC, datetime

from packcodec.layout import MessageLayout, compile_layout
from packcodec.schema.model import Field, FrameWidths, Message, Schema, SpeciesTable

EPOCH = datetime(2027, 4, 1, tzinfo=UTC)


def schema_of(*fields: Field, check: str = "crc24", table: SpeciesTable | None = None) -> Schema:
    """One message "report" (code 0) with these fields and a header of 24 bits."""
    return Schema(
        name="sedgemere",
        version=1,
        epoch=EPOCH,
        coding="fixed",
        frame=FrameWidths(8, 2, 4, 10, check),
        messages=(Message("report", 0, fields),),
        species=table or SpeciesTable((), 0),
    )


def message_of(*fields: Field, check: str = "crc24") -> MessageLayout:
    return compile_layout(schema_of(*fields, check=check)).messages[0]
