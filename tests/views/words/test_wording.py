"""The words: every language that ships is whole, numbers and days are those of CLDR, a clinic's slip is named."""

from __future__ import annotations

import datetime
import re

import pytest
from babel import Locale

from pathway.problems import Refused
from pathway.shipped import RULES, shipped
from pathway.views.documents.handout import handout
from pathway.views.words.rule_words import rule_words
from pathway.views.words.wording import KINDS, Wording, languages, whole_language, wording
from tests.plans import plan, rules
from tests.views.documents.made import words_of

OTHERS = [language for language in languages() if language != "en"]
DAY = datetime.date(2030, 3, 1)


def file_of(language: str) -> str:
    return shipped(RULES).joinpath("wording", f"{language}.toml").read_text(encoding="utf-8")


def test_every_kind_of_stage_has_a_name_and_its_care() -> None:
    for stage in rules().stages:
        care = wording().say(f"stages.{stage.id}.care")
        assert wording().say(f"stages.{stage.id}.name")
        assert wording().say(f"care.{care}.home")
        assert wording().say(f"care.{care}.school")


@pytest.mark.parametrize("language", OTHERS)
class TestEveryLanguageThatShips:
    def test_has_every_text_in_words_of_its_own(self, language) -> None:
        english, own = wording(), wording(language)
        assert {key for key in own.texts if not key.startswith("rule_words.")} == set(english.texts)
        texts = {key: text for key, text in english.texts.items() if isinstance(text, str)}
        told = [key for key, text in texts.items() if re.search(r"[a-z]{3}", re.sub(r"{\w+}", "", text))]
        codes = re.compile(r"stages\..*\.care|inner_case")
        assert [key for key in told if own.texts[key] == texts[key] and not codes.fullmatch(key)] == []

    def test_has_the_words_of_every_rule_that_families_read_and_of_no_other(self, language) -> None:
        wanted = {f"rule_words.{name}" for name in rule_words(rules())}
        assert {key for key in wording(language).texts if key.startswith("rule_words.")} == wanted

    def test_keeps_every_number_of_a_rules_words(self, language) -> None:
        own = wording(language)
        for name, english in rule_words(rules()).items():
            kind, _, id = name.partition(".")
            said = own.of_rule(kind, id, english)
            assert numbers(said.replace(",", ".")) == numbers(english), name

    def test_keeps_every_place_of_a_text(self, language) -> None:
        """Only the name of the growth curve may be left out: the plan has it in English."""
        for key, text in wording().texts.items():
            if isinstance(text, str) and key != "facts.growth":
                own = wording(language).texts[key]
                assert set(re.findall(r"{\w+}", own)) == set(re.findall(r"{\w+}", text)), key

    def test_is_what_the_whole_document_is_in(self, language) -> None:
        own = wording(language)
        told = words_of(handout(plan("rowan-02"), own, rules()))
        for name, english in rule_words(rules()).items():
            assert english not in told, name
        assert own.of_rule("cautions", "caution.planning_aid", "") in told


def numbers(text: str) -> list[str]:
    return sorted(re.findall(r"\d+(?:\.\d+)?", text))


@pytest.mark.parametrize(
    ("cut", "named"),
    [
        ('today = "heute"\n', "timeline.today"),
        ('locale = "de-DE"\n', "locale"),
        ('age = { one = "mit {years} Jahr", other = "mit {years} Jahren" }\n', "age"),
        ('  "Was geht in Ihrer eigenen Klinik schief, und wie oft?",\n', None),
    ],
)
def test_a_language_with_a_text_missing_is_refused_with_file_name_and_what_to_do(cut: str, named: str | None) -> None:
    text = file_of("de")
    assert cut in text
    if named is None:
        assert whole_language(text.replace(cut, ""), "wording/de.toml").language == "de"
        return
    with pytest.raises(Refused, match=r"wording/de\.toml") as told:
        whole_language(text.replace(cut, ""), "wording/de.toml")
    assert named in str(told.value)
    assert "expected" in str(told.value)


def test_a_language_with_a_plural_form_missing_is_refused() -> None:
    text = file_of("de").replace('one = "mit {years} Jahr", ', "")
    with pytest.raises(Refused, match=r"wording/de\.toml: age: found no form 'one'"):
        whole_language(text, "wording/de.toml")


def test_a_rule_without_its_words_in_a_language_is_refused_when_a_page_is_made() -> None:
    english = rule_words(rules())
    short = re.sub(r"(?m)^examination = \"Bei einem Termin.*\n", "", file_of("de"))
    words = whole_language(short, "wording/de.toml")
    with pytest.raises(Refused, match=r"wording/de\.toml: rule_words\.stages\.'examination'"):
        words.for_rules(english, english)
    assert wording("de").for_rules(english, english).language == "de"


def test_words_of_rules_are_the_rules_own_in_english_and_a_clinics_own_in_every_language() -> None:
    english = rule_words(rules())
    text = english["stages.examination"]
    assert wording().of_rule("stages", "examination", text) == text
    assert wording("de").of_rule("stages", "examination", text) != text
    clinics = {**english, "stages.examination": "A look.", "stages.of_ours": "Ours."}
    german = wording("de").for_rules(clinics, english)
    assert german.of_rule("stages", "examination", "A look.") == "A look."
    assert german.of_rule("stages", "of_ours", "Ours.") == "Ours."
    assert german.of_rule("stages", "shoe_lift", english["stages.shoe_lift"]) == "Eine Erhöhung unter dem Schuh."


def test_every_kind_of_rule_words_has_some() -> None:
    assert {name.partition(".")[0] for name in rule_words(rules())} == set(KINDS)


class TestNumbersAndDays:
    """Expected values: CLDR, as the language's own readers write."""

    def test_in_english(self) -> None:
        words = wording()
        assert (words.month(DAY), words.day(DAY)) == ("March 2030", "1 March 2030")
        assert (words.cm(175), words.cm(-0.2), words.number(1234.5, 1)) == ("17.5 cm", "0.0 cm", "1,234.5")
        assert words.joined(["a"]) == "a"
        assert words.joined(["a", "b", "c"]) == "a, b and c"
        assert words.joined(["a", "b", "c"], "or") == "a, b or c"
        assert (words.age(1.99), words.age(4.26, months=True)) == ("age 1", "4 years and 3 months")
        assert (words.age(0.2, months=True), words.age(1.0, months=True)) == ("2 months", "1 year")
        assert (words.many(2), words.many(12)) == ("two", "12")

    def test_in_german(self) -> None:
        words = wording("de")
        assert (words.month(DAY), words.day(DAY)) == ("März 2030", "1. März 2030")
        assert (words.cm(175), words.number(1234.5, 1)) == ("17,5 cm", "1.234,5")
        assert words.joined(["a", "b", "c"], "or") == "a, b oder c"
        assert (words.age(1.2), words.age(4.26, months=True)) == ("mit 1 Jahr", "4 Jahre und 3 Monate")
        assert words.many(2) == "zwei"

    def test_in_german_a_phrase_within_a_sentence_keeps_the_capitals_of_nouns_and_of_whole_sentences(self) -> None:
        """Rat für deutsche Rechtschreibung, Amtliches Regelwerk, § 54 (1) and § 55: after a colon, and of nouns."""
        inner = wording("de").inner
        assert (inner("Ein Fuß"), inner("Den Fuß vorbereiten")) == ("ein Fuß", "den Fuß vorbereiten")
        assert inner("Fixateur ab, Stab hinein") == "Fixateur ab, Stab hinein"
        assert inner("Der Fixateur kommt ab.") == "Der Fixateur kommt ab."

    def test_whole_numbers_and_days_in_a_text_are_said_the_same_way(self) -> None:
        own = wording("de", '[handout]\nmade = "Am {day}"\n[steps]\nlater = "{what}"\n')
        assert own.say("handout.made", day=DAY) == "Am 1. März 2030"
        assert own.say("steps.later", what=1234) == "1.234"

    def test_a_text_with_plural_forms_goes_by_its_count(self) -> None:
        assert wording("de").say("steps.months", count=1, months=1) == "etwa ein Monat, bis es verheilt ist"
        assert wording("de").say("steps.months", count=3, months=3) == "etwa 3 Monate, bis es verheilt ist"
        with pytest.raises(KeyError):
            wording("de").say("steps.months", months=3)


@pytest.mark.parametrize("language", languages())
def test_the_language_names_itself_as_cldr_knows_it(language: str) -> None:
    words = wording(language)
    known = Locale.parse(words.locale, sep="-")
    assert (words.language, known.language) == (language, language)
    assert known.get_language_name(words.locale.replace("-", "_")) == words.say("name")
    assert words.direction == known.text_direction


def test_a_clinic_rewords_one_text_and_keeps_the_rest() -> None:
    own = wording("en", '[handout]\ntitle = "Our hill clinic: the years ahead"\n')
    assert own.say("handout.title") == "Our hill clinic: the years ahead"
    assert own.say("handout.short_title") == wording().say("handout.short_title")
    german = wording("de", '[handout]\ntitle = "Unsere Klinik"\n[rule_words.stages]\nshoe_lift = "Ein Keil."\n')
    assert german.say("handout.title") == "Unsere Klinik"
    assert german.say("handout.short_title") == "Kurz gesagt"
    assert german.of_rule("stages", "shoe_lift", "x") == "Ein Keil."


def test_a_clinic_may_say_one_text_for_all_counts() -> None:
    own: Wording = wording("en", '[steps]\nmonths = "ask us"\n')
    assert own.say("steps.months", count=1, months=1) == own.say("steps.months", count=5, months=5) == "ask us"


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ('[handout]\ntitel = "x"\n', "handout.titel"),
        ('[handout]\nfooter = "{chidl}"\n', "{chidl}"),
        ('[handout]\nfooter = "{child"\n', "lone brace"),
        ("[handout]\ntitle = 3\n", "expected words in quotes"),
        ('[questions]\nitems = "one"\n', "expected a list"),
        ('[steps]\nmonths = { few = "x", other = "y" }\n', "the form 'few'"),
        ('[handout]\ntitle = { one = "x", other = "y" }\n', "expected one text"),
        ('locale = "xx-YY"\n', "expected the name of a language as CLDR has it"),
        ('inner_case = "upper"\n', "expected lower or kept"),
        ('[rule_words.stage]\nexamination = "x"\n', "rule_words.stage.examination"),
        ('[rule_words.stages]\nexamination = "{x}"\n', "words without places"),
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
