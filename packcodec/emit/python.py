"""Layout → one Python file that needs nothing installed: its table and templates/frozen.py.txt."""

from packcodec.emit.carry import parts_of
from packcodec.emit.modelled_table import add_models
from packcodec.emit.table import lines, table
from packcodec.emit.templates import chosen, template
from packcodec.layout.model import Layout

_EMPTY = "SCHEMA = {}  # @schema@"
# What encoding and decoding take beside the rest.
_MORE = {
    "encoding": {"repair": ", ring=None", "sealed": ", ciphers=None"},
    "decoding": {"sealed": ",\n           ciphers=None, expected=None"},
}
_CHECK, _PAYLOAD, _BITS = "# @check@\n", "# @payload@\n", "# ---- Bits\n"


def emit(layout: Layout) -> dict[str, str]:
    """{"<schema>_codec.py": …}."""
    schema, parts = layout.schema, parts_of(layout)
    data, modelled = table(layout), schema.coding == "modelled"
    if modelled:
        add_models(data, layout)
    title = f"Schema {schema.name}, version {schema.version}: records to frames and back."
    text = chosen(template("frozen.py.txt"), parts).replace("@title@", title)
    text = text.replace("@octets@", str(layout.check.octets))
    for place, arguments in _MORE.items():
        said = "".join(text for part, text in arguments.items() if part in parts)
        text = text.replace(f"@{place}@", said)
    text = text.replace("@identity@", layout.identity.hex())
    head, rest = text.split(_PAYLOAD)
    payload, rest = rest.split(_BITS)
    head, check = head.split(_CHECK)
    if layout.check.sealed:
        check = template("frozen_seal.py.txt")
    if layout.repair is not None:
        check += template("frozen_repair.py.txt")
    if modelled:
        payload = template("frozen_modelled.py.txt")
    literal = "\n".join(lines(data, repr))
    whole = f"{head.replace(_EMPTY, f'SCHEMA = {literal}')}{check}{payload}{_BITS}{rest}"
    return {f"{schema.name}_codec.py": whole}
