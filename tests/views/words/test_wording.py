"""The words: English is whole, another language falls back and says so, a clinic's slip is named."""

from __future__ import annotations

import pytest

from pathway.problems import Refused
from pathway.views.documents.handout import handout
from pathway.views.words.wording import languages, wording
from tests.plans import plan, rules
from tests.views.documents.made import words_of


def test_english_is_whole_and_says_nothing_of_a_fallback() -> None:
    assert wording().missing == ()
    assert wording().notice == ""


def test_every_kind_of_stage_has_a_name_and_its_care() -> None:
    for stage in rules().stages:
        care = wording().say(f"stages.{stage.id}.care")
        assert wording().say(f"stages.{stage.id}.name")
        assert wording().say(f"care.{care}.home")
        assert wording().say(f"care.{care}.school")


def test_a_begun_language_takes_the_rest_from_english_and_says_so() -> None:
    german = wording("de")
    assert "de" in languages()
    assert german.say("handout.title") == "Die Jahre, die kommen"
    assert german.say("choices.title") == wording().say("choices.title")
    assert "choices.title" in german.missing
    document = handout(plan("rowan-02"), german, rules())
    assert document.language == "de"
    assert german.notice in words_of(document)


def test_a_clinic_rewords_one_text_and_keeps_the_rest() -> None:
    own = wording("en", '[handout]\ntitle = "Our hill clinic: the years ahead"\n')
    assert own.say("handout.title") == "Our hill clinic: the years ahead"
    assert own.say("handout.short_title") == wording().say("handout.short_title")
    assert own.missing == ()


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ('[handout]\ntitel = "x"\n', "handout.titel"),
        ('[handout]\nfooter = "{chidl}"\n', "{chidl}"),
        ('[handout]\nfooter = "{child"\n', "lone brace"),
        ("[handout]\ntitle = 3\n", "expected words in quotes"),
        ('[questions]\nitems = "one"\n', "expected a list"),
        ('months = ["a"]\n', "expected 12 names"),
        ("[handout\n", "found no TOML"),
    ],
)
def test_a_slip_is_named_with_place_and_remedy(text: str, named: str) -> None:
    with pytest.raises(Refused, match=r"mine\.toml") as told:
        wording("en", text, "mine.toml")
    assert named in str(told.value)
    assert "expected" in str(told.value)


def test_an_unknown_language_names_those_there_are() -> None:
    with pytest.raises(Refused, match="expected one of de, en"):
        wording("xx")
