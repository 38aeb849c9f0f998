"""What a log's records would have sent: their sizes, and when they were ready."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Literal

import pytest
from batch_schema import batch_codec
from small_schema import EPOCH, at, codec_of, saw, watched

import packcodec.edge
from packcodec.budget.traffic import Sent
from packcodec.codec.record import Record
from packcodec.edge.files import load
from packcodec.edge.log_traffic import Logs, read_logs, traffic_of, watch_s_a_day
from packcodec.edge.logs import Rows
from packcodec.errors import LogError, SchemaError
from packcodec.frame.codec import Codec
from packcodec.frame.fill import frame_bytes
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


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
def test_batches_wait_for_company_and_go_when_the_oldest_is_old_enough(
    coding: Literal["fixed", "modelled"],
) -> None:
    """Hours that end at 6 to 17, and 5 h of patience: six go at 11, the other six at 17."""
    codec = batch_codec(coding)
    logs = logs_of(watches=(watched("05:00", "17:00"),))
    sent = traffic_of(codec, logs).sent
    assert [(each.at_s - START) // 3600 for each in sent] == [11, 17]
    assert {each.message for each in sent} == {"summaries"}
    patient = traffic_of(batch_codec(coding, ("batch_min = 300", "batch_min = 900")), logs)
    assert [(each.at_s - START) // 3600 for each in patient.sent] == [21]
    patient = traffic_of(batch_codec(coding, ("batch_min = 300", "batch_min = 1440")), logs)
    assert [(each.at_s - START) // 3600 for each in patient.sent] == [30]
    assert patient.station_days == 1
    alone = traffic_of(batch_codec(coding, ("batch_min = 300", "batch_min = 0")), logs).sent
    assert [(each.at_s - START) // 3600 for each in alone] == list(range(6, 18))
    assert sum(each.frame_bytes for each in sent) < sum(each.frame_bytes for each in alone) / 2


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
def test_a_full_batch_goes_when_the_next_element_comes(
    coding: Literal["fixed", "modelled"],
) -> None:
    codec = batch_codec(coding)
    logs = logs_of(
        *(saw(f"{hour:02}:10", label) for hour in range(5, 17) for label in ("coot", "teal")),
        watches=(watched("05:00", "17:00"),),
    )
    summaries = [
        record
        for record in summarise(codec, logs.detections.rows, logs.watches.rows).records  # type: ignore[union-attr]
        if record.message == "summaries"
    ]
    one = frame_bytes(codec, summaries[0])
    for room_bytes in (one + 12, one + 24, 60):
        sent = [
            each
            for each in traffic_of(codec, logs, room_bytes=room_bytes).sent
            if each.message == "summaries"
        ]
        assert max(each.frame_bytes for each in sent) <= room_bytes
        at = 0
        for each in sent:
            held = _as_many_as_fit(codec, summaries[at : at + 6], room_bytes)
            assert each.frame_bytes == frame_bytes(codec, held)
            at += len(held.values["hours"])
            # Full: when the next is ready. Not full: 5 h after the oldest was.
            hour = (each.at_s - START) // 3600
            assert hour in (6 + at, 6 + at - len(held.values["hours"]) + 5)
        assert at == len(summaries) == 12


def _as_many_as_fit(codec: Codec, summaries: list[Record], room_bytes: int) -> Record:
    """One after the other, without the halving that the code under test uses."""
    fitting = summaries[0]
    for number in range(2, len(summaries) + 1):
        hours = [
            {**each.values["hours"][0], "after": 3600 * (at > 0)}
            for at, each in enumerate(summaries[:number])
        ]
        longer = Record("summaries", {**summaries[0].values, "hours": hours})
        if frame_bytes(codec, longer) > room_bytes:
            break
        fitting = longer
    return fitting


def test_elements_of_another_clock_go_in_a_frame_of_their_own() -> None:
    unset = Stretch(1, EPOCH - timedelta(hours=3), EPOCH, clock_trusted=False)
    logs = logs_of(watches=(watched("05:00", "06:00"), unset))
    sent = traffic_of(batch_codec(), logs).sent
    assert len(sent) == 2


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


def test_times_that_wrap_give_the_traffic_of_those_that_do_not(tmp_path: Path) -> None:
    text = (DATA / "schema.toml").read_text()
    (tmp_path / "schema.toml").write_text(text.replace(', beyond = "reject"', ""))
    (tmp_path / "species.csv").write_text((DATA / "species.csv").read_text())
    files = [str(DATA / f"{name}.csv") for name in ("detections", "watch", "health")]
    whole, wrapping = load(DATA / "schema.toml"), load(tmp_path / "schema.toml")
    assert wrapping.layout.identity != whole.layout.identity
    told = traffic_of(wrapping, read_logs(wrapping, *files))
    assert told == traffic_of(whole, read_logs(whole, *files))
    assert told.station_days == 84
