"""Weeks with power by day only, audited; and the auditor, audited.

tools/nightly_monitor.py lives 180 days on each of several links.
"""

from random import Random

from batch_schema import batch_codec
from season import Season


def test_a_season_without_a_breach() -> None:
    season = Season("lora-eu-864.0:sf=11", 3.6, 3600, Random(11))
    season.live(45)
    assert season.audit() == []
    assert season.cut_off == 45
    assert season.visits > 25
    assert len(season.bench.sent) > 500


def test_batches_through_a_season_without_a_breach() -> None:
    """Fewer frames for the same hours, and each of them, though the power goes each evening."""
    season = Season("lora-eu-864.0:sf=11", 3.6, 3600, Random(11), batch_codec("modelled"))
    season.live(12)
    assert season.audit() == []
    assert season.cut_off == 12
    records = season.bench.records()
    hours = [len(each.values["hours"]) for each in records if each.message == "summaries"]
    assert sum(hours) > 12 * 13
    assert max(hours) >= 5
    assert len(records) < sum(hours)


def test_the_auditor_sees_each_kind_of_breach() -> None:
    season = Season("lora-eu-864.0:sf=11", 3.6, 3600, Random(3))
    season.live(2)
    assert season.audit() == []
    bench = season.bench
    at_s, ops, frame = bench.sent[-1]
    bench.sent += [(at_s + 10 * n, ops, frame) for n in range(1, 15)]
    told = season.audit()
    assert any("in the window" in line for line in told)
    assert any("sent 15 times" in line for line in told)
    season.visits += 1000
    assert any("sightings arrived" in line for line in season.audit())
