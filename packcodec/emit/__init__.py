"""Layout → other languages and documents: text under file names, for the edge to write."""

from collections.abc import Callable
from difflib import get_close_matches

from packcodec.emit import asn1, c, javascript, markdown, micropython, python, svg
from packcodec.errors import PackcodecError
from packcodec.layout.model import Layout

__all__ = ["TARGETS", "emit"]

TARGETS: dict[str, Callable[[Layout], dict[str, str]]] = {
    "asn1": asn1.emit,
    "c": c.emit,
    "javascript": javascript.emit,
    "markdown": markdown.emit,
    "micropython": micropython.emit,
    "python": python.emit,
    "svg": svg.emit,
}


def emit(layout: Layout, target: str) -> dict[str, str]:
    """The files of `target`, a key of TARGETS: {file name: text}.

    Raises PackcodecError for a target that does not exist, or one that cannot say this layout.
    """
    if target not in TARGETS:
        near = get_close_matches(target, TARGETS, n=1)
        raise PackcodecError(
            f"there is no target {target!r}",
            place="target",
            remedy=f"did you mean {near[0]!r}?" if near else f"use one of {', '.join(TARGETS)}",
        )
    return TARGETS[target](layout)
