"""`packcodec simulate`: what a lossy link delivers, with the schema's own erasure code."""

from dataclasses import replace
from random import Random
from typing import Any

import click

from packcodec.base.simulate import (
    Losses,
    Outcome,
    bound,
    bursts,
    coded,
    independent,
    losses,
    outage,
    plain,
    repeated,
)
from packcodec.edge.cli.screen import as_json, document, say, schema_argument, table
from packcodec.edge.files import load
from packcodec.errors import SchemaError
from packcodec.frame.codec import Codec
from packcodec.layout.compiler import compile_layout
from packcodec.layout.model import RepairLayout
from packcodec.schema.model import Repair

LATER = 12


@click.command()
@schema_argument
@click.option("--loss", default=0.2, type=click.FloatRange(0, 0.95), show_default=True)
@click.option("--burst", type=click.FloatRange(1), help="Mean bad spell, in intervals.")
@click.option("--outage", "length", type=click.IntRange(1), help="A whole outage of as many.")
@click.option("--every", default=720, show_default=True, help="Intervals from outage to outage.")
@click.option("--intervals", default=10_000, show_default=True, type=click.IntRange(1))
@click.option("--seed", default=1, show_default=True)
@as_json
def command(
    schema: str,
    loss: float,
    burst: float | None,
    length: int | None,
    every: int,
    intervals: int,
    seed: int,
    as_json: bool,
) -> None:
    """Simulate losses: independent, in bursts (--burst), or with whole outages (--outage).

    The schema's erasure code (the default one, where the schema has none) stands beside sending
    once, sending twice, and the bound that no code can pass.
    """
    codec = load(schema)
    repair, own = _repair(codec)
    draw = Random(seed).random
    lost = losses(_model(loss, burst, length, every, draw), intervals)
    outcomes = [
        plain(lost),
        repeated(lost, 1),
        repeated(lost, LATER),
        coded(repair, lost, Random(seed).random),
        bound(lost, repair.rate),
    ]
    if as_json:
        document(
            {
                "intervals": intervals,
                "lost": sum(lost),
                "repair_of_the_schema": own,
                "outcomes": [_json(each) for each in outcomes],
            }
        )
        return
    kind = repair.repair
    say(f"{sum(lost)} of {intervals} frames lost; window {kind.window}, stride {kind.stride}")
    if not own:
        say("the schema has no [repair]: this is what the default one would do")
    table(("scheme", ">delivered", ">median delay", ">95 %", ">wrong"), [_row(o) for o in outcomes])


def _repair(codec: Codec) -> tuple[RepairLayout, bool]:
    """The code of the schema, or else the default one; and whether it is the schema's own."""
    if codec.layout.repair is not None:
        return codec.layout.repair, True
    longest = max(codec.layout.messages, key=lambda message: message.most_frame_bytes)
    schema = replace(codec.schema, repair=Repair((longest.name,)), coding="fixed")
    layout = compile_layout(schema)
    if layout.repair is None:
        raise SchemaError("takes no repair", place=schema.name)
    return layout.repair, False


def _model(loss: float, burst: float | None, length: int | None, every: int, draw: Any) -> Losses:
    if length is not None:
        return outage(loss, length, every, draw)
    return independent(loss, draw) if burst is None else bursts(loss, burst, draw)


def _row(outcome: Outcome) -> tuple[object, ...]:
    delays = [outcome.delay(part) if outcome.delays else "" for part in (0.5, 0.95)]
    return outcome.scheme, f"{outcome.share:.4f}", *delays, outcome.wrong


def _json(outcome: Outcome) -> dict[str, Any]:
    return {
        "scheme": outcome.scheme,
        "delivered": outcome.share,
        "delay_median": outcome.delay(0.5) if outcome.delays else None,
        "delay_95": outcome.delay(0.95) if outcome.delays else None,
        "wrong": outcome.wrong,
    }
