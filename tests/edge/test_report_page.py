"""The report as text: what stands in it, and what must not."""

import json
import re
from dataclasses import replace
from datetime import date, timedelta
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner
from small_dataset import (
    DAY,
    FOLDER,
    dataset,
    demo,
    demo_codec,
    row,
    sighting,
    small,
    summary,
)

from packcodec.base.events import Forgeries
from packcodec.base.failures import ALARM_A_DAY, MOST_KEPT_A_DAY
from packcodec.base.untold import Untold, Why
from packcodec.codec.record import AtLeast, Record
from packcodec.dataset.build import Heard
from packcodec.dataset.model import Dataset
from packcodec.dataset.protect import protect
from packcodec.edge.cli.report import command
from packcodec.edge.lines import record_line
from packcodec.edge.report_airtime import airtime_used
from packcodec.errors import LogError
from packcodec.radio.links import find_link

pytest.importorskip("matplotlib", reason="the part [dataset] is not installed")
pytest.importorskip("jinja2", reason="the part [dataset] is not installed")

from packcodec.edge.report_page import cares, report_page

VOID = {"meta", "br", "link", "img", "input", "hr"}


class Reader(HTMLParser):
    """The page's text and addresses; the stack must be empty at the end."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.addresses: list[str] = []
        self.words: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in VOID:
            self.open.append(tag)
        for name, value in attrs:
            if name == "id" and value:
                self.ids.append(value)
            if name in ("href", "src", "xlink:href", "srcset", "action") and value:
                self.addresses.append(value)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def read(data: Dataset, **more: object) -> Reader:
    return Reader(report_page(data, **more))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def page() -> str:
    return report_page(protect(demo()))


def test_the_page_is_well_formed_and_points_only_into_itself(page: str) -> None:
    reader = Reader(page)
    assert reader.open == []
    assert len(set(reader.ids)) == len(reader.ids)
    assert reader.addresses
    assert {each[1:] for each in reader.addresses} <= set(reader.ids)
    assert all(each.startswith("#") for each in reader.addresses)


def test_nothing_in_it_could_be_fetched_or_run(page: str) -> None:
    assert "default-src 'none'" in page
    assert "<script" not in page
    assert "url(data:" not in page
    assert "@import" not in page
    assert not re.search(r"url\((?!#)", page)


def test_every_picture_has_a_name_and_is_drawn(page: str) -> None:
    pictures = re.findall(r"<svg.*?</svg>", page, re.DOTALL)
    assert len(pictures) >= 12
    for each in pictures:
        assert re.search(r'<svg role="img" aria-label="[^"]+"', each)
        assert each.count("<path") + each.count("<use") > 10


def test_it_says_that_the_data_are_invented(page: str) -> None:
    assert "Invented data." in Reader(page).text


def test_sensitive_species_are_kept_back_unless_ordered(page: str) -> None:
    assert "white-tailed eagle" not in page
    assert "north hide" not in page
    exact = read(protect(demo(), exact=True)).text
    assert "white-tailed eagle" in exact
    assert "north hide" in exact
    assert "not for publication" in exact


def test_no_report_before_it_is_protected() -> None:
    with pytest.raises(LogError, match="kept back"):
        report_page(small())


def test_the_figures_are_those_of_the_dataset() -> None:
    told = [summary(n, 6 + n, row("mallard", 2)) for n in range(12)]
    text = read(protect(dataset(*told))).text
    assert "visits 24 " in text
    assert "days of 24 h watched 0.5 " in text
    # 24 visits in half a day: 4800 per 100 days.
    assert "mallard Anas platyrhynchos 24 4800" in text


def test_a_clamped_count_reads_or_more() -> None:
    text = read(protect(dataset(summary(0, 6, row("mallard", AtLeast(15), AtLeast(16)))))).text
    assert "mallard Anas platyrhynchos 15+" in text


def test_gaps_are_listed_with_what_is_around_them() -> None:
    text = read(protect(small())).text
    assert "1 gap: frames that were sent and never came" in text
    assert "1 2027-04-02 08:00 2027-04-02 09:00" in text


def test_visits_in_lost_frames_are_among_the_figures() -> None:
    known = Untold("summary", "rows.visits", 1, 3, 1, 7)
    unknown = Untold("summary", "rows.visits", 5, 900, 895, None, Why.TOO_LONG)
    assert "visits counted" not in read(protect(small())).text
    data = replace(small(), untold=((1, known), (2, known), (2, unknown)))
    text = read(protect(data)).text
    assert "visits counted, but in no record 14, and 1 stretch unknown" in text


FIRST, LAST = date(2027, 4, 1), date(2027, 4, 21)


def test_alarms_of_the_period_are_a_line_for_each_station_and_day() -> None:
    data = small()
    assert min(each.start for each in data.deployments).date() == FIRST
    assert max(each.end for each in data.deployments).date() == LAST
    failed = [
        Forgeries(1, FIRST - timedelta(days=1), 777),
        Forgeries(1, FIRST, ALARM_A_DAY),
        Forgeries(1, LAST, MOST_KEPT_A_DAY),
        Forgeries(1, LAST + timedelta(days=1), 777),
        Forgeries(9, LAST, 345),
    ]
    text = read(protect(data, exact=True), failed=failed).text
    assert "3 alarms: frames that name a station do not verify. See 'What is missing'." in text
    assert "north hide 2027-04-01 100 north hide 2027-04-21 2,000+ station 9 2027-04-21 345" in text
    assert "no proof of an attack: a wrong key looks the same" in text
    assert "packcodec redecode" in text
    assert "777" not in text
    assert "fewer than" not in text
    assert "north hide 2027" not in read(protect(data), failed=failed).text


def test_failures_that_are_no_alarm_are_one_note() -> None:
    few = [Forgeries(1, LAST, ALARM_A_DAY - 1), Forgeries(2, LAST, 2)]
    text = read(protect(small()), failed=few).text
    assert f"{ALARM_A_DAY + 1} frames that named a station did not verify on days with" in text
    assert "alarm" not in text
    assert "not verify" not in read(protect(small())).text


def health(sequence: int, hour: float, **values: object) -> Record:
    told = {"battery_mv": 4000, "temperature_c": 9, "storage_percent": 60, "restarts": 0}
    at = DAY + timedelta(hours=hour)
    return Record("health", {"at": at, "state": (), **told, **values}, 1, sequence)


@pytest.mark.parametrize(
    ("record", "said"),
    [
        (health(0, 8, battery_mv=3380), "the battery is low, 3380 mV at last."),
        (health(0, 8, storage_percent=4), "the card is nearly full, 4 % free at last."),
        (summary(0, None), "its clock was unset for a while; what it saw then has no date."),
        (summary(0, 20 * 24 - 12), None),
    ],
)
def test_what_a_ranger_should_look_after(record: Record, said: str | None) -> None:
    lines = [each for each in cares(protect(dataset(record))) if each.startswith("north hide: ")]
    lines = [each for each in lines if "nobody knows of" not in each]
    assert lines == ([] if said is None else [f"north hide: {said}"])


def test_a_season_without_a_record_is_still_a_page() -> None:
    reader = read(protect(dataset()))
    assert reader.open == []
    assert "No animal was told of." in reader.text
    assert "nobody knows of 100% of its time" in reader.text


def test_names_from_files_cannot_become_markup() -> None:
    data = small()
    bad = replace(data.project, title="<script>alert(1)</script>")
    homes = tuple(replace(each, name="<b>&") for each in data.deployments)
    page = report_page(protect(replace(data, project=bad, deployments=homes), exact=True))
    assert "<script" not in page
    assert "<b>&" not in page


def test_a_long_season_is_shown_by_the_week() -> None:
    data = dataset(*(summary(n, 24 * n, row("coot")) for n in range(18)))
    longer = tuple(replace(each, end=each.end + timedelta(days=80)) for each in data.deployments)
    assert "every week" in read(protect(replace(data, deployments=longer))).text


def test_airtime_is_that_of_the_frames_against_the_band_limit() -> None:
    link = find_link("lora-eu-868.1")
    records = [summary(n, 6 + n / 60) for n in range(10)]
    used = airtime_used(demo_codec(), link, small(), [Heard(each) for each in records])
    ((_, most),) = used.fullest["north hide"]
    one = link.airtime(len(demo_codec().encode(records[0]))).airtime_us / 1e6
    assert most == pytest.approx(10 * one)
    assert used.limit_s == 36  # 1 % of an hour
    kept_back, exact = (
        read(protect(small(), exact=whole), airtime=used).text for whole in (False, True)
    )
    assert f"{most:.1f} s on the air" in kept_back
    assert "Airtime against the limit" not in kept_back
    assert "Airtime against the limit" in exact


def test_the_command_writes_one_file(tmp_path: Path) -> None:
    records = tmp_path / "records.jsonl"
    lines = [summary(0, 6, row("mallard")), sighting(1, 6.5, "otter")]
    records.write_text("".join(f"{record_line(each)}\n" for each in lines), encoding="utf-8")
    arguments = [
        *(str(FOLDER / "schema.toml"), str(records), "--html", str(tmp_path / "r.html")),
        *("--deployments", str(FOLDER / "deployments.csv")),
        *("--project", str(FOLDER / "project.toml"), "--link", "lora-eu-868.1", "--json"),
    ]
    ran = CliRunner().invoke(command, arguments, catch_exceptions=False)
    assert json.loads(ran.output)["written"] == str(tmp_path / "r.html")
    assert "On lora-eu-868.1, the fullest hour" in (tmp_path / "r.html").read_text("utf-8")
