"""The pages as a validator, a browser at phone width and the rules of accessibility see them."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import subprocess
import tempfile
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest

from pathway.views.documents.document import Figure
from pathway.views.documents.files import html
from tests.examples import NAMES
from tests.views.documents.made import family, family_html, need, team, team_html

PACKAGES = ("axe-core@4.11.0", "vnu-jar@26.9.27")
PHONE, DESK = 390, 1200


@cache
def packages() -> Path:
    """The folder of the npm packages: as given by NODE_PACKAGES, else fetched; skips with the reason where not."""
    given = os.environ.get("NODE_PACKAGES")
    if given:
        return Path(given)
    folder = Path(__file__).parents[3] / ".cache" / "npm"
    if not folder.exists():
        npm = need("npm")
        folder.parent.mkdir(exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder.parent) as draft:
            command = [npm, "install", "--no-audit", "--no-fund", "--ignore-scripts", "--prefix", draft, *PACKAGES]
            done = subprocess.run(command, capture_output=True, timeout=120)
            if done.returncode:
                pytest.skip("npm cannot fetch axe-core and vnu-jar here")
            with contextlib.suppress(OSError):  # another worker was first
                Path(draft).rename(folder)
                Path(draft).mkdir()
    return folder / "node_modules"


@pytest.fixture(scope="module")
def browser():
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed here")
    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if chromium is None:
        pytest.skip("no Chromium is installed here")
    with playwright.sync_playwright() as running:
        opened = running.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        yield opened
        opened.close()


class Fetched(HTMLParser):
    """Collects whatever a page would fetch from elsewhere."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [f"{tag} {name}" for name, _ in attrs if name in ("src", "href", "srcset", "data", "xlink:href")]
        if tag in ("script", "link", "iframe", "object", "embed"):
            self.found.append(tag)


@pytest.mark.parametrize("name", NAMES)
def test_a_page_needs_nothing_from_elsewhere(name: str) -> None:
    for page in (family_html(name), team_html(name)):
        parser = Fetched()
        parser.feed(page)
        assert parser.found == []
        assert "url(" not in page
        assert "@import" not in page


@pytest.mark.parametrize("name", NAMES)
def test_language_title_and_caution_are_told(name: str) -> None:
    for page, document in ((family_html(name), family(name)), (team_html(name), team(name))):
        assert f'<html lang="{document.language}" dir="ltr">' in page
        assert f"<title>{document.title} · {document.subtitle}</title>" in page
        assert "the treating surgeon decides" in page


def test_every_drawing_carries_its_words() -> None:
    drawn = [block for block in family("rowan-02").blocks if isinstance(block, Figure)]
    assert len(re.findall(r'role="img"', family_html("rowan-02"))) == 2 * len(drawn) == 8
    for block in drawn:
        assert len(block.wide.alternative) > 80


def test_hostile_words_stay_words() -> None:
    from dataclasses import replace

    page = html(replace(family("rowan-02"), title="<script>alert(1)</script>"))
    assert "<script" not in page
    assert "&lt;script&gt;" in page


def test_the_validator_of_the_standard_finds_nothing(tmp_path: Path) -> None:
    java, jar = need("java"), packages() / "vnu-jar" / "build" / "dist" / "vnu.jar"
    files = []
    for name in NAMES:
        for kind, page in (("family", family_html(name)), ("team", team_html(name))):
            files.append(tmp_path / f"{name}-{kind}.html")
            files[-1].write_text(page, encoding="utf-8")
    done = subprocess.run([java, "-jar", str(jar), *map(str, files)], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("wide", [PHONE, DESK])
@pytest.mark.parametrize("name", ["rowan-02", "cedar-05", "elm-01", "hazel-08"])
def test_no_rule_of_accessibility_is_broken_and_nothing_scrolls_sideways(name: str, wide: int, browser) -> None:
    axe = (packages() / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
    for made in (family_html(name), team_html(name)):
        page = browser.new_page(viewport={"width": wide, "height": 850}, offline=True)
        page.set_content(made)
        assert page.evaluate("document.documentElement.scrollWidth") <= wide
        page.evaluate(axe)
        found = page.evaluate("axe.run()")
        assert [(item["id"], item["nodes"][0]["html"]) for item in found["violations"]] == []
        page.close()


def test_the_smallest_letters_of_a_drawing_are_readable_on_a_phone(browser) -> None:
    page = browser.new_page(viewport={"width": PHONE, "height": 850})
    page.set_content(family_html("rowan-02"))
    sizes = page.evaluate(
        "[...document.querySelectorAll('.narrow svg text')].map(text => text.getBoundingClientRect().height)"
    )
    assert sizes
    assert min(sizes) >= 10
    page.close()


@pytest.mark.parametrize("name", ["rowan-02", "cedar-05"])
def test_letters_are_large_enough_on_a_phone_and_no_line_leaves_the_screen(name: str, browser) -> None:
    """16 px is what browsers take for running text; small words (sources, captions) are at least 14 px."""
    script = """() => {
      const walker = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT)
      const found = []
      while (walker.nextNode()) {
        const box = walker.currentNode.parentElement
        if (!walker.currentNode.data.trim() || box.closest('svg') || box.closest('thead')) continue
        const range = document.createRange()
        range.selectNodeContents(walker.currentNode)
        const place = range.getBoundingClientRect()
        found.push([parseFloat(getComputedStyle(box).fontSize), box.closest('.small, figcaption') !== null,
                    place.left, place.right])
      }
      return found
    }"""
    for made, running in ((family_html(name), 16), (team_html(name), 14)):
        page = browser.new_page(viewport={"width": PHONE, "height": 850})
        page.set_content(made)
        found = page.evaluate(script)
        assert len(found) > 30
        assert min(size for size, small, _, _ in found if not small) >= running
        assert min(size for size, _, _, _ in found) >= 14
        assert min(left for _, _, left, _ in found) >= 0
        assert max(right for _, _, _, right in found) <= PHONE
        page.close()
