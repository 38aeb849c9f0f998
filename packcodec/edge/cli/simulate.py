"""`packcodec simulate`: what a lossy link delivers, with the schema's own erasure code."""

from collections.abc import Callable
from dataclasses import replace
from random import Random
from typing import Any

import click

from packcodec.base.simulate import (
    Losses,
    Outcome,
    asked,
    bound,
    bursts,
    coded,
    independent,
    losses,
    outage,
    plain,
    repeated,
)
from packcodec.edge.cli.screen import as_json, between, document, say, schema_argument, table
from packcodec.edge.files import load
from packcodec.errors import RadioError
from packcodec.frame.codec import Codec
from packcodec.layout.compiler import compile_layout
from packcodec.layout.model import RepairLayout
from packcodec.radio.link import Link
from packcodec.radio.links import find_link
from packcodec.schema.model import Repair

LATER = 12
LIST_BYTES = 51
DAY_S = 86_400
MOST_INTERVALS = 1_000_000


@click.command()
@schema_argument
@click.option("--loss", default=0.2, type=float, callback=between(0, 0.95), show_default=True)
@click.option(
    "--burst", type=float, callback=between(1, MOST_INTERVALS), help="Mean bad spell, in intervals."
)
@click.option("--outage", "length", type=click.IntRange(1), help="A whole outage of as many.")
@click.option(
    "--every",
    default=720,
    show_default=True,
    type=click.IntRange(1),
    help="Intervals from outage to outage.",
)
@click.option("--intervals", default=10_000, show_default=True, type=click.IntRange(1))
@click.option(
    "--list-loss", type=float, callback=between(0, 1), help="Of missing lists; as --loss."
)
@click.option("--link", "named", default="lora-eu-868.1", show_default=True, help="For airtime.")
@click.option("--seed", default=1, show_default=True)
@as_json
def command(
    schema: str,
    loss: float,
    burst: float | None,
    length: int | None,
    every: int,
    intervals: int,
    list_loss: float | None,
    named: str,
    seed: int,
    as_json: bool,
) -> None:
    """Simulate losses: independent, in bursts (--burst), or with whole outages (--outage).

    The schema's erasure code (the default one, where the schema has none) stands beside sending
    once, sending twice, being asked once a day by a base for what it misses (with the code and
    without), and the bound that no code can pass. Airtime is that of sending once, times so many,
    for payloads as long as a repair symbol.
    """
    codec = load(schema)
    repair, own = _repair(codec)
    draw = Random(seed).random
    lost = losses(_model(loss, burst, length, every, draw), intervals)
    of_lists = loss if list_loss is None else list_loss
    a_day = max(1, DAY_S // codec.schema.policy.interval_s)

    def lists() -> Losses:
        return independent(of_lists, Random(seed + 1).random)

    outcomes = [
        plain(lost),
        repeated(lost, 1),
        repeated(lost, LATER),
        asked(lost, lists(), a_day, LIST_BYTES),
        coded(repair, lost, Random(seed).random),
        asked(lost, lists(), a_day, LIST_BYTES, (repair, Random(seed).random)),
        bound(lost, repair.rate),
    ]
    cost = _costs(codec, repair, find_link(named))
    if as_json:
        document(
            {
                "intervals": intervals,
                "lost": sum(lost),
                "repair_of_the_schema": own,
                "lists_lost": of_lists,
                "intervals_a_day": a_day,
                "outcomes": [_json(each, cost) for each in outcomes],
            }
        )
        return
    kind = repair.repair
    say(f"{sum(lost)} of {intervals} frames lost; window {kind.window}, stride {kind.stride}")
    if not own:
        say("the schema has no [repair]: this is what the default one would do")
    heads = ("scheme", ">delivered", ">median delay", ">95 %", ">airtime", ">wrong")
    table(heads, [_row(each, cost) for each in outcomes])


def _repair(codec: Codec) -> tuple[RepairLayout, bool]:
    """The code of the schema, or else the default one; and whether it is the schema's own."""
    if codec.layout.repair is not None:
        return codec.layout.repair, True
    longest = max(codec.layout.messages, key=lambda message: message.most_frame_bytes)
    schema = replace(codec.schema, repair=Repair((longest.name,)), coding="fixed")
    layout = compile_layout(schema)
    assert layout.repair is not None
    return layout.repair, False


def _model(loss: float, burst: float | None, length: int | None, every: int, draw: Any) -> Losses:
    if length is not None:
        return outage(loss, length, every, draw)
    return independent(loss, draw) if burst is None else bursts(loss, burst, draw)


def _costs(codec: Codec, repair: RepairLayout, link: Link) -> Callable[[Outcome], float | None]:
    """Gives a scheme's airtime over that of sending once; None where its frames do not fit."""
    bits = codec.layout.header_bits + 8 * repair.symbol_bytes
    often = repair.repair.symbols / repair.repair.every

    def airtime_us(more_bits: int) -> int:
        frame_bytes = (bits + more_bits + 7) // 8 + codec.layout.check.octets
        return link.airtime(frame_bytes).airtime_us

    def cost(outcome: Outcome) -> float | None:
        try:
            once = airtime_us(0)
            if outcome.scheme.startswith("twice"):
                each = airtime_us(8 * repair.symbol_bytes) / once
            elif "code" in outcome.scheme:
                each = 1 + often * (airtime_us(repair.bits) / once - 1)
            else:
                each = 1.0
        except RadioError:
            return None
        return each * (outcome.sent + outcome.again) / outcome.sent

    return cost


def _row(outcome: Outcome, cost: Callable[[Outcome], float | None]) -> tuple[object, ...]:
    delays = [outcome.delay(part) if outcome.delays else "" for part in (0.5, 0.95)]
    factor = cost(outcome)
    told = "does not fit" if factor is None else f"{factor:.2f}"
    return outcome.scheme, f"{outcome.share:.4f}", *delays, told, outcome.wrong


def _json(outcome: Outcome, cost: Callable[[Outcome], float | None]) -> dict[str, Any]:
    return {
        "scheme": outcome.scheme,
        "delivered": outcome.share,
        "delay_median": outcome.delay(0.5) if outcome.delays else None,
        "delay_95": outcome.delay(0.95) if outcome.delays else None,
        "airtime_factor": cost(outcome),
        "sent_again": outcome.again,
        "wrong": outcome.wrong,
    }
