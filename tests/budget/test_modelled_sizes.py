"""Budgets of modelled frames: the mean a day, the 99th percentile for the room and the limits."""

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import packcodec.edge
from packcodec.budget.messages import FRAME_SIZE, MessagePlan, p99_of
from packcodec.budget.plan import Budget, plan_budget
from packcodec.budget.traffic import DAY_S, Expected, Logged, Regular, Sent
from packcodec.edge.files import load
from packcodec.layout.compiler import compile_layout
from packcodec.layout.model import Layout
from packcodec.radio.links import find_link

DEMO = Path(packcodec.edge.__file__).parent / "demo_data" / "schema.toml"
FIXED = load(DEMO).layout
MODELLED = compile_layout(replace(FIXED.schema, coding="modelled"))
LINK = find_link("lora-eu-868.1")
SHORT, LONG = 9, 41


def airtime_us(frame_bytes: int) -> int:
    return LINK.airtime(frame_bytes).airtime_us


def hourly(sizes: list[int], *, at_once: int = 1) -> Logged:
    """One station's summaries, `at_once` of them in the first hour and then one every two hours."""
    hours = [0] * at_once + [2 * n for n in range(1, len(sizes) - at_once + 1)]
    return Logged(
        tuple(Sent(1, 3600 * h, "summary", size) for h, size in zip(hours, sizes, strict=True))
    )


def plan(layout: Layout, traffic: Logged | Expected, link: str = LINK.name) -> Budget:
    return plan_budget(layout, find_link(link), traffic)


def summary_of(budget: Budget) -> MessagePlan:
    return next(message for message in budget.messages if message.name == "summary")


def worst_us(budget: Budget) -> int:
    (use,) = next(each for each in budget.verdicts if each.subject == "eu-868.0-868.6").uses
    return use.used_us


@given(st.lists(st.integers(1, 60), min_size=1, max_size=250))
def test_99_of_100_stay_within(sizes: list[int]) -> None:
    p99 = p99_of(Counter(sizes))
    assert p99 in sizes
    assert sum(size <= p99 for size in sizes) >= Fraction(99, 100) * len(sizes)
    assert sum(size < p99 for size in sizes) < Fraction(99, 100) * len(sizes)


def test_the_fullest_hour_counts_each_frame_at_the_99th_percentile_at_least() -> None:
    """Three short frames in one hour; of the 100 frames two are long, elsewhere."""
    log = hourly([SHORT] * 98 + [LONG] * 2, at_once=3)
    modelled, fixed = plan(MODELLED, log), plan(FIXED, log)
    assert summary_of(modelled).p99_bytes == LONG
    assert worst_us(fixed) == 3 * airtime_us(SHORT)
    assert worst_us(modelled) == 3 * airtime_us(LONG)


def test_a_frame_that_was_longer_still_counts_as_it_was() -> None:
    log = hourly([55, *[SHORT] * 99, *[LONG] * 2])
    assert summary_of(plan(MODELLED, log)).p99_bytes == LONG
    assert worst_us(plan(MODELLED, log)) == airtime_us(55)


def test_a_day_is_the_mean_of_the_sizes_as_they_were() -> None:
    log = hourly([SHORT] * 98 + [LONG] * 2)
    summary = summary_of(plan(MODELLED, log))
    whole_us = 98 * airtime_us(SHORT) + 2 * airtime_us(LONG)
    assert summary.typical_bytes == SHORT
    assert summary.airtime_us_per_day == int(Fraction(whole_us, log.station_days))
    assert summary.bytes_per_day == pytest.approx((98 * SHORT + 2 * LONG) / log.station_days)
    assert summary.p99_airtime is not None
    assert summary.p99_airtime.airtime_us == airtime_us(LONG)


@pytest.mark.parametrize(
    ("layout", "longer", "fits"),
    [(MODELLED, 0, True), (MODELLED, 1, True), (MODELLED, 2, False), (FIXED, 1, False)],
)
def test_the_room_bears_what_one_frame_in_a_hundred_lacks(
    layout: Layout, longer: int, fits: bool
) -> None:
    """A health report has no rows to give up; 11 bytes are all that this link has room for."""
    sizes = [11] * (100 - longer) + [13] * longer
    sent = tuple(Sent(1, DAY_S * day, "health", size) for day, size in enumerate(sizes))
    budget = plan(layout, Logged(sent), "lorawan-us915-dr0")
    verdict = next(each for each in budget.verdicts if each.subject == FRAME_SIZE)
    assert verdict.fits is fits
    assert (f"({longer} % of them)" in verdict.told) is (longer > 0)


def test_modelled_rows_fill_the_room_to_its_last_byte() -> None:
    """11 full fixed rows take 51 bytes at most; how much modelled ones take nobody knows before."""
    log = hourly([SHORT] * 6 + [51] * 3 + [53])
    summary = summary_of(plan(MODELLED, log, "lorawan-eu868-dr0"))
    assert (summary.sent_bytes, summary.beyond_share) == (51, 0.1)
    budget = plan(MODELLED, log, "lorawan-eu868-dr0")
    assert "is cut to 51 in 10 % of frames (at least 10 of 12 rows go" in budget.verdicts[0].told


def test_without_a_log_a_day_is_the_bound_whatever_is_typical() -> None:
    bare = Expected({"summary": Regular(3600)})
    told = replace(bare, typical={"summary": SHORT})
    one, other = (summary_of(plan(MODELLED, traffic)) for traffic in (bare, told))
    assert (one.typical_bytes, other.typical_bytes) == (None, SHORT)
    assert other.p99_bytes is None
    assert one.greatest_bytes == 56
    assert one.airtime_us_per_day == other.airtime_us_per_day == 24 * airtime_us(56)
    assert worst_us(plan(MODELLED, told)) == 2 * airtime_us(56)
