"""[repair] in a schema: what is refused, where, and what would be right."""

import pytest
from frame_stream import CSV, TOML

from packcodec.errors import SchemaError
from packcodec.schema import read_schema

REPAIR = TOML[TOML.index("[repair]") : TOML.index("[message.sighting]")]


def read(repair: str) -> None:
    read_schema(TOML.replace(REPAIR, f"[repair]\n{repair}\n\n"), CSV)


@pytest.mark.parametrize(
    ("repair", "key", "remedy"),
    [
        ('messages = ["sumary"]', "messages", "summary"),
        ('messages = ["summary"]\nevery = 3', "every", "use 1, 2, 4, 8 or 16"),
        ('messages = ["summary"]\nsymbols = 2', "symbols", "1"),
        ('messages = ["summary"]\nevery = 4\nsymbols = 5', "symbols", "4"),
        ('messages = ["summary"]\nevery = 8\nsymbols = 6', "symbols", "the same as 3 of 4"),
        ('messages = ["summary"]\nevery = 4\nsymbols = 4', "symbols", "the same as 1 of 1"),
        ('messages = ["summary"]\nwindow = 200\nstride = 3', "window", "use a window of 170"),
        ('messages = ["summary"]\nwindow = 0', "window", "1"),
    ],
)
def test_what_is_refused(repair: str, key: str, remedy: str) -> None:
    with pytest.raises(SchemaError) as refused:
        read(repair)
    assert key in refused.value.place
    assert remedy in str(refused.value)


def test_three_of_four_is_read() -> None:
    text = TOML.replace(REPAIR, REPAIR.replace("[repair]", "[repair]\nevery = 4\nsymbols = 3"))
    repair = read_schema(text, CSV).repair
    assert repair is not None
    assert (repair.symbols, repair.every) == (3, 4)


@pytest.mark.parametrize(("sequence_bits", "allowed"), [(4, False), (5, True)])
def test_the_sequence_must_tell_the_frames_with_a_symbol_apart(
    sequence_bits: int, allowed: bool
) -> None:
    repair = '[repair]\nmessages = ["summary"]\nevery = 16\nwindow = 2\nstride = 1\n\n'
    text = TOML.replace(REPAIR, repair)
    assert "sequence_bits = 10" in text
    text = text.replace("sequence_bits = 10", f"sequence_bits = {sequence_bits}")
    if allowed:
        assert read_schema(text, CSV).repair is not None
        return
    with pytest.raises(SchemaError, match=r"repair\.every: is 16"):
        read_schema(text, CSV)
