"""What is empty but no list is refused, however empty."""

from typing import Any

import pytest
from every_kind import schema_of

from packcodec.codec import PayloadCodec
from packcodec.errors import EncodeError
from packcodec.layout import compile_layout
from packcodec.schema.model import Boolean, ListOf

LAYOUT = compile_layout(schema_of(ListOf("rows", (Boolean("lid"),), 0, 3)))
CODEC = PayloadCodec(LAYOUT, LAYOUT.messages[0])


@pytest.mark.parametrize("rows", ["", {}, set(), frozenset(), range(0, 0, 2).__iter__(), b""])
def test_empty_but_no_list(rows: Any) -> None:
    for pack in (lambda: CODEC.pack_values({"rows": rows}), lambda: CODEC.pack(rows)):
        with pytest.raises(EncodeError) as refused:
            pack()
        assert refused.value.place == "message.m.rows"


@pytest.mark.parametrize("rows", [[], ()])
def test_empty_lists(rows: Any) -> None:
    assert CODEC.pack_values({"rows": rows}) == CODEC.pack(rows) == b"\x00"
