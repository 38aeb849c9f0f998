"""What a log's records would have sent: their sizes, and when they were ready."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from small_schema import EPOCH, at, codec_of, saw, watched

import packcodec.edge
from packcodec.budget.traffic import Sent
from packcodec.edge.files import load
from packcodec.edge.log_traffic import Logs, read_logs, traffic_of, watch_s_a_day
from packcodec.edge.logs import Rows
from packcodec.errors import LogError, SchemaError
from packcodec.monitor import Health, Stretch
from packcodec.monitor.whole_log import summarise

DATA = Path(packcodec.edge.__file__).parent / "demo_data"
START = int(EPOCH.timestamp())


def logs_of(*detections: object, watches: tuple[Stretch, ...] = (), health: object = None) -> Logs:
    return Logs(
        Rows(list(detections)),  # type: ignore[arg-type]
        Rows(list(watches)),
        None if health is None else Rows([health]),  # type: ignore[list-item]
    )


def test_sizes_are_those_of_the_encoded_frames() -> None:
    codec = load(DATA / "schema.toml")
    logs = read_logs(
        codec, *(str(DATA / f"{name}.csv") for name in ("detections", "watch", "health"))
    )
    assert logs.watches is not None
    assert logs.health is not None
    records = summarise(codec, logs.detections.rows, logs.watches.rows, logs.health.rows).records
    traffic = traffic_of(codec, logs)
    encoded = sorted((r.station, r.message, len(codec.encode(r))) for r in records)
    assert encoded == sorted((s.station, s.message, s.frame_bytes) for s in traffic.sent)


def test_a_sealed_schema_needs_no_key_to_be_weighed() -> None:
    seal = ("sequence_bits = 16", 'sequence_bits = 18\nseal = "ccm8"')
    logs = logs_of(saw("05:10", "coot"), watches=(watched("05:00", "06:00"),))
    (open_frame,), (sealed,) = (
        traffic_of(codec, logs).sent for codec in (codec_of(), codec_of(seal))
    )
    assert sealed.message == open_frame.message == "summary"
    assert sealed.frame_bytes >= open_frame.frame_bytes + 5


def test_a_record_is_ready_when_its_interval_is_over() -> None:
    codec = codec_of()
    health = Health(1, at("05:30"), {"battery_mv": 4000})
    logs = logs_of(
        saw("05:10", "coot"), saw("05:20:30", "otter"),
        watches=(watched("05:00", "06:00"),), health=health,
    )  # fmt: skip
    ready = {each.message: each.at_s - START for each in traffic_of(codec, logs).sent}
    # A sighting's time is told to the minute, a health report's to the hour.
    assert ready == {"summary": 6 * 3600, "sighting": 5 * 3600 + 20 * 60, "health": 5 * 3600}


def test_summaries_of_an_unset_clock_follow_one_another_by_the_interval() -> None:
    codec = codec_of()
    unset = Stretch(1, EPOCH - timedelta(hours=3), EPOCH, clock_trusted=False)
    logs = logs_of(watches=(watched("05:00", "06:00"), unset))
    ready = [each.at_s - START for each in traffic_of(codec, logs).sent]
    assert ready == [6 * 3600, 7 * 3600, 8 * 3600, 9 * 3600]


def test_another_interval_is_another_traffic() -> None:
    codec = codec_of(("step_s = 3600, span_s = 15811200", "step_s = 1800, span_s = 15811200"))
    logs = logs_of(watches=(watched("05:00", "09:00"),))
    assert len(traffic_of(codec, logs).sent) == 4
    assert len(traffic_of(codec, logs, 1800).sent) == 8
    with pytest.raises(SchemaError):
        traffic_of(codec, logs, 7200)


def test_watched_seconds_a_day_are_a_mean_over_station_days() -> None:
    logs = logs_of(watches=(watched("05:00", "06:00"), watched("07:00", "09:00"),
                            watched("05:00", "10:00", day=1)))  # fmt: skip
    assert watch_s_a_day(logs) == 4 * 3600
    assert watch_s_a_day(replace(logs, watches=None)) is None


def test_a_log_that_is_not_there_is_named() -> None:
    with pytest.raises(LogError, match=r"nowhere\.csv"):
        read_logs(codec_of(), "nowhere.csv", None, None)


def test_traffic_is_in_the_order_of_station_and_time() -> None:
    logs = logs_of(saw("05:20", "otter"), saw("05:10", "otter", station=2),
                   saw("04:10", "bittern"))  # fmt: skip
    sent = traffic_of(codec_of(), logs).sent
    assert [each.station for each in sent] == sorted(each.station for each in sent)
    assert all(isinstance(each, Sent) for each in sent)
