"""The pages in a real browser, at phone and desk width: drawn, quiet, reachable by keyboard.

Needs Debian's chromium and the Python package playwright (without its own browsers); skipped where
either is absent.
"""

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from small_dataset import DAY, dataset, demo, row, small, summary

from packcodec.base.events import Forgeries
from packcodec.dataset.build import Heard
from packcodec.dataset.model import Dataset
from packcodec.dataset.protect import protect
from packcodec.edge.dataset_source import Told as Source
from packcodec.edge.report_page import report_page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")
sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytest.importorskip("matplotlib", reason="the part [dataset] is not installed")

FLAGS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update"),
]
WIDTHS = (390, 1280)
ALARM = Forgeries(1, DAY.date(), 130)

# Contrast as WCAG 2.2 defines it (success criterion 1.4.3; from memory): the relative luminances
# of a text and of the nearest background behind it, each plus 0.05, as a ratio.
CONTRASTS = """() => {
  const light = ([r, g, b]) => {
    const [x, y, z] = [r, g, b].map(v => v / 255).map(
      v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * x + 0.7152 * y + 0.0722 * z;
  };
  const rgb = text => (text.match(/[\\d.]+/g) || []).map(Number);
  const behind = node => {
    for (let at = node; at; at = at.parentElement) {
      const [r, g, b, a = 1] = rgb(getComputedStyle(at).backgroundColor);
      if (a > 0) return [r, g, b];
    }
    return [255, 255, 255];
  };
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim() || !node.getClientRects().length) continue;
    const style = getComputedStyle(node);
    const svg = node instanceof SVGElement;
    const ink = rgb(svg ? style.fill : style.color);
    const [one, other] = [light(ink), light(svg ? [255, 255, 255] : behind(node))];
    const ratio = (Math.max(one, other) + 0.05) / (Math.min(one, other) + 0.05);
    found.push([ratio, walker.currentNode.data.trim().slice(0, 40)]);
  }
  return found;
}"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync_api.sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> str:
    path: Path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(report_page(protect(demo()), failed=[ALARM]), encoding="utf-8")
    return path.as_uri()


def opened(browser: Any, address: str, width: int) -> tuple[Any, list[str], list[str]]:
    """The page, everything it asked for, and everything it complained of."""
    asked: list[str] = []
    said: list[str] = []
    page = browser.new_page(viewport={"width": width, "height": 844})
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(address)
    return page, asked, said


@pytest.mark.parametrize("width", WIDTHS)
def test_the_report_is_drawn_and_asks_for_nothing(browser: Any, report: str, width: int) -> None:
    page, asked, said = opened(browser, report, width)
    assert asked == [report]
    assert said == []
    boxes = [each.bounding_box() for each in page.query_selector_all("svg")]
    assert len(boxes) >= 12
    assert all(box["width"] >= 250 and box["height"] >= 100 for box in boxes)
    assert all(box["x"] >= 0 and box["x"] + box["width"] <= width for box in boxes)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()


def test_letters_in_pictures_can_be_read_on_a_phone(browser: Any, report: str) -> None:
    page, _, _ = opened(browser, report, 390)
    heights = page.evaluate(
        "[...document.querySelectorAll('svg text')].map(t => t.getBoundingClientRect().height)"
    )
    assert len(heights) > 100
    assert min(heights) >= 8
    page.close()


@pytest.mark.parametrize("width", WIDTHS)
def test_every_letter_stands_out_from_what_is_behind_it(
    browser: Any, report: str, width: int
) -> None:
    page, _, _ = opened(browser, report, width)
    found = page.evaluate(CONTRASTS)
    assert len(found) > 300
    assert [each for each in found if each[0] < 4.5] == []
    page.close()


def test_the_contrast_check_sees_pale_letters(browser: Any) -> None:
    page = browser.new_page()
    page.set_content("<p style='color:#999;background:#eee'>pale</p><p>dark</p>")
    (pale, _), (dark, _) = page.evaluate(CONTRASTS)
    assert pale < 3
    assert dark == pytest.approx(21)
    page.close()


def test_a_keyboard_reaches_every_part_and_scrolls_every_table(browser: Any, report: str) -> None:
    page, _, _ = opened(browser, report, 390)
    wanted = page.evaluate("document.querySelectorAll('a, summary, [tabindex=\"0\"]').length")
    reached = set()
    for _ in range(wanted):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.outerHTML.slice(0, 120)"))
    assert len(reached) == wanted
    assert sum("href" in each for each in reached) == 6
    page.focus("[aria-label^='Every species']")
    page.keyboard.press("ArrowRight")
    scrolled = "document.querySelector('[aria-label^=\"Every species\"]').scrollLeft"
    # Not wait_for_function: it evaluates text inside the page, which the page's policy forbids.
    for _ in range(100):
        if page.evaluate(scrolled) > 0:
            break
        page.wait_for_timeout(50)
    assert page.evaluate(scrolled) > 0
    page.close()


NOW = DAY + timedelta(hours=10)
TOKEN = "a-token-long-enough-for-anybody"


@dataclass
class Told:
    """What the base has heard so far; a test may add to it."""

    heard: tuple[Heard, ...]

    def read(self) -> tuple[Source, Dataset]:
        return Source(self.heard), dataset(*self.heard)


@pytest.fixture
def base() -> Iterator[tuple[str, Told]]:
    """A live page on a free port of this machine."""
    uvicorn = pytest.importorskip("uvicorn", reason="the part [serve] is not installed")
    serve = pytest.importorskip("packcodec.edge.serve", reason="the part [serve] is not installed")
    records = [summary(n, n, row("mallard")) for n in (0, 1, 2, 3, 5)]
    told = Told(
        tuple(
            Heard(each, DAY + timedelta(hours=each.sequence + 1), "radio", each.sequence)
            for each in records
        )
    )
    watch = serve.Watch(told.read, lambda: len(told.heard), lambda: NOW)
    app = serve.live_app(watch, token=TOKEN, period_s=0.05)
    server = uvicorn.Server(
        uvicorn.Config(app, port=0, log_level="critical", timeout_graceful_shutdown=1)
    )
    thread = Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive()
        thread.join(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}/", told
    server.should_exit = True
    thread.join(10)


@pytest.mark.parametrize("width", WIDTHS)
def test_the_live_page_follows_what_the_base_hears(
    browser: Any, base: tuple[str, Told], width: int
) -> None:
    address, told = base
    page, asked, said = opened(browser, address, width)
    page.wait_for_selector("#line:text('Connected')")
    assert "Overdue" in page.inner_text("main")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert [each for each in page.evaluate(CONTRASTS) if each[0] < 4.5] == []
    page.focus("[aria-label^='Gaps']")
    told.heard += (Heard(summary(6, 9, row("mallard")), NOW, "radio", 6),)
    page.wait_for_selector("main :text('Heard as usual')")
    assert page.evaluate("document.activeElement.ariaLabel").startswith("Gaps")
    assert all(each.startswith(address) for each in asked)
    assert said == []
    page.close()


def test_a_keyboard_enters_the_token(browser: Any, base: tuple[str, Told]) -> None:
    address, _ = base
    page, asked, said = opened(browser, address, 390)
    page.focus("a[href=enter]")
    page.keyboard.press("Enter")
    page.wait_for_selector("#token")
    page.focus("#token")
    page.keyboard.type(TOKEN)
    page.keyboard.press("Enter")
    page.wait_for_selector("text=Nothing is kept back")
    assert all(each.startswith(address) and TOKEN not in each for each in asked)
    assert said == []
    page.close()


def test_headings_go_down_one_step_at_a_time(browser: Any, report: str) -> None:
    page, _, _ = opened(browser, report, 1280)
    levels = page.evaluate("[...document.querySelectorAll('h1,h2,h3')].map(h => +h.tagName[1])")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    page.close()


def test_it_prints_on_few_sheets_of_paper(browser: Any, tmp_path: Path) -> None:
    path = tmp_path / "small.html"
    path.write_text(report_page(protect(small())), encoding="utf-8")
    page, _, _ = opened(browser, path.as_uri(), 1280)
    printed = page.pdf(format="A4")
    assert printed.startswith(b"%PDF")
    assert 1 <= printed.count(b"/Type /Page\n") + printed.count(b"/Type /Page ") <= 5
    page.close()
