"""Optional parts: what is not installed is said in one line, with the line that installs it."""

from importlib import import_module
from types import ModuleType

from packcodec.errors import MissingPartError


def part(module: str, extra: str) -> ModuleType:
    """The module, which comes with `pip install packcodec[extra]`. Raises MissingPartError."""
    try:
        return import_module(module)
    except ImportError:
        raise MissingPartError(
            f"this needs {module.partition('.')[0]}, which is not installed",
            remedy=f"pip install 'packcodec[{extra}]'",
        ) from None
