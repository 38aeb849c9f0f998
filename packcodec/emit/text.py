"""Small turns of phrase that emitters share: safe comments and broken lines."""

from collections.abc import Iterable, Iterator

WIDTH = 96


def comment_text(text: str) -> str:
    """`text` as it may stand in a comment of any of the languages: it can neither end one nor
    begin one, and makes no trigraph."""
    for seen, meant in (("*/", "* /"), ("/*", "/ *"), ("??", "? ?"), ("\\", "/")):
        while seen in text:
            text = text.replace(seen, meant)
    return text


def in_every_build(lines: Iterable[str]) -> str:
    """Those lines of C that no #ifndef leaves out."""
    kept: list[str] = []
    left_out = False
    for line in lines:
        left_out = line.startswith("#ifndef") or (left_out and not line.startswith("#endif"))
        kept += [] if left_out else [line]
    return "\n".join(kept)


def wrapped(line: str) -> Iterator[str]:
    """A line of C, which may be broken at any space but in comments and directives."""
    indent = " " * (len(line) - len(line.lstrip()) + 4)
    while len(line) > WIDTH and "/*" not in line and not line.startswith(("#", " *")):
        at = line.rfind(" ", len(indent), WIDTH + 1)
        if at < 0:
            break
        yield line[:at]
        line = indent + line[at + 1 :]
    yield line


def broken(start: str, parts: Iterable[str], joint: str, end: str) -> Iterator[str]:
    """start part joint part … end, broken before a joint where a line would be too long."""
    line, indent = start, " " * (len(start) - len(start.lstrip()) + 4)
    *firsts, last = parts
    for part in firsts:
        if len(line) + len(part) + len(joint) > WIDTH and line.strip():
            yield line.rstrip()
            line = indent
        line += part + joint
    if len(line) + len(last) + len(end) > WIDTH and line.strip():
        yield line.rstrip()
        line = indent
    yield line + last + end
