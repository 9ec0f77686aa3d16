"""The family's text and document are one: the text is the document without its pictures."""

from __future__ import annotations

import re

import pytest

from pathway.views.documents.document import Figure, Heading, Lines
from pathway.views.family.text import family_data
from pathway.views.family.text import family_parts as family_of
from pathway.views.words.wording import wording
from tests.family import family_parts, family_text
from tests.plans import files, plan, rules
from tests.views.documents.made import family, texts


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


@pytest.mark.parametrize("child", files())
class TestTheFamilyReadsTheSame:
    def test_every_sentence_of_the_document_stands_in_the_text(self, child) -> None:
        told = squeezed(family_text(plan(child)))
        heads = {squeezed(name) for block in family(child).blocks for name in getattr(block, "head", ())}
        for block in family(child).blocks:
            if isinstance(block, Figure | Lines | Heading):  # a heading over a picture alone has no words
                continue
            for text in texts(block):
                for part in re.split(r" Facts: [\d, ]+$", text):
                    if part and squeezed(part) not in heads and not part.startswith("Facts: "):
                        assert squeezed(part).rstrip(".") in told, part

    def test_headings_of_the_text_are_those_of_the_document(self, child) -> None:
        assert all(part.sentences for part in family_parts(plan(child)))

    def test_no_two_parts_have_the_same_heading(self, child) -> None:
        headings = [part.heading for part in family_parts(plan(child))]
        assert len(set(headings)) == len(headings)

    def test_the_data_hold_the_stage_that_each_step_begins_with(self, child) -> None:
        made = family_data(plan(child), wording(), rules())
        stages = {part.stage for part in made.parts if part.stage is not None}
        assert stages <= {stage.id for stage in plan(child).stages}
        assert made.language == "en"
        assert made.caution == plan(child).cautions[0].text


def test_the_head_of_a_column_stands_in_a_sentence_as_its_language_writes_it() -> None:
    told = [
        " ".join(
            sentence for part in family_of(plan("rowan-02"), wording(language), rules()) for sentence in part.sentences
        )
        for language in ("en", "de")
    ]
    assert "months with frame or nail 14 (5 to 19)" in told[0]
    assert "of 100: 84" in told[0]
    assert "Monate mit Fixateur oder Nagel 14 (5 bis 19)" in told[1]
    assert "höchstens 2 cm, von 100: 84" in told[1]


def test_what_rounds_to_none_is_told_as_fewer_than_one_and_one_operation_in_the_singular() -> None:
    told = family_text(plan("oak-12"))
    assert "about 0" not in told
    assert squeezed("It usually takes one operation for length.") in squeezed(told)
