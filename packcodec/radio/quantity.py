"""One check for every physical quantity that a caller hands in."""

from math import isfinite

from packcodec.errors import RadioError


def checked(name: str, value: float, low: float, high: float = float("inf")) -> float:
    """`value`, or RadioError where it is no finite number in `low..high`."""
    plain = isinstance(value, int | float) and not isinstance(value, bool)
    if not plain or (isinstance(value, float) and not isfinite(value)):
        raise RadioError(f"{value!r} is no number", place=name, remedy="give a finite number")
    if not low <= value <= high:
        bounds = f"at least {low:g}" if high == float("inf") else f"{_plain(low)} to {_plain(high)}"
        raise RadioError(f"{value!r} is out of range", place=name, remedy=f"give {bounds}")
    return value


def _plain(bound: float) -> str:
    """Without a power of ten."""
    return f"{bound:.12g}"
