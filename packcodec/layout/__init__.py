"""Where each bit sits: the compiler, `Schema` → `Layout`, and old against new."""

from typing import TYPE_CHECKING

from packcodec.layout.checks import CHECKS, Check
from packcodec.layout.compiler import LARGEST_FRAME_BYTES, compile_layout
from packcodec.layout.identity import canonical_form, identity_of
from packcodec.layout.model import Group, Layout, MessageLayout
from packcodec.lazy import fetcher

if TYPE_CHECKING:
    from packcodec.layout.compare import Comparison, compare_layouts

__all__ = [
    "CHECKS",
    "LARGEST_FRAME_BYTES",
    "Check",
    "Comparison",
    "Group",
    "Layout",
    "MessageLayout",
    "canonical_form",
    "compare_layouts",
    "compile_layout",
    "identity_of",
]

_COMPARE = "packcodec.layout.compare"
__getattr__ = fetcher(__name__, {"Comparison": _COMPARE, "compare_layouts": _COMPARE})
