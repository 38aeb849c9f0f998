"""Layout → C99: one header and one source a schema, with no heap, recursion or state.

`c_header` writes the structs, `c_encode` and `c_decode` one function each a message, and `c_frame`
the frame around them. templates/c_helpers.c holds the few functions they call.
"""

import re
from collections.abc import Iterator

from packcodec.emit.c_decode import decode, read
from packcodec.emit.c_encode import encode
from packcodec.emit.c_frame import close_frame, constants, frame_of, open_frame
from packcodec.emit.c_header import header
from packcodec.emit.c_modelled import Models
from packcodec.emit.c_types import CNames
from packcodec.emit.templates import template
from packcodec.emit.text import wrapped
from packcodec.layout.model import Layout, MessageLayout

_BLOCK = re.compile(r"/\*@ (?P<key>.*?) \*/\n(?P<text>.*?)\n(?=/\*@|\Z)", re.DOTALL)


def emit(layout: Layout) -> dict[str, str]:
    """{"<schema>.h": …, "<schema>.c": …}.

    Raises LayoutError for a layout whose coding, or a field whose range, C here cannot carry.
    """
    names = CNames(layout)
    name = layout.schema.name
    source = "\n".join(_source(layout, names))
    return {
        f"{name}.h": "\n".join(header(layout, names)) + "\n",
        # Parts that follow each other may each bring the empty line between them.
        f"{name}.c": re.sub(r"\n{3,}", "\n\n", source) + "\n",
    }


def _source(layout: Layout, names: CNames) -> Iterator[str]:
    schema = layout.schema
    body = [*close_frame(layout, names), "", *open_frame(layout, names)]
    models = Models(layout, names) if schema.coding == "modelled" else None
    for each in layout.messages:
        body += ["", *_message(layout, each, names, models)]
    tables = list(models.constants("\n".join(body))) if models else []
    yield f"/* Schema {schema.name}, version {schema.version}. Written from the schema: change"
    yield " * that, not this. */"
    yield f'#include "{schema.name}.h"'
    yield ""
    yield "#include <string.h>"
    yield ""
    yield from constants(layout)
    text = "\n".join(body)
    yield from _helpers(template("c_helpers.c"), text, names)
    if models:
        yield from _helpers(models.filled(template("c_coder.c")), text, names)
    yield from tables
    for line in text.split("\n"):
        yield from wrapped(line)


def _helpers(functions: str, body: str, names: CNames) -> list[str]:
    """Those functions that `body`, or another of them that it needs, calls."""
    text = ""
    blocks = [(found["key"], found["text"]) for found in _BLOCK.finditer(functions)]
    for key, block in reversed(blocks):
        if re.search(rf"(?<!\w){re.escape(key)}", body + text):
            text = f"{block}\n{text}"
    return text.replace("@call@", names.prefix).replace("@macro@", names.macro).split("\n")


def _message(
    layout: Layout, each: MessageLayout, names: CNames, models: Models | None
) -> Iterator[str]:
    """All functions of one message."""
    call, name = names.prefix, each.name
    if models is None:
        yield from encode(each, names, f"enum {call}_result {call}_encode_{name}")
        yield from ("", *read(each, names))
    else:
        yield from read(each, names)
        yield from ("", *models.message(each))
    yield from ("", *decode(layout, each, names))
    packs = models is not None and models.packs(each)
    yield from ("", *frame_of(layout, each, names, packs=packs))
