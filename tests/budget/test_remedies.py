"""What would make a plan fit does make it fit, and the step before it did not."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

import packcodec.edge
from packcodec.budget.best import COMFORTABLE, best_plan
from packcodec.budget.compare import compare_links
from packcodec.budget.plan import Budget, Supply, plan_budget
from packcodec.budget.remedies import INTERVALS_S, in_words, remedies, replanned
from packcodec.budget.traffic import DAY_S, Expected, Logged, Random, Regular, Sent
from packcodec.edge.files import load
from packcodec.errors import SchemaError
from packcodec.layout.compiler import compile_layout
from packcodec.radio.links import adjusted, find_link, known_links
from packcodec.radio.lora import Lora
from packcodec.schema.model import Integer, Message

DEMO = Path(packcodec.edge.__file__).parent / "demo_data" / "schema.toml"
LAYOUT = load(DEMO).layout


def often(interval_s: int) -> Expected:
    return Expected(
        {"summary": Regular(interval_s), "sighting": Random(Fraction(6)), "health": Regular(DAY_S)}
    )


def plan(link: str, interval_s: int = 3600, supply: Supply | None = None) -> Budget:
    return plan_budget(LAYOUT, find_link(link), often(interval_s), supply=supply)


def test_a_plan_that_fits_needs_no_remedy() -> None:
    assert remedies(plan("lora-eu-868.1")) == ()


def test_every_remedy_fits_and_says_what_it_changes() -> None:
    budget = plan("lora-eu-864.0:sf=10", 600)
    others = [link for name, link in known_links().items() if name.startswith("lora-eu-")]
    assert not budget.fits
    found = remedies(budget, others)
    changes = [remedy.change.split(" ")[0].rstrip(",") for remedy in found]
    assert changes == ["send", "SF9", "at", "link"]
    for remedy in found:
        assert remedy.budget.fits
        assert remedy.budget.layout is budget.layout


def test_the_interval_is_the_shortest_that_fits() -> None:
    budget = plan("lora-eu-864.0:sf=10", 600)
    slower = next(each for each in remedies(budget) if each.change.startswith("send "))
    assert isinstance(slower.budget.traffic, Expected)
    rate = slower.budget.traffic.rates["summary"]
    assert isinstance(rate, Regular)
    shorter_s = max(each for each in INTERVALS_S if each < rate.period_s)
    assert not replanned(budget, traffic=often(shorter_s)).fits
    assert slower.change == f"send {in_words(rate.period_s)}"
    assert slower.budget.traffic.rates["health"] == Regular(DAY_S)


def test_the_spreading_factor_is_the_highest_that_fits() -> None:
    budget = plan("lora-eu-864.0:sf=12")
    faster = next(each for each in remedies(budget) if each.change.startswith("SF"))
    modulation = faster.budget.link.modulation
    assert isinstance(modulation, Lora)
    assert not replanned(budget, link=adjusted(budget.link, sf=modulation.sf + 1)).fits


def test_the_rows_are_the_most_that_fit() -> None:
    budget = plan("lora-eu-864.0:sf=10", 1200)
    shorter = next(each for each in remedies(budget) if " row" in each.change)
    rows = shorter.budget.rows_most
    assert rows is not None
    assert shorter.change == f"at most {rows} row{'s' if rows > 1 else ''}"
    assert not replanned(budget, rows_most=rows + 1).fits


def test_another_link_does_not_whisper_if_a_loud_one_fits() -> None:
    budget = plan("lora-eu-864.0:sf=10", 600)
    others = [find_link("lora-eu-869.85-5mw"), find_link("lora-eu-869.525")]
    elsewhere = next(each for each in remedies(budget, others) if each.change.startswith("link"))
    assert elsewhere.change == "link lora-eu-869.525:sf=10"
    only = next(each for each in remedies(budget, others[:1]) if each.change.startswith("link"))
    assert only.change == "link lora-eu-869.85-5mw:sf=10"


def test_a_logs_interval_is_asked_of_whoever_can_summarise() -> None:
    sent = Logged(tuple(Sent(1, 300 * n, "summary", 55) for n in range(24)))
    budget = plan_budget(LAYOUT, find_link("lora-eu-864.0"), sent)
    asked: list[int] = []

    def at(interval_s: int) -> Logged:
        asked.append(interval_s)
        if interval_s > 7200:
            raise SchemaError("too long")
        return Logged(tuple(Sent(1, interval_s * n, "summary", 55) for n in range(3)))

    assert not budget.fits
    assert not any("send" in each.change for each in remedies(budget))
    assert any(
        each.change == "send every 2 h" or "hourly" in each.change
        for each in remedies(budget, at_interval=at)
    )
    assert asked[0] > LAYOUT.schema.policy.interval_s


@pytest.mark.parametrize(
    ("interval_s", "words"),
    [
        (600, "every 10 min"),
        (3600, "hourly"),
        (7200, "every 2 h"),
        (DAY_S, "daily"),
        (90, "every 90 s"),
    ],
)
def test_intervals_in_words(interval_s: int, words: str) -> None:
    assert in_words(interval_s) == words


def test_the_best_plan_is_the_farthest_reaching_that_leaves_half() -> None:
    best = best_plan(plan("lora-eu-868.1", 600))
    assert best is not None
    modulation = best.budget.link.modulation
    assert isinstance(modulation, Lora)
    assert best.budget.share is not None
    assert best.budget.share <= COMFORTABLE
    farther = replanned(best.budget, link=adjusted(best.budget.link, sf=modulation.sf + 1))
    assert farther.share is not None
    assert farther.share > COMFORTABLE
    assert f"at SF{modulation.sf}: " in best.sentence
    assert "summary every 10 min, " in best.sentence
    assert "of the limit, radio" in best.sentence


def test_the_best_plan_slows_down_before_it_drops_a_message() -> None:
    best = best_plan(plan("lora-eu-864.0", 30))
    assert best is not None
    assert isinstance(best.budget.traffic, Expected)
    assert best.budget.traffic.messages == ("summary", "sighting", "health")
    assert best.budget.traffic.rates["summary"] == Regular(300)


def test_the_best_plan_takes_another_data_rate_of_the_network() -> None:
    """11 bytes carry no health report; the next data rate carries 53."""
    network = [link for name, link in known_links().items() if name.startswith("lorawan-us915-dr")]
    budget = plan("lorawan-us915-dr0")
    assert not budget.fits
    best = best_plan(budget, network)
    assert best is not None
    assert best.budget.link.name == "lorawan-us915-dr1"


def test_the_best_plan_rather_fills_the_limit_than_drops_a_message() -> None:
    """Three sightings of 6.24 s fill half of 36 s, and a summary goes besides."""
    fields = (Integer("count", 0, 255),)
    messages = (Message("summary", 0, fields), Message("sighting", 1, fields))
    layout = compile_layout(replace(LAYOUT.schema, messages=messages))
    traffic = Expected({"sighting": Random(Fraction(9), 3), "summary": Regular(3600)})
    best = best_plan(plan_budget(layout, find_link("unb-eu-868.13"), traffic))
    assert best is not None
    assert best.budget.traffic.messages == ("sighting", "summary")
    assert best.budget.filled > COMFORTABLE


def test_a_logs_own_interval_is_told() -> None:
    sent = tuple(Sent(1, 1800 * n, "summary", 30) for n in range(9))
    best = best_plan(plan_budget(LAYOUT, find_link("lora-eu-868.1"), Logged(sent, 1800)))
    assert best is not None
    assert best.sentence.startswith("all messages, summaries every 30 min, at SF12: ")


def test_the_best_plan_drops_what_no_interval_lets_through() -> None:
    """Five uplinks of 6.24 s fit an hour: twenty sightings do not, two summaries do."""
    fields = (Integer("count", 0, 255),)
    messages = (Message("summary", 0, fields), Message("sighting", 1, fields))
    layout = compile_layout(replace(LAYOUT.schema, messages=messages))
    traffic = Expected({"sighting": Random(Fraction(50), 20), "summary": Regular(3600)})
    best = best_plan(plan_budget(layout, find_link("unb-eu-868.13"), traffic))
    assert best is not None
    assert best.budget.traffic.messages == ("summary",)
    assert best.sentence.startswith("summary hourly (without sighting), at unb-eu-868.13: 35 %")


def test_nothing_fits_a_link_that_is_not_legal() -> None:
    assert best_plan(plan("lora-us-low:power_dbm=20")) is None


def test_links_side_by_side_share_the_question() -> None:
    budget = plan("lora-eu-868.1", supply=Supply(awake_h=14.0))
    first, second = compare_links(budget, [find_link("lorawan-eu868-dr0")])
    assert first is budget
    assert second.link.name == "lorawan-eu868-dr0"
    assert second.traffic is budget.traffic
    assert second.supply is budget.supply
