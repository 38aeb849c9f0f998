"""Classes of values that cost a monitor little to define.

`@frozen` makes what `dataclasses.dataclass(frozen=True, slots=True)` makes: fields from the
annotations, an initialiser that ends in `__post_init__`, equality, hash and repr by the fields, and
an AttributeError for whoever sets one. That decorator compiles six functions for each class and
loads `inspect`: 74 such classes were half of a monitor's start. This one shares the functions, and
compiles the initialiser when the first instance is made. To `dataclasses` the classes are its own:
`fields`, `replace` and `asdict` work.

It is for the modules that a monitor imports; elsewhere use `dataclasses`. There is no `field(...)`,
a default is never a thing that can change, and such a class inherits from nothing.
"""

from collections.abc import Callable
from operator import attrgetter
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar, dataclass_transform

if TYPE_CHECKING:
    from dataclasses import Field
    from dataclasses import replace as replace

T = TypeVar("T")


@dataclass_transform(frozen_default=True)
def frozen(described: type[T]) -> type[T]:
    """The class that `described` describes: a new one, for slots cannot be added to a class.

    Raises TypeError where it inherits from another.
    """
    if described.__bases__ != (object,):
        raise TypeError(f"{described.__name__}: a frozen class inherits from nothing")
    names = tuple(described.__annotations__)
    members = {name: what for name, what in vars(described).items() if name not in _OF_THE_OLD}
    defaults = {name: members.pop(name) for name in names if name in members}
    shared = {
        "__slots__": names,
        "__match_args__": names,
        "__qualname__": described.__qualname__,
        "__dataclass_fields__": _Fields(defaults),
        "__setattr__": _refused,
        "__delattr__": _refused,
        "__repr__": _repr,
        "__reduce__": _reduce,
        **_comparisons(names),
    }
    made: Any = type(described.__name__, (), shared | members)
    made.__init__ = _first_use(made, defaults)
    return made  # type: ignore[no-any-return]


# What a class without slots has for its instances.
_OF_THE_OLD = ("__dict__", "__weakref__")


def _first_use(made: Any, defaults: dict[str, Any]) -> Callable[..., None]:
    """An initialiser that puts a compiled one in its place."""

    def __init__(self: Any, *args: Any, **kwargs: Any) -> None:  # noqa: N807
        made.__init__ = _initialiser(made, defaults)
        made.__init__(self, *args, **kwargs)

    return __init__


def _initialiser(made: Any, defaults: dict[str, Any]) -> Callable[..., None]:
    """`__init__` with the fields as its parameters; it sets the slots past `__setattr__`."""
    names = made.__match_args__
    scope: dict[str, Any] = {f"_set_{name}": getattr(made, name).__set__ for name in names}
    scope |= {f"_default_{name}": what for name, what in defaults.items()}
    parameters = [f"{name}=_default_{name}" if name in defaults else name for name in names]
    steps = [f"_set_{name}(self, {name})" for name in names]
    if hasattr(made, "__post_init__"):
        steps.append("self.__post_init__()")
    exec(f"def __init__(self, {', '.join(parameters)}): {'; '.join(steps) or 'pass'}", scope)
    initialiser: Callable[..., None] = scope["__init__"]
    initialiser.__qualname__ = f"{made.__qualname__}.__init__"
    return initialiser


def _comparisons(names: tuple[str, ...]) -> dict[str, Callable[..., Any]]:
    """Equality and hash by the fields, among instances of the very same class."""
    content: Callable[[Any], Any] = attrgetter(*names) if names else type

    def __eq__(self: Any, other: object) -> Any:  # noqa: N807
        return content(self) == content(other) if type(other) is type(self) else NotImplemented

    def __hash__(self: Any) -> int:  # noqa: N807
        return hash(content(self))

    return {"__eq__": __eq__, "__hash__": __hash__}


def _repr(self: Any) -> str:
    said = ", ".join(f"{name}={getattr(self, name)!r}" for name in self.__match_args__)
    return f"{type(self).__qualname__}({said})"


def _reduce(self: Any) -> tuple[Any, ...]:
    """For copies and pickles, which would set the fields otherwise."""
    return type(self), tuple(getattr(self, name) for name in self.__match_args__)


def _refused(self: Any, name: str, *_: object) -> NoReturn:
    raise AttributeError(f"{type(self).__name__} is frozen: {name!r} stays as it is")


class _Fields:
    """The fields as `dataclasses` knows them, made for whoever asks."""

    def __init__(self, defaults: dict[str, Any]) -> None:
        self._defaults = defaults

    def __get__(self, _instance: object, made: Any) -> "dict[str, Field[Any]]":
        from dataclasses import dataclass

        members = {"__annotations__": made.__annotations__, **self._defaults}
        alike: Any = dataclass(type(made.__name__, (), members))
        made.__dataclass_fields__ = alike.__dataclass_fields__
        return made.__dataclass_fields__  # type: ignore[no-any-return]


if not TYPE_CHECKING:

    def replace(instance: T, /, **changes: Any) -> T:
        """An instance like this one but for `changes`; what `dataclasses.replace` does."""
        for name in instance.__match_args__:
            changes.setdefault(name, getattr(instance, name))
        return type(instance)(**changes)
