"""Names of a package that are fetched when first used: a monitor pays only for what it runs."""

from collections.abc import Callable, Mapping
from importlib import import_module
from sys import modules
from typing import Any


def fetcher(package: str, homes: Mapping[str, str]) -> Callable[[str], Any]:
    """A module's `__getattr__` (PEP 562): `homes` says which module holds a name."""

    def fetch(name: str) -> Any:
        if name not in homes:
            raise AttributeError(f"{package} has no {name!r}")
        value = getattr(import_module(homes[name]), name)
        setattr(modules[package], name, value)
        return value

    return fetch
