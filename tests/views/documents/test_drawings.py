"""The drawings: well-formed vectors, inside their paper, told apart without colour."""

from __future__ import annotations

import re
import xml.etree.ElementTree as tree
from itertools import pairwise

import pytest

from pathway.days import age_years
from pathway.views.documents.files import png
from pathway.views.drawings import drawing as tones
from pathway.views.drawings.drawing import Drawing, Words, text_width_mm
from pathway.views.drawings.growth import NARROW_MM, WIDE_MM, growth_drawing
from pathway.views.drawings.legs import legs_drawing
from pathway.views.drawings.prerequisites import graph_drawing
from pathway.views.drawings.timeline import timeline_drawing
from pathway.views.words.wording import wording
from tests.examples import NAMES
from tests.plans import plan, rules


def drawings(name: str) -> list[Drawing]:
    made, words = plan(name), wording()
    drawn = [
        timeline_drawing(made, words, rules()),
        timeline_drawing(made, words, rules(), NARROW_MM),
        graph_drawing(made),
    ]
    drawn += [timeline_drawing(made, words, rules(), windows=True)]
    draws = (growth_drawing, legs_drawing)
    return drawn + [d for draw in draws for wide in (WIDE_MM, NARROW_MM) if (d := draw(made, words, wide)) is not None]


@pytest.mark.parametrize("name", NAMES)
def test_every_drawing_is_well_formed_named_and_has_no_picture_of_dots_in_it(name: str) -> None:
    for drawn in drawings(name):
        root = tree.fromstring(drawn.svg())
        tags = {element.tag.rpartition("}")[2] for element in root.iter()}
        assert tags == {"svg", "title", "desc", "path", "text"}
        assert drawn.title and drawn.alternative


@pytest.mark.parametrize("name", NAMES)
def test_words_stay_on_the_paper(name: str) -> None:
    for drawn in drawings(name):
        for part in (part for part in drawn.parts if isinstance(part, Words)):
            wide = text_width_mm(part.text, part.size_pt)
            left = part.x - {"start": 0.0, "middle": wide / 2, "end": wide}[part.anchor]
            assert left >= -0.5, part.text
            assert left + wide <= drawn.width_mm + 0.5, part.text
            assert 0 < part.y <= drawn.height_mm, part.text


@pytest.mark.parametrize("name", NAMES)
def test_numbers_of_paths_are_finite(name: str) -> None:
    for drawn in drawings(name):
        assert not re.search(r"nan|inf", " ".join(re.findall(r' d="([^"]*)"', drawn.svg())))


def test_the_tones_differ_on_a_grey_printer() -> None:
    """Steps of grey by Rec. ITU-R BT.709 luma."""
    luma = sorted(_luma(tone) for tone in (tones.DEEP, tones.MIDDLE, tones.PALE, tones.PAPER))
    assert min(b - a for a, b in pairwise(luma)) > 0.12


def test_a_bar_starts_at_the_age_of_its_stage() -> None:
    made = plan("rowan-02")
    drawn = timeline_drawing(made, wording(), rules())
    ages = {part.text: part.x for part in drawn.parts if isinstance(part, Words) and part.strong and part.y > 40}
    per_year = (ages["12"] - ages["6"]) / 6
    stage = made.stage("femoral_lengthening_2")
    assert stage.date is not None
    x = ages["6"] + (age_years(made.child.date_of_birth, stage.date) - 6) * per_year
    starts = [float(m) for m in re.findall(rf'd="M([\d.]+) [\d.]+h[^"]*" fill="{tones.DEEP}"', drawn.svg())]
    assert min(abs(start - 0.8 - x) for start in starts) < 0.05


def test_a_picture_in_dots_has_the_signature_of_png() -> None:
    assert png(graph_drawing(plan("oak-12"))).startswith(b"\x89PNG\r\n\x1a\n")


def _luma(tone: str) -> float:
    red, green, blue = (int(tone[k : k + 2], 16) / 255 for k in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
