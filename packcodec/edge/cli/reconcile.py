"""`packcodec reconcile`: a card's log against what came by radio."""

import sys
from typing import Any

import click

from packcodec.base.reconcile import Finding, Reconciliation, reconcile
from packcodec.edge.cli.screen import as_json, document, say, schema_argument, table
from packcodec.edge.files import load
from packcodec.edge.log_traffic import read_logs, summarised
from packcodec.edge.parts import part
from packcodec.edge.untold_words import sum_words, untold_json

LOG_FILE = click.Path(dir_okay=False)


@click.command()
@schema_argument
@click.argument("log", type=LOG_FILE)
@click.argument("store")
@click.option("--watch", type=LOG_FILE, help="Effort log: CSV with station, start, end, clock.")
@click.option("--health", type=LOG_FILE, help="Health log: CSV with time, station and the fields.")
@as_json
def command(
    schema: str, log: str, store: str, watch: str | None, health: str | None, as_json: bool
) -> None:
    """Compare LOG, a card's detections (CSV), with what STORE has by radio.

    The card's records are kept in the store beside the radio's. Exit 1 where any contradict.
    """
    part("sqlalchemy", "base")
    from packcodec.edge.database import open_database
    from packcodec.edge.store_report import keep_card, radio_records, untold_by_station

    codec = load(schema)
    logs = read_logs(codec, log, watch, health)
    summary = summarised(codec, logs)
    engine = open_database(store)
    found = reconcile(codec.schema, summary.records, radio_records(engine, codec))
    untold = [one for _, theirs in untold_by_station(engine, codec) for one in theirs]
    new = keep_card(engine, summary.records, log)
    if as_json:
        document(_json(found, new) | {"untold": [untold_json(one) for one in untold]})
    else:
        _tell(found, new)
        for line in sum_words(untold):
            say(f"by radio, {line}")
    sys.exit(1 if found.count(Finding.CONTRADICTED) else 0)


def _tell(found: Reconciliation, new: int) -> None:
    say(f"{len(found.compared)} records on the card, of which")
    for finding in Finding:
        say(f"  {found.count(finding)} {finding}")
    if found.only_radio:
        say(f"{len(found.only_radio)} records by radio that the card does not have")
    for each in found.compared:
        if each.finding is Finding.CONTRADICTED:
            about = f"{each.card.message} of station {each.card.station}"
            say(f"CONTRADICTED: {about}: {'; '.join(each.differences)}")
    table(
        ("species", ">visits on the card", ">by radio", ">under-reported"),
        [
            (name, told.card_visits, told.radio_visits, f"{100 * told.under_report:.0f} %")
            for name, told in found.species.items()
        ],
    )
    say(f"{new} records of the card are new in the store")


def _json(found: Reconciliation, new: int) -> dict[str, Any]:
    return {
        "card": len(found.compared),
        "findings": {finding.name.lower(): found.count(finding) for finding in Finding},
        "only_radio": len(found.only_radio),
        "contradicted": [
            {"record": each.card.to_json(), "differences": list(each.differences)}
            for each in found.compared
            if each.finding is Finding.CONTRADICTED
        ],
        "species": {
            name: {
                "card_visits": told.card_visits,
                "radio_visits": told.radio_visits,
                "under_report": told.under_report,
            }
            for name, told in found.species.items()
        },
        "new_in_store": new,
    }
