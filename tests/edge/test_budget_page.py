"""The budget's page: whole in itself, and drawn by a real browser at phone and desk width."""

import http.server
import shutil
import subprocess
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from html.parser import HTMLParser
from pathlib import Path
from typing import TypeAlias

import pytest
from conftest import Command

import packcodec.edge
from packcodec.budget.verdict import NO_LICENCE
from packcodec.edge.budget_charts import BLUE, ORANGE, RED
from packcodec.radio.energy import LITHIUM_CAUTION

image = pytest.importorskip("PIL.Image", reason="reading screenshots needs pillow (matplotlib)")

DATA = Path(packcodec.edge.__file__).parent / "demo_data"
LOGS = ("--log", DATA / "detections.csv", "--watch", DATA / "watch.csv")
SEASON = ("--season", "2027-04-01/2027-04-30", "--latitude", "57", "--battery-wh", "400")
CHARTS = {
    "Airtime by hour against the limit",
    "Bytes by message",
    "Battery by day",
    "Loss by stations",
}
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
Box: TypeAlias = tuple[float, float, float, float]
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
)
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")


class Seen(HTMLParser):
    """Labels of pictures, ids, texts, and everything that could be fetched."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.labels: list[str] = []
        self.ids: Counter[str] = Counter()
        self.tags: Counter[str] = Counter()
        self.links: list[str] = []
        self.texts: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.tags[tag] += 1
        for name, value in attributes:
            if name == "aria-label" and tag == "svg":
                self.labels.append(value or "")
            if name == "id":
                self.ids[value or ""] += 1
            if name in ("src", "href", "xlink:href", "action", "data", "poster", "srcset"):
                self.links.append(value or "")

    def handle_data(self, data: str) -> None:
        self.texts.append(data.strip())


@pytest.fixture
def page(packcodec: Command, tmp_path: Path) -> Path:
    file = tmp_path / "page.html"
    options = ("--link", "lora-eu-868.1", *LOGS, *SEASON, "--stations", "12", "--html", file)
    assert packcodec("budget", DATA / "schema.toml", *options).code == 0
    return file


def test_the_page_has_its_four_pictures_and_every_caution(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    seen = Seen(text)
    assert set(seen.labels) == CHARTS
    for words in ("limit", "typical", "in the pack", "drawn that day", "frames lost", NO_LICENCE,
                  LITHIUM_CAUTION, "hour of the day, UTC", "days from 2027-04-01"):  # fmt: skip
        assert words in seen.texts
    assert "ETSI EN 300 220-2, V3.3.1 (2025-03), Table 4" in text


def test_nothing_in_the_page_could_be_fetched(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    seen = Seen(text)
    assert seen.links
    assert all(link.startswith("#") for link in seen.links)
    assert {link.removeprefix("#") for link in seen.links} <= set(seen.ids)
    assert not {"script", "link", "img", "iframe", "object", "embed"} & set(seen.tags)
    assert "@import" not in text
    assert "url(http" not in text
    assert "default-src 'none'" in text


def test_pictures_do_not_share_a_name(page: Path) -> None:
    seen = Seen(page.read_text(encoding="utf-8"))
    assert seen.ids
    assert max(seen.ids.values()) == 1


def test_a_plan_that_does_not_fit_says_so_on_the_page(packcodec: Command, tmp_path: Path) -> None:
    file = tmp_path / "page.html"
    ran = packcodec("budget", DATA / "schema.toml", "--link", "lora-eu-864.0:sf=11",
                    "--interval", "10min", "--html", file)  # fmt: skip
    assert ran.code == 1
    text = file.read_text(encoding="utf-8")
    assert "It does not fit. eu-863-865: " in text
    assert "What would make it fit" in text
    assert "hour of the watch" in text


def test_a_link_without_a_channel_has_no_picture_of_sharing(
    packcodec: Command, tmp_path: Path
) -> None:
    file = tmp_path / "page.html"
    packcodec("budget", DATA / "schema.toml", "--link", "text-message", "--html", file)
    seen = Seen(file.read_text(encoding="utf-8"))
    assert set(seen.labels) == CHARTS - {"Loss by stations"}
    assert "limit" not in seen.texts


def test_names_are_escaped(packcodec: Command, tmp_path: Path) -> None:
    rules = tmp_path / "own.toml"
    rules.write_text('[[link]]\nname = "<b>hide&"\nlike = "lora-eu-868.1"\n')
    file = tmp_path / "page.html"
    packcodec("budget", DATA / "schema.toml", "--link", "<b>hide&", "--rules", rules,
              "--html", file)  # fmt: skip
    text = file.read_text(encoding="utf-8")
    assert "<b>" not in text
    assert "&lt;b&gt;hide&amp;" in text


def test_a_page_that_cannot_be_written_is_one_line(packcodec: Command, tmp_path: Path) -> None:
    file = tmp_path / "nowhere" / "page.html"
    ran = packcodec("budget", DATA / "schema.toml", "--link", "lora-eu-868.1", "--html", file)
    assert ran.code == 2
    assert ran.err.startswith(f"packcodec: {file}: cannot be written")
    assert ran.err.count("\n") == 1


@contextmanager
def recording_proxy(page: bytes) -> Iterator[tuple[int, list[str]]]:
    """A proxy that answers every request with `page` and keeps what was asked for."""
    asked: list[str] = []

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_response(200)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.send_header("Content-Length", str(len(page)))
            self.end_headers()
            self.wfile.write(page)

        def do_CONNECT(self) -> None:
            asked.append(self.path)
            self.send_error(502)

        def log_message(self, *_: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield server.server_address[1], asked
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def shown(page: bytes, folder: Path, width: int, height: int) -> tuple[Path, list[str]]:
    """A screenshot of the page, and the addresses that showing it asked for."""
    assert CHROMIUM is not None
    shot, profile = folder / f"{width}.png", folder / f"profile-{width}"
    with recording_proxy(page) as (port, asked):
        subprocess.run(
            [
                CHROMIUM,
                *FLAGS,
                f"--user-data-dir={profile}",
                f"--proxy-server=http://127.0.0.1:{port}",
                f"--window-size={width},{height}",
                f"--screenshot={shot}",
                "http://sedgemere.invalid/page.html",
            ],
            check=True,
            capture_output=True,
            timeout=120,
        )
        return shot, list(asked)


def of_pages(asked: list[str]) -> set[str]:
    """What the page asked for, without the page itself, its icon, and the browser's own calls."""
    of_page = {address for address in asked if ".invalid" in address}
    return of_page - {f"http://sedgemere.invalid/{name}" for name in ("page.html", "favicon.ico")}


def pixels(shot: Path, colour: str, box: Box) -> int:
    """How many pixels of that colour lie in a part of the screenshot; edges as shares 0..1."""
    with image.open(shot) as picture:
        left, top, right, bottom = box
        wide, high = picture.size
        part = picture.convert("RGB").crop(
            (int(left * wide), int(top * high), int(right * wide), int(bottom * high))
        )
    wanted = tuple(bytes.fromhex(colour.removeprefix("#")))
    counted = part.getcolors(maxcolors=part.width * part.height) or []
    return sum(n for n, found in counted if found == wanted)


# The parts of the page in which each of the four pictures stands, roughly: one under the other on
# a phone, two in a row on a desk.
PHONE = [(0.0, 0.17 + 0.132 * n, 1.0, 0.28 + 0.132 * n) for n in range(4)]
DESK = [(x, y, x + 0.5, y + 0.3) for y in (0.1, 0.38) for x in (0.0, 0.5)]


@needs_chromium
@pytest.mark.parametrize(("width", "height", "parts"), [(390, 2600, PHONE), (1200, 1600, DESK)])
def test_a_browser_draws_every_picture_and_fetches_nothing(
    page: Path, tmp_path: Path, width: int, height: int, parts: list[Box]
) -> None:
    shot, asked = shown(page.read_bytes(), tmp_path, width, height)
    assert "http://sedgemere.invalid/page.html" in asked
    assert of_pages(asked) == set()
    for part in parts:
        assert pixels(shot, BLUE, part) > 100
        assert pixels(shot, ORANGE, part) > 30
    assert pixels(shot, RED, (0, 0, 1, 1)) > 100
    # Nothing runs over the edge of a phone.
    with image.open(shot) as picture:
        edge = picture.convert("RGB").crop((width - 6, 0, width, height))
        assert edge.getextrema() == ((255, 255), (255, 255), (255, 255))


@needs_chromium
def test_the_test_would_see_a_fetch_and_a_blank_page(tmp_path: Path) -> None:
    bad = b"<html><body><img src='http://elsewhere.invalid/a.png'></body></html>"
    shot, asked = shown(bad, tmp_path, 390, 600)
    assert of_pages(asked) == {"http://elsewhere.invalid/a.png"}
    assert pixels(shot, BLUE, (0, 0, 1, 1)) == 0
