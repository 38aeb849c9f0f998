"""Text that emitters take over whole, beside what they write from a layout."""

from importlib import resources


def template(name: str) -> str:
    """The text of one template."""
    return resources.files(__name__).joinpath(name).read_text(encoding="utf-8")
