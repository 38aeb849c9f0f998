"""Where each bit sits: the compiler, `Schema` → `Layout`, and old against new."""

from packcodec.layout.checks import CHECKS, Check
from packcodec.layout.compare import Comparison, compare_layouts
from packcodec.layout.compiler import LARGEST_FRAME_BYTES, compile_layout
from packcodec.layout.identity import canonical_form, identity_of
from packcodec.layout.model import Group, Layout, MessageLayout

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
