"""The live page's server: who is shown what, and what is pushed."""

import asyncio
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from small_dataset import DAY, FOLDER, dataset, row, sighting, summary

from packcodec.base.events import Forgeries
from packcodec.codec.record import Record
from packcodec.dataset.build import Heard
from packcodec.dataset.live import live
from packcodec.dataset.model import Dataset
from packcodec.dataset.protect import protect
from packcodec.edge.cli.serve import command, read_token
from packcodec.edge.dataset_source import Told, source_mark
from packcodec.edge.live_words import ago, as_json, as_words
from packcodec.errors import LogError

pytest.importorskip("starlette", reason="the part [serve] is not installed")
pytest.importorskip("httpx2", reason="httpx2 is not installed")

from starlette.testclient import TestClient

from packcodec.edge.serve import Watch, is_loopback, live_app

HOUR = timedelta(hours=1)
NOW = DAY + 10 * HOUR
TOKEN = "a-token-long-enough-for-anybody"


def heard(record: Record, hour: float) -> Heard:
    return Heard(record, DAY + hour * HOUR, "radio", record.sequence)


HEARD = (
    heard(summary(0, 6, row("mallard", 2), row("otter")), 7),
    heard(sighting(1, 7.5, "white_tailed_eagle"), 7.5),
    heard(summary(2, 7, row("mallard", 1)), 8),
    heard(summary(3, 8), 9),
    heard(summary(0, 5, station=2), 6),
    heard(summary(1, 6, station=2), 7),
    heard(summary(3, 7, row("coot"), station=2), 8),
)


@dataclass
class Source:
    """A store that can be told more, or fail."""

    heard: tuple[Heard, ...] = HEARD
    fails: str = ""
    mark: int = 0

    def read(self) -> tuple[Told, Dataset]:
        if self.fails:
            raise LogError(self.fails)
        return Told(self.heard), dataset(*self.heard)

    def watch(self, clock: Callable[[], datetime] = lambda: NOW) -> Watch:
        return Watch(self.read, lambda: self.mark, clock)


def client(source: Source | None = None, **more: Any) -> TestClient:
    app = live_app((source or Source()).watch(), **more)
    return TestClient(app, base_url="http://127.0.0.1:8740", follow_redirects=False)


def test_the_state_says_who_is_late_and_what_was_seen() -> None:
    now = live(protect(dataset(*HEARD), exact=True), HEARD, NOW)
    one, two, three, _ = now.stations
    assert (one.name, one.last_heard, one.overdue) == ("north hide", DAY + 9 * HOUR, False)
    assert [(name, count.value) for name, count in one.today] == [
        ("mallard", 3),
        ("Eurasian otter", 1),
    ]
    assert one.watched_today_s == 3 * 3600
    # Station 2 was never silent for longer than an hour, and now is for two.
    assert (two.overdue, two.overdue_from) == (True, DAY + 9.5 * HOUR)
    assert two.missing == 1
    assert (three.last_heard, three.overdue) == (None, False)
    (alert,) = now.alerts
    assert (alert.species, alert.station) == ("white-tailed eagle", "north hide")


def test_what_is_kept_back_is_kept_back_here_too() -> None:
    now = live(protect(dataset(*HEARD)), HEARD, NOW)
    assert now.alerts == ()
    assert now.stations[0].name == "station 1"


def test_what_keeps_only_its_day_is_news_when_the_day_is_over() -> None:
    told = (*HEARD, heard(sighting(4, 9, "otter"), 9))
    today = live(protect(dataset(*told)), told, NOW)
    assert today.alerts == ()
    assert "Eurasian otter" not in dict(today.stations[0].today)
    (tomorrow,) = live(protect(dataset(*told)), told, NOW + 24 * HOUR).alerts
    assert (tomorrow.species, tomorrow.at, tomorrow.to_the_day) == ("Eurasian otter", DAY, True)


def test_a_frame_between_the_regular_ones_is_told_only_to_who_may_know() -> None:
    told = (*HEARD, heard(sighting(4, 9.5, "white_tailed_eagle"), 9.5))
    for exact, last in ((False, 9), (True, 9.5)):
        now = live(protect(dataset(*told), exact=exact), told, NOW)
        assert now.stations[0].last_heard == DAY + last * HOUR


def test_old_news_is_no_alert() -> None:
    late = live(protect(dataset(*HEARD), exact=True), HEARD, NOW + timedelta(days=8))
    assert late.alerts == ()
    assert late.gaps == ()
    assert late.stations[0].today == ()


def test_words_escape_nothing_and_json_keeps_times() -> None:
    now = live(protect(dataset(*HEARD), exact=True), HEARD, NOW)
    assert as_words(now, "")["stations"][0]["ago"] == "1 h ago"
    assert as_json(now, "")["stations"][0]["last_heard"] == "2027-04-02T09:00:00Z"
    json.dumps(as_json(now, ""))


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(-5, "just now"), (59, "just now"), (60, "1 min ago"), (7199, "1 h ago"), (90000, "1 d ago")],
)
def test_lengths_of_time(seconds: float, said: str) -> None:
    assert ago(timedelta(seconds=seconds)) == said


def test_anybody_on_this_machine_sees_what_may_be_published() -> None:
    page = client(token=TOKEN).get("/")
    assert page.status_code == 200
    assert "station 1" in page.text
    assert "eagle" not in page.text
    assert "Overdue" in page.text


@pytest.mark.parametrize("local", [True, False])
def test_the_token_shows_everything(local: bool) -> None:
    with_token = client(token=TOKEN, local=local)
    page = with_token.get("/", headers={"Authorization": f"Bearer {TOKEN}"})
    assert "white-tailed eagle" in page.text
    assert "north hide" in page.text


@pytest.mark.parametrize("path", ["/state.json", "/live"])
@pytest.mark.parametrize("header", ["", "Bearer wrong", f"Basic {TOKEN}", "Bearer "])
def test_from_elsewhere_nothing_is_answered_without_it(path: str, header: str) -> None:
    answer = client(token=TOKEN, local=False).get(path, headers={"Authorization": header})
    assert answer.status_code == 401
    assert "station" not in answer.text


def test_from_elsewhere_the_page_asks_for_it() -> None:
    answer = client(token=TOKEN, local=False).get("/")
    assert (answer.status_code, answer.headers["location"]) == (303, "enter")


def test_entering_it_gives_a_cookie_that_is_not_the_token() -> None:
    browser = client(token=TOKEN, local=False)
    assert browser.post("/enter", data={"token": "wrong"}).status_code == 403
    assert browser.get("/").status_code == 303
    entered = browser.post("/enter", data={"token": TOKEN})
    cookie = entered.headers["set-cookie"]
    assert TOKEN not in cookie
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert "white-tailed eagle" in browser.get("/").text
    browser.get("/leave")
    assert browser.get("/").status_code == 303


def test_without_a_token_nothing_can_be_entered() -> None:
    browser = client(token="")
    assert browser.post("/enter", data={"token": ""}).status_code == 403
    forged = browser.get("/state.json", headers={"Authorization": "Bearer "})
    assert "eagle" not in forged.text


def test_another_sites_name_for_this_machine_is_refused() -> None:
    answer = client().get("/state.json", headers={"Host": "sedgemere.example"})
    assert answer.status_code == 421
    assert client().get("/state.json", headers={"Host": "localhost:8740"}).status_code == 200
    assert client().get("/state.json", headers={"Host": "[::1]:8740"}).status_code == 200


@pytest.mark.parametrize("path", ["/", "/enter", "/style.css", "/live.js", "/state.json"])
def test_every_answer_forbids_what_the_page_does_not_need(path: str) -> None:
    answer = client(token=TOKEN).get(path)
    assert answer.status_code == 200
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_no_coordinate_is_shown_to_anybody() -> None:
    for headers in ({}, {"Authorization": f"Bearer {TOKEN}"}):
        for path in ("/", "/state.json"):
            text = client(token=TOKEN).get(path, headers=headers).text
            assert not re.search(r"54\.7|2\.6\d", text)


def test_a_trouble_leaves_the_last_state_standing_and_says_so() -> None:
    source = Source()
    browser = client(source)
    assert "cannot read its store" not in browser.get("/").text
    source.fails, source.mark = "the disk is gone", 1
    page = browser.get("/").text
    assert "cannot read its store" in page
    assert "the disk is gone" in page
    assert "station 1" in page
    source.fails = ""
    assert "cannot read its store" not in browser.get("/").text


def test_a_first_reading_that_fails_is_an_error() -> None:
    with pytest.raises(LogError, match="the disk is gone"):
        Source(fails="the disk is gone").watch().state(exact=False)


async def first_events(app: Any, count: int, between: Callable[[], None]) -> list[str]:
    """The first events of the stream; `between` is called after each."""
    events: list[str] = []
    done = asyncio.Event()

    async def receive() -> dict[str, Any]:
        await done.wait()
        return {"type": "http.disconnect"}

    async def send(message: dict[str, Any]) -> None:
        text = message.get("body", b"").decode()
        if text:
            events.append(text)
            between()
        if len(events) >= count:
            done.set()

    scope = {
        "type": "http",
        "method": "GET",
        "path": "/live",
        "query_string": b"",
        "headers": [(b"host", b"127.0.0.1")],
        "scheme": "http",
        "server": ("127.0.0.1", 8740),
    }
    await asyncio.wait_for(app(scope, receive, send), 20)
    return events


def test_the_stream_sends_the_state_and_again_when_it_changes() -> None:
    source = Source(HEARD[:4])

    def more() -> None:
        source.heard, source.mark = HEARD, 1

    events = asyncio.run(first_events(live_app(source.watch(), period_s=0.01), 2, more))
    assert all(each.startswith("event: state\ndata: ") and each.endswith("\n\n") for each in events)
    assert all(line.startswith(("event: ", "data: ")) for line in events[0].strip().splitlines())
    assert "Overdue" not in events[0]
    assert "Overdue" in events[1]
    assert "eagle" not in "".join(events)


def test_frames_that_do_not_verify_raise_an_alarm_for_two_days() -> None:
    days = (0, 1, 2, -1)
    told = Told(
        HEARD,
        unverified=tuple(
            Forgeries(station, NOW.date() - timedelta(days=day), 130 if station < 9 else 99)
            for station, day in [*enumerate(days, 1), (9, 0)]
        ),
    )
    watch = Watch(lambda: (told, dataset(*HEARD)), lambda: 0, lambda: NOW)
    browser = TestClient(live_app(watch), base_url="http://127.0.0.1")
    page = browser.get("/").text
    assert [f"station {n}: ALARM: 130 frames" in page for n in (1, 2, 3, 4, 9)] == [
        *(True, True, False, False, False)
    ]
    assert len(browser.get("/state.json").json()["alarms"]) == 2


def test_what_comes_by_radio_cannot_become_markup() -> None:
    data = dataset(*HEARD)
    homes = tuple(replace(each, name="<img src=x>") for each in data.deployments)
    watch = Watch(lambda: (Told(HEARD), replace(data, deployments=homes)), lambda: 0, lambda: NOW)
    browser = TestClient(live_app(watch, token=TOKEN), base_url="http://127.0.0.1")
    page = browser.get("/", headers={"Authorization": f"Bearer {TOKEN}"}).text
    assert "<img" not in page
    assert "&lt;img" in page


@pytest.mark.parametrize(
    ("host", "loopback"),
    [
        ("127.0.0.1", True),
        ("127.9.9.9", True),
        ("::1", True),
        ("localhost", True),
        ("0.0.0.0", False),
        ("::", False),
        ("192.168.1.5", False),
        ("localhost.example", False),
    ],
)
def test_what_only_this_machine_reaches(host: str, loopback: bool) -> None:
    assert is_loopback(host) is loopback


FILES = (
    "--deployments",
    str(FOLDER / "deployments.csv"),
    "--project",
    str(FOLDER / "project.toml"),
)


def test_another_address_than_loopback_needs_a_token(tmp_path: Path) -> None:
    arguments = [str(FOLDER / "schema.toml"), str(tmp_path / "s.db"), *FILES, "--host", "0.0.0.0"]
    with pytest.raises(LogError, match="--token-file"):
        CliRunner().invoke(command, arguments, catch_exceptions=False)


def test_the_command_listens_where_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    uvicorn = pytest.importorskip("uvicorn")
    called: dict[str, Any] = {}
    monkeypatch.setattr(uvicorn, "run", lambda app, **more: called.update(more, app=app))
    records = tmp_path / "records.jsonl"
    records.write_text("", encoding="utf-8")
    arguments = [str(FOLDER / "schema.toml"), str(records), *FILES, "--port", "8741"]
    ran = CliRunner().invoke(command, arguments, catch_exceptions=False)
    assert "http://127.0.0.1:8741/" in ran.output
    assert (called["host"], called["port"], called["access_log"]) == ("127.0.0.1", 8741, False)
    browser = TestClient(called["app"], base_url="http://127.0.0.1:8741")
    assert "Not heard yet" in browser.get("/").text


def test_a_token_is_made_for_its_owner_alone(tmp_path: Path) -> None:
    path = tmp_path / "token"
    token = read_token(path)
    assert len(token) >= 32
    assert path.stat().st_mode & 0o077 == 0
    assert read_token(path) == token
    path.write_text("short\n", encoding="utf-8")
    with pytest.raises(LogError, match="has 5 letters"):
        read_token(path)


def test_the_mark_of_a_file_changes_with_it(tmp_path: Path) -> None:
    path = tmp_path / "records.jsonl"
    with pytest.raises(LogError, match="not there"):
        source_mark(str(path))
    path.write_text("", encoding="utf-8")
    before = source_mark(str(path))
    assert source_mark(str(path)) == before
    path.write_text("more\n", encoding="utf-8")
    assert source_mark(str(path)) != before
