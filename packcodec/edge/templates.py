"""The pages' templates and their style, which lie beside this module."""

from importlib.resources import files
from typing import Any

from packcodec.edge.parts import part


def template(name: str, extra: str) -> Any:
    """A template, with everything put into it escaped. Raises MissingPartError, naming `extra`."""
    jinja2 = part("jinja2", extra)
    return jinja2.Environment(autoescape=True, trim_blocks=True).from_string(page_text(name))


def page_text(name: str) -> str:
    """The text of a file of the pages."""
    return (files("packcodec.edge") / "pages" / name).read_text(encoding="utf-8")
