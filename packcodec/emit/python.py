"""Layout → one Python file that needs nothing installed: its table and templates/frozen.py.txt."""

from packcodec.codec.modelled.payload import TAIL_BITS
from packcodec.emit.carry import must_be_open
from packcodec.emit.modelled_table import add_models
from packcodec.emit.table import lines, table
from packcodec.emit.templates import template
from packcodec.layout.model import Layout

_EMPTY = "SCHEMA = {}  # @schema@"
_PAYLOAD, _BITS = "# @payload@\n", "# ---- Bits\n"


def emit(layout: Layout) -> dict[str, str]:
    """{"<schema>_codec.py": …}. Raises LayoutError for a layout whose coding it cannot carry."""
    must_be_open(layout, "Python")
    schema = layout.schema
    data, modelled = table(layout), schema.coding == "modelled"
    if modelled:
        add_models(data, layout)
    title = f"Schema {schema.name}, version {schema.version}: records to frames and back."
    text = template("frozen.py.txt").replace("@title@", title)
    text = text.replace("@identity@", layout.identity.hex())
    head, rest = text.split(_PAYLOAD)
    fixed, rest = rest.split(_BITS)
    payload = fixed
    if modelled:
        payload = template("frozen_modelled.py.txt").replace("@tail_bits@", str(TAIL_BITS))
    literal = "\n".join(lines(data, repr))
    whole = f"{head.replace(_EMPTY, f'SCHEMA = {literal}')}{payload}{_BITS}{rest}"
    return {f"{schema.name}_codec.py": whole}
