"""What emitters that write whole codecs share: what they refuse, and the check's start."""

from packcodec.errors import LayoutError
from packcodec.frame.crc import crc_function
from packcodec.layout.model import Layout


def must_be_open(layout: Layout, language: str) -> None:
    """Raise LayoutError for a layout whose frames are sealed or carry repair symbols."""
    if layout.check.sealed:
        raise LayoutError(
            f"sealed frames are not emitted to {language}",
            place="frame.seal",
            remedy='python, micropython and javascript seal; or else use seal = "open" there',
        )
    if layout.repair is not None:
        raise LayoutError(
            f"repair symbols are not emitted to {language}",
            place="repair",
            remedy="python and micropython make them; or leave [repair] out for these stations",
        )


def crc_of_identity(layout: Layout) -> int:
    """The check's register after the identity, the part of what it covers that never changes."""
    return crc_function(layout.check)(layout.identity) ^ ((1 << layout.check.bits) - 1)


def parts_of(layout: Layout) -> set[str]:
    """Which parts of a template a layout needs: "sealed", "repair", "counted" for either."""
    needed = {"sealed": layout.check.sealed, "repair": layout.repair is not None}
    found = {part for part, is_needed in needed.items() if is_needed}
    return found | {"counted"} if found else found
