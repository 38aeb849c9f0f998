"""What emitters that write whole codecs share: the check's start, and the parts they need."""

from packcodec.frame.crc import crc_function
from packcodec.layout.model import Layout


def crc_of_identity(layout: Layout) -> int:
    """The check's register after the identity, the part of what it covers that never changes."""
    return crc_function(layout.check)(layout.identity) ^ ((1 << layout.check.bits) - 1)


def parts_of(layout: Layout) -> set[str]:
    """Which parts of a template a layout needs: "sealed", "repair", "counted" for either."""
    needed = {"sealed": layout.check.sealed, "repair": layout.repair is not None}
    found = {part for part, is_needed in needed.items() if is_needed}
    return found | {"counted"} if found else found
