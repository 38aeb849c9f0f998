"""The budget's page: whole in itself, and drawn by a real browser at phone and desk width."""

import io
import shutil
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from conftest import Command

import packcodec.edge
from packcodec.budget.verdict import NO_LICENCE
from packcodec.edge.budget_charts import BLUE, ORANGE, RED
from packcodec.edge.cli import program
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
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


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


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("page") / "page.html"
    options = ("--link", "lora-eu-868.1", *LOGS, *SEASON, "--stations", "12", "--html", file)
    ran = CliRunner().invoke(program, ["budget", str(DATA / "schema.toml"), *map(str, options)])
    assert ran.exit_code == 0
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


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's chromium, driven by playwright."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        pytest.skip("chromium is not installed")
    with playwright.sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=found, args=FLAGS)
        yield chromium
        chromium.close()


@contextmanager
def opened(browser: Any, url: str, width: int) -> Iterator[tuple[Any, list[str], dict[str, str]]]:
    """The page in a window of that width, the addresses that showing it asked for, and of those
    the ones that got nothing, each with its reason."""
    context = browser.new_context(viewport={"width": width, "height": 900})
    asked: list[str] = []
    failed: dict[str, str] = {}
    try:
        tab = context.new_page()
        tab.on("request", lambda request: asked.append(request.url))
        tab.on("requestfailed", lambda request: failed.update({request.url: request.failure}))
        tab.goto(url, wait_until="load")
        yield tab, asked, failed
    finally:
        context.close()


def pixels(shot: bytes, colour: str) -> int:
    """How many pixels of a screenshot have that colour."""
    with image.open(io.BytesIO(shot)) as picture:
        counted = picture.convert("RGB").getcolors(picture.width * picture.height) or []
    wanted = tuple(bytes.fromhex(colour.removeprefix("#")))
    return sum(n for n, found in counted if found == wanted)


@pytest.mark.parametrize(("width", "in_a_row"), [(390, 1), (1200, 2)])
def test_a_browser_draws_every_picture_and_fetches_nothing(
    browser: Any, page: Path, width: int, in_a_row: int
) -> None:
    with opened(browser, page.as_uri(), width) as (tab, asked, _):
        assert asked == [page.as_uri()]
        pictures = tab.locator("figure svg")
        assert pictures.count() == len(CHARTS)
        boxes = [pictures.nth(n).bounding_box() for n in range(len(CHARTS))]
        for n, box in enumerate(boxes):
            assert box["width"] > 0.85 * width / in_a_row
            assert box["x"] + box["width"] <= width
            shot = pictures.nth(n).screenshot()
            assert pixels(shot, BLUE) > 100
            assert pixels(shot, ORANGE) > 50
        assert pixels(pictures.first.screenshot(), RED) > 50
        assert len({round(box["x"]) for box in boxes}) == in_a_row
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
        letters = pictures.first.locator("text").first.bounding_box()
        assert letters["height"] >= 9


def test_paper_has_the_pictures_too(browser: Any, page: Path) -> None:
    with opened(browser, page.as_uri(), 1200) as (tab, _, _):
        tab.emulate_media(media="print")
        pictures = tab.locator("figure svg")
        assert all(pixels(pictures.nth(n).screenshot(), BLUE) > 100 for n in range(len(CHARTS)))


def test_the_test_would_see_a_fetch_and_a_blank_picture(browser: Any, tmp_path: Path) -> None:
    bad = tmp_path / "bad.html"
    bad.write_text("<img src='http://elsewhere.invalid/a.png'><svg width='300' height='200'></svg>")
    with opened(browser, bad.as_uri(), 390) as (tab, asked, _):
        assert "http://elsewhere.invalid/a.png" in asked
        assert pixels(tab.locator("svg").screenshot(), BLUE) == 0


def test_the_page_itself_forbids_a_fetch(browser: Any, page: Path, tmp_path: Path) -> None:
    """With a picture from elsewhere slipped in, the page's own policy stops it."""
    slipped = tmp_path / "slipped.html"
    text = page.read_text(encoding="utf-8")
    slipped.write_text(text.replace("</body>", "<img src='http://elsewhere.invalid/a'></body>"))
    with opened(browser, slipped.as_uri(), 390) as (_, _, failed):
        assert failed == {"http://elsewhere.invalid/a": "csp"}
