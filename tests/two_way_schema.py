"""What the station and the base of the two-way tests share: every otter a visit, a key, a link."""

from small_schema import SPECIES, TOML, schema_of

from packcodec.frame import Codec
from packcodec.frame.seal import Key
from packcodec.layout import compile_layout

CHANGES = (
    ("independence_min = 30", "independence_min = 0"),
    ("sequence_bits = 16", 'sequence_bits = 10\nseal = "ccm4"'),
    ("tag_bits = 8", "tag_bits = 0"),
)
SECRET = bytes(range(16))
KEY = Key(SECRET)
CODEC = Codec(compile_layout(schema_of(*CHANGES)), {1: KEY})
LINK = "lora-eu-868.1"


def toml() -> str:
    text = TOML
    for old, new in CHANGES:
        text = text.replace(old, new)
    return text


__all__ = ["CHANGES", "CODEC", "KEY", "LINK", "SECRET", "SPECIES", "toml"]
