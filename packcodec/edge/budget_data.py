"""A budget for programs: one JSON document."""

from collections.abc import Iterable
from typing import Any

from packcodec.budget.best import Best
from packcodec.budget.edges import Edges
from packcodec.budget.messages import MessagePlan
from packcodec.budget.plan import Budget
from packcodec.budget.remedies import Remedy
from packcodec.budget.season import Season
from packcodec.budget.sharing import Sharing
from packcodec.budget.verdict import Verdict
from packcodec.radio.modulations import Airtime


def budget_data(budget: Budget, edges: Iterable[Edges]) -> dict[str, Any]:
    """One link's budget."""
    energy, supply = budget.energy, budget.supply
    price = budget.price_per_day
    return {
        "link": budget.link.name,
        "fits": budget.fits,
        "share": _number(budget.share),
        "airtime_s_per_day": budget.airtime_us_per_day / 1e6,
        "room_bytes": budget.room.frame_bytes,
        "messages": [_message(message) for message in budget.messages],
        "verdicts": [_verdict(verdict) for verdict in budget.verdicts],
        "energy": {
            "battery_wh": supply.pack.energy_wh,
            "awake_w": supply.load.awake_w,
            "awake_h": supply.awake_h,
            "solar_wh_per_day": supply.solar_wh,
            "monitor_wh_per_day": energy.day.monitor_wh,
            "radio_wh_per_day": energy.day.radio_wh if energy.radio_known else None,
            "radio_share": energy.day.radio_share if energy.radio_known else None,
            "radio_counted_at_dbm": energy.counted_dbm,
            "bytes_per_joule": energy.bytes_per_joule,
            "days": energy.days,
        },
        "price_per_day": _number(price),
        "currency": budget.link.currency if price is not None else None,
        "edges": [edges_data(each) for each in edges],
    }


def remedy_data(remedy: Remedy) -> dict[str, Any]:
    """One change, and the share of the tightest limit that it leaves used."""
    return {"change": remedy.change, "share": _number(remedy.budget.share)}


def best_data(best: Best | None) -> dict[str, Any] | None:
    """The plan that fits best; None for none."""
    if best is None:
        return None
    budget = best.budget
    return {"sentence": best.sentence, "link": budget.link.name, "share": _number(budget.share)}


def sharing_data(sharing: Sharing) -> dict[str, Any]:
    """What stations that share the channels lose to one another; losses are shares, 0 to 1."""
    return {
        "stations": sharing.stations,
        "loss": sharing.loss,
        "busy_loss": sharing.busy_loss,
        "channels": sharing.channels,
        "airtime_s": sharing.airtime_us / 1e6,
        "period_s": sharing.period_us / 1e6,
        "most_stations": [{"loss": loss, "stations": n} for loss, n in sharing.most],
        "spread_s": sharing.spread_us / 1e6,
    }


def season_data(season: Season) -> dict[str, Any]:
    """The battery's course over a season, a row a day; `empty_on` is None where it lasts."""
    return {
        "days": season.days,
        "empty_on": None if season.empty_on is None else season.empty_on.isoformat(),
        "needs_wh": season.needs_wh,
        "needs_solar_wh_per_day": season.needs_solar_wh,
        "radio_share": season.radio_share,
        "course": [
            {
                "day": day.day.isoformat(),
                "awake_h": day.awake_h,
                "draw_wh": day.draw_wh,
                "radio_wh": day.radio_wh,
                "left_wh": day.left_wh,
            }
            for day in season.course
        ],
    }


def edges_data(edges: Edges) -> dict[str, Any]:
    """The block edges round one message's greatest frame."""
    return {
        "message": edges.message,
        "frame_bytes": edges.frame_bytes,
        "airtime_s": edges.airtime_us / 1e6,
        "free_bits": edges.free_bits,
        "excess_bits": edges.excess_bits,
        "step_s": edges.step_us / 1e6,
        "fields": [
            {
                "field": field.path,
                "bits": field.bits,
                "times": field.times,
                "costs_s": field.saved_us / 1e6,
            }
            for field in edges.fields
        ],
        "trims": [
            {
                "change": trim.change,
                "field": trim.path,
                "bits": trim.bits,
                "saves_s": trim.saved_us / 1e6,
            }
            for trim in edges.trims
        ],
    }


def _message(message: MessagePlan) -> dict[str, Any]:
    return {
        "name": message.name,
        "frames_per_day": float(message.frames_per_day),
        "least_bytes": message.least_bytes,
        "typical_bytes": message.typical_bytes,
        "p99_bytes": message.p99_bytes,
        "greatest_bytes": message.greatest_bytes,
        "sent_bytes": message.sent_bytes,
        "rows": message.rows,
        "rows_most": message.rows_most,
        "beyond_share": message.beyond_share,
        "least_airtime_s": _airtime_s(message.least_airtime),
        "typical_airtime_s": _airtime_s(message.typical_airtime),
        "p99_airtime_s": _airtime_s(message.p99_airtime),
        "greatest_airtime_s": _airtime_s(message.sent_airtime),
        "airtime_s_per_day": message.airtime_us_per_day / 1e6,
        "bytes_per_day": message.bytes_per_day,
    }


def _verdict(verdict: Verdict) -> dict[str, Any]:
    return {
        "rule": verdict.subject,
        "fits": verdict.fits,
        "told": verdict.told,
        "share": _number(verdict.share),
        "limits": [
            {
                "limit": use.limit,
                "used_s": use.used_us / 1e6,
                "allowed_s": use.allowed_us / 1e6,
                "share": float(use.share),
                "made_of": dict(use.made_of),
            }
            for use in verdict.uses
        ],
        "power": verdict.power,
        "clause": verdict.clause,
        "evidence": verdict.evidence,
        "caution": verdict.caution,
    }


def _airtime_s(airtime: Airtime | None) -> float | None:
    return None if airtime is None else airtime.airtime_s


def _number(value: Any) -> float | None:
    return None if value is None else float(value)
