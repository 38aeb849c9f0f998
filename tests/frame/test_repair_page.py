"""spec/repair.md tells the truth: the reference, written from it, makes its tables."""

import re
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from packcodec.frame.reference_repair import coefficients as drawn
from packcodec.frame.reference_repair import plus, times
from packcodec.frame.repair import Ring, coefficients
from packcodec.layout.model import RepairLayout
from packcodec.schema import Repair

PAGE = (Path(__file__).parents[2] / "spec" / "repair.md").read_text(encoding="utf-8")
WORD = 1 << 32


def table(heads: str) -> list[list[str]]:
    """The cells of the rows under the head line."""
    rows = PAGE.split(heads)[1].split("\n\n")[0].splitlines()[2:]
    return [[cell.strip(" `") for cell in row.strip("|").split("|")] for row in rows]


def test_the_coefficients_of_the_page() -> None:
    rows = table("| station | s | a(1) … a(8) |")
    assert len(rows) == 4
    for station, s, said in rows:
        assert bytes(drawn(int(station), int(s), 8)) == bytes.fromhex(said)
        assert coefficients(int(station), int(s), 8) == bytes.fromhex(said)


@given(st.integers(0, WORD - 1), st.integers(0, WORD - 1), st.integers(0, 40))
def test_the_generator_is_the_one_of_the_page(station: int, s: int, count: int) -> None:
    assert list(coefficients(station, s, count)) == drawn(station, s, count)


def test_the_ring_of_the_page() -> None:
    rows = table("| counter | source | held | symbol |")
    assert len(rows) == 5
    ring = Ring(RepairLayout(Repair(("m",), None, 4, 1), 3, 3, 10), 3)
    ring.next = 700
    sources: list[bytes] = []
    for counter, source, held, symbol in rows:
        field = ring.advance(int(counter), bytes.fromhex(source))
        factors = drawn(3, int(counter), int(held))
        expected = bytes(3)
        for factor, other in zip(factors, reversed(sources), strict=False):
            expected = plus(expected, times(factor, other))
        assert (field.held, field.symbol) == (int(held), bytes.fromhex(symbol))
        assert expected == bytes.fromhex(symbol)
        assert int(held) == len(sources)
        sources.append(bytes.fromhex(source))


def test_the_defaults_of_the_page() -> None:
    default = Repair(())
    said = dict(re.findall(r"\| `(\w+)` \|[^|]*\| (\d+) \|", PAGE))
    assert said == {
        "window": str(default.window),
        "stride": str(default.stride),
        "every": str(default.every),
        "symbols": str(default.symbols),
    }
