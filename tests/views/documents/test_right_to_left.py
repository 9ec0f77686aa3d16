"""A language that is written from right to left, made here and never shipped: direction, digits, plurals, a font.

Its texts are the English ones, whole by construction, with some real Arabic among them: what is looked at is the page.
"""

from __future__ import annotations

import datetime
import subprocess
from functools import cache
from pathlib import Path

import pytest

from pathway.views.documents.document import Document, Facts
from pathway.views.documents.files import html, pdf
from pathway.views.documents.handout import handout
from pathway.views.words.wording import Wording, whole_language, wording
from tests.plans import plan, rules
from tests.views.documents.made import need, run

A4_WIDTH_POINTS, MARGIN_POINTS, TITLE_BAND_POINTS = 595.28, 18 / 25.4 * 72, 42
SIX = ("zero", "one", "two", "few", "many", "other")
REAL = {
    "language": "ar",
    "name": "العربية",
    "locale": "ar-EG",
    "inner_case": "kept",
    "handout.title": "السنوات القادمة",
    "handout.short_title": "باختصار",
    "handout.short_grows": "بدون عملية يكون الفرق حوالي {middle} عندما يكتمل نمو طفلك.",
    "timeline.title": "الطريق في نظرة واحدة",
}
AGES = {form: f"{{years}} {form}" for form in SIX}


def quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'


@cache
def arabic() -> Wording:
    lines = []
    for key, text in wording().texts.items():
        name = ".".join(f'"{part}"' for part in key.split("."))
        if isinstance(text, str):
            lines.append(f"{name} = {quoted(REAL.get(key, text))}")
        elif isinstance(text, tuple):
            lines.append(f"{name} = [{', '.join(map(quoted, text))}]")
        else:
            forms = AGES if key == "age" else dict.fromkeys(SIX, text["other"])
            lines.append(f"{name} = {{ {', '.join(f'{form} = {quoted(forms[form])}' for form in SIX)} }}")
    return whole_language("\n".join(lines), "wording/ar.toml")


@cache
def document() -> Document:
    return handout(plan("rowan-02"), arabic(), rules())


def fonts_for(language: str) -> str:
    """The folder of a font of this machine that has the letters of a language, as fontconfig knows it."""
    listed = subprocess.run([need("fc-list"), f":lang={language}", "file"], capture_output=True, check=True)
    files = sorted(line.strip(": \n") for line in listed.stdout.decode().splitlines())
    free = [file for file in files if "dejavu" in file.lower() or "noto" in file.lower()]
    if not free:
        pytest.skip(f"no free font with the letters of {language} is installed here ({len(files)} others)")
    return str(Path(free[0]).parent)


def test_the_page_says_its_language_and_runs_from_right_to_left() -> None:
    page = html(document())
    assert '<html lang="ar" dir="rtl">' in page
    assert "السنوات القادمة" in page
    # What stands at one side stands at the start of the line, whichever that is.
    assert not [line for line in page.splitlines() if "padding-left" in line or "text-align: left" in line]


def test_digits_are_those_of_the_language() -> None:
    words = arabic()
    assert words.cm(175) == "١٧٫٥ سم"
    assert words.day(datetime.date(2030, 3, 1)) == "١ مارس ٢٠٣٠"
    first = next(block for block in document().blocks if isinstance(block, Facts))
    assert any("١٧٫٠ سم" in text for _, text in first.facts)


@pytest.mark.parametrize(
    ("years", "form"), [(0, "zero"), (1, "one"), (2, "two"), (3, "few"), (10, "few"), (11, "many"), (100, "other")]
)
def test_all_six_plural_forms_are_chosen_as_cldr_says(years: int, form: str) -> None:
    assert arabic().age(years).endswith(f" {form}")


def test_a_list_has_the_joint_of_the_language() -> None:
    assert arabic().joined(["ا", "ب"]) == "ا وب"


def test_a_page_on_paper_is_tagged_with_its_language_and_starts_at_the_right(tmp_path: Path) -> None:
    pikepdf = pytest.importorskip("pikepdf", reason="pikepdf is not installed here")
    file = tmp_path / "made.pdf"
    file.write_bytes(pdf(document(), fonts=(fonts_for("ar"),)))
    with pikepdf.open(file) as opened:
        assert str(opened.Root.Lang) == "ar"
    boxes = [line for line in run("pdftotext", "-bbox", "-l", "1", file, "-").splitlines() if "<word" in line]
    first = [line for line in boxes if edge(line, "yMin") < TITLE_BAND_POINTS]
    assert max(edge(line, "xMax") for line in first) > A4_WIDTH_POINTS - MARGIN_POINTS - 2
    assert min(edge(line, "xMin") for line in first) > A4_WIDTH_POINTS / 2


def edge(line: str, name: str) -> float:
    return float(line.split(f'{name}="')[1].split('"')[0])
