"""`frozen` beside the standard library's dataclass: one description, both decorators."""

import copy
import dataclasses
import pickle
from collections.abc import Callable
from typing import Any

import pytest

from packcodec.frozen import frozen, replace


class Described:
    """Fields of every kind that the package uses."""

    low: int
    unit: "str"
    note: str = ""
    pair: tuple[int, ...] = (1, 2)

    def __post_init__(self) -> None:
        if self.low > 9:
            raise ValueError("too much")

    @property
    def doubled(self) -> int:
        return 2 * self.low


class Nothing:
    pass


def described() -> Any:
    """A description of its own: a decorator may write into it."""
    return type("Described", (), dict(vars(Described)))


OURS: Any = frozen(Described)
THEIRS: Any = dataclasses.dataclass(frozen=True, slots=True)(described())
CALLS: tuple[Callable[[Any], Any], ...] = (
    lambda cls: cls(1, "m"),
    lambda cls: cls(unit="m", low=1),
    lambda cls: cls(1, "m", pair=()),
    lambda cls: cls(1),
    lambda cls: cls(1, "m", "", (), 5),
    lambda cls: cls(1, "m", what=5),
    lambda cls: cls(10, "m"),
    lambda cls: replace(cls(1, "m"), low=3),
    lambda cls: replace(cls(1, "m"), low=10),
    lambda cls: replace(cls(1, "m"), what=10),
    lambda cls: dataclasses.replace(cls(1, "m", pair=()), low=3),
    lambda cls: copy.deepcopy(cls(1, "m", "x")),
    lambda cls: dataclasses.asdict(cls(1, "m")),
    lambda cls: [(each.name, each.type, each.default) for each in dataclasses.fields(cls)],
    lambda cls: cls(1, "m").doubled,
    lambda cls: cls(1, "m") == cls(1, "m"),
    lambda cls: cls(1, "m") == cls(1, "m", "x"),
    lambda cls: cls(1, "m") == (1, "m", "", (1, 2)),
    lambda cls: len({cls(1, "m"), cls(1, "m"), cls(2, "m")}),
    lambda cls: setattr(cls(1, "m"), "low", 2),
    lambda cls: delattr(cls(1, "m"), "low"),
    lambda cls: hasattr(cls(1, "m"), "__dict__"),
    lambda cls: (cls.__name__, cls.__doc__, cls.__match_args__, cls.__slots__),
    lambda cls: hash(cls(1, "m", pair=[])),
)


def outcome(call: Callable[[Any], Any], cls: Any) -> Any:
    """What a call says, or the family of what it raises."""
    try:
        return repr(call(cls))
    except (AttributeError, TypeError, ValueError) as error:
        return next(
            kind for kind in (AttributeError, TypeError, ValueError) if isinstance(error, kind)
        )


@pytest.mark.parametrize("call", CALLS)
def test_what_it_makes_is_what_dataclass_makes(call: Callable[[Any], Any]) -> None:
    assert outcome(call, frozen(described())) == outcome(call, THEIRS)
    assert outcome(call, OURS) == outcome(call, THEIRS)


def test_a_class_equals_no_other_with_the_same_content() -> None:
    other: Any = frozen(described())
    assert OURS(1, "m") != other(1, "m")
    narrower: Any = type("Narrower", (OURS,), {})
    assert OURS(1, "m") != narrower(1, "m")
    none: Any = frozen(Nothing)
    assert none() == none()
    assert none() != frozen(type("Else", (), {}))()
    assert repr(none()) == "Nothing()"


def test_a_copy_through_a_pickle() -> None:
    from packcodec.schema.model import Integer

    assert pickle.loads(pickle.dumps(Integer("n", 0, 7, unit="m"))) == Integer("n", 0, 7, unit="m")


def test_one_that_inherits_is_refused() -> None:
    with pytest.raises(TypeError, match="Wrong: a frozen class inherits from nothing"):
        frozen(type("Wrong", (Nothing,), {}))


def test_nothing_can_be_added_to_an_instance() -> None:
    """Where the standard one, with slots, raises a TypeError by accident."""
    with pytest.raises(AttributeError, match="Described is frozen: 'other' stays as it is"):
        OURS(1, "m").other = 2
