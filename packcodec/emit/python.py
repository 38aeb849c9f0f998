"""Layout → one Python file that needs nothing installed: its table and templates/frozen.py.txt."""

from packcodec.emit.carry import must_be_plain
from packcodec.emit.table import lines, table
from packcodec.emit.templates import template
from packcodec.layout.model import Layout

_EMPTY = "SCHEMA = {}  # @schema@"


def emit(layout: Layout) -> dict[str, str]:
    """{"<schema>_codec.py": …}. Raises LayoutError for a layout whose coding it cannot carry."""
    must_be_plain(layout, "Python")
    schema = layout.schema
    title = f"Schema {schema.name}, version {schema.version}: records to frames and back."
    text = template("frozen.py.txt").replace("@title@", title)
    text = text.replace("@identity@", layout.identity.hex())
    literal = "\n".join(lines(table(layout), repr))
    return {f"{schema.name}_codec.py": text.replace(_EMPTY, f"SCHEMA = {literal}")}
