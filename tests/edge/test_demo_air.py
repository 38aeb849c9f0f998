"""The demonstration's air: every number of it adds up, exactly."""

from collections import Counter
from importlib.resources import as_file, files
from pathlib import Path
from shutil import copyfile

import pytest

from packcodec.base.reconcile import Finding
from packcodec.edge.files import load
from packcodec.edge.log_traffic import read_logs
from packcodec.monitor.whole_log import summarise

pytest.importorskip("sqlalchemy", reason="the part [base] is not installed")

from packcodec.edge.demo_air import REPAIR, run_demo_air


def test_the_sums(tmp_path: Path) -> None:
    with as_file(files("packcodec.edge") / "demo_data") as folder:
        for name in ("schema.toml", "species.csv"):
            copyfile(folder / name, tmp_path / name)
        with (tmp_path / "schema.toml").open("a", encoding="utf-8") as schema:
            schema.write(REPAIR)
        codec = load(tmp_path / "schema.toml")
        names = ("detections.csv", "watch.csv", "health.csv")
        logs = read_logs(codec, *(str(folder / name) for name in names))
    assert logs.watches is not None
    assert logs.health is not None
    records = summarise(codec, logs.detections.rows, logs.watches.rows, logs.health.rows).records
    air = run_demo_air(codec, records, tmp_path / "air.db")

    assert air.sent == len(records)
    assert air.sent == (
        air.heard + air.recovered + air.too_long + air.missing + air.before_and_after
    )
    assert air.receptions == air.heard + air.copies
    assert air.wrong == 0
    assert not air.changed_by_replay
    assert air.in_outage > 20
    assert 0.7 < air.heard / air.sent < 0.85
    assert air.recovered > air.lost, "most of what was lost is won back"

    findings = Counter(each.finding for each in air.found.compared)
    assert sum(findings.values()) == len(records)
    assert findings[Finding.LOST] == air.lost
    assert findings[Finding.CONTRADICTED] == 0
    assert findings[Finding.LEFT_OUT] > 0
    assert findings[Finding.AGREED] + findings[Finding.LEFT_OUT] == air.heard + air.recovered
    assert air.found.only_radio == []
    assert all(0 <= told.under_report <= 1 for told in air.found.species.values())
    said = "\n".join(air.lines())
    assert f"{air.sent:,} frames sent" in said
    assert f"{findings[Finding.LOST]:,} lost" in said
