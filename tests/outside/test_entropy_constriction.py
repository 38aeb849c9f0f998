"""The range coder against constriction 0.5.0 (PyPI), and its cost against entropy by scipy.

constriction (R. Bamler, general-purpose entropy coding) codes the same symbols with the same
tables: its stream is a whole number of 32-bit words, ours ends at the bit and is never longer.
"""

from itertools import accumulate
from math import comb, log2
from random import Random
from typing import Any

import pytest

from packcodec.codec.modelled.coder import TOTAL, Decoder, Encoder
from packcodec.codec.modelled.ending import Course, shortest
from packcodec.codec.modelled.tables import frequencies

constriction = pytest.importorskip("constriction")
np = pytest.importorskip("numpy")
stats = pytest.importorskip("scipy.stats")

# Alphabets and skews as in counts, classes of gaps and species.
SOURCES = [(symbols, skew) for symbols in (2, 10, 40, 129) for skew in (0.0, 0.7, 1.5)]


def table_of(symbols: int, skew: float) -> tuple[int, ...]:
    """Zipf-like frequencies."""
    return frequencies([round(1e6 / (rank + 1) ** skew) for rank in range(symbols)])


def draw(random: Random, table: tuple[int, ...], count: int) -> list[int]:
    return random.choices(range(len(table)), weights=table, k=count)


def ours(table: tuple[int, ...], symbols: list[int]) -> tuple[int, int]:
    sums = (0, *accumulate(table))
    encoder = Encoder()
    for symbol in symbols:
        encoder.symbol(sums, symbol)
    x, bits = shortest(*Course(encoder.runs).endless)
    decoder = Decoder(x, bits)
    assert [decoder.symbol(sums, 0) for _ in symbols] == symbols
    return x, bits


def theirs(table: tuple[int, ...], symbols: list[int]) -> int:
    model: Any = constriction.stream.model.Categorical(
        np.array(table, dtype=np.float64) / TOTAL, perfect=True
    )
    encoder: Any = constriction.stream.queue.RangeEncoder()
    encoder.encode(np.array(symbols, dtype=np.int32), model)
    words = encoder.get_compressed()
    decoder = constriction.stream.queue.RangeDecoder(words)
    assert decoder.decode(model, len(symbols)).tolist() == symbols
    return 32 * len(words)


@pytest.mark.parametrize(("symbols", "skew"), SOURCES)
def test_never_longer_than_constriction(symbols: int, skew: float, record_property: Any) -> None:
    random, table = Random(symbols), table_of(symbols, skew)
    saved = []
    for count in (1, 8, 45, 200):
        for _ in range(10):
            drawn = draw(random, table, count)
            _, bits = ours(table, drawn)
            other = theirs(table, drawn)
            assert bits <= other
            saved.append(other - bits)
    mean = sum(saved) / len(saved)
    record_property("bits_saved_mean", mean)
    print(f"{symbols} symbols, skew {skew}: {mean:.1f} bits shorter on average")


@pytest.mark.parametrize(("symbols", "skew"), SOURCES)
def test_the_cost_is_the_entropy(symbols: int, skew: float) -> None:
    """Long strings: bits a symbol within what sampling allows of Shannon's entropy."""
    random, table = Random(7), table_of(symbols, skew)
    count = 20_000
    drawn = draw(random, table, count)
    _, bits = ours(table, drawn)
    shares = [each / TOTAL for each in table]
    entropy = float(stats.entropy(shares, base=2))
    spread = sum(share * (log2(1 / share) - entropy) ** 2 for share in shares) ** 0.5
    assert abs(bits / count - entropy) <= 5 * spread / count**0.5 + 0.005
    # And of these very symbols it is the information, to a thousandth of a bit each. It may be
    # some bits less, for the string's length says something too: x bits in one string of 2**x.
    information = sum(log2(TOTAL / table[symbol]) for symbol in drawn)
    assert -12 <= bits - information <= 0.001 * count + 1.1


def test_a_set_costs_about_log2_of_the_binomial_coefficient() -> None:
    """k species of n as yes or no each, all alike likely: no more than naming the set."""
    random = Random(3)
    for n, k in ((24, 3), (96, 5), (64, 8)):
        yes = frequencies([n - k, k])
        costs = []
        for _ in range(40):
            there = set(random.sample(range(n), k))
            _, bits = ours(yes, [int(each in there) for each in range(n)])
            costs.append(bits)
        # Whoever knows k needs log2 C(n, k); not knowing it costs what the binomial law says. The
        # string's end costs up to 1.1 bits, and its length, which is told, saves about 1.
        exact = log2(comb(n, k))
        unknown = -log2(float(stats.binom.pmf(k, n, k / n)))
        assert exact + unknown - 1.5 <= sum(costs) / len(costs) <= exact + unknown + 1.2
