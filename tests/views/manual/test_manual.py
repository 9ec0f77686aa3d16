"""The manual: every page is there, can be read in a terminal, and is found by its name or by a verb's."""

from __future__ import annotations

import re
from importlib import resources

import pytest
from click.testing import CliRunner

from pathway.cli.main import main
from pathway.views import manual
from pathway.views.words.printed import printed
from tests.plans import rules


def said(*words: str, columns: int = 80) -> str:
    result = CliRunner(env={"COLUMNS": str(columns)}).invoke(main, ["manual", *words])
    assert result.exit_code == 0, result.stderr
    return result.stdout


def test_every_file_of_the_folder_is_a_page_and_every_page_is_listed() -> None:
    files = {file.name.removesuffix(".md") for file in resources.files(manual).iterdir() if file.name.endswith(".md")}
    assert files | {manual.FINDINGS} == set(manual.topics())
    listed = said()
    assert all(f"{name}: {manual.title(name)}" in listed for name in manual.topics())


@pytest.mark.parametrize("topic", manual.topics())
def test_a_page_loses_no_word_on_its_way_to_the_terminal(topic: str) -> None:
    lines = printed(manual.page(topic, rules()), 5_000)  # no word is broken at the end of a line
    assert "".join(said(topic).split()) == "".join("".join(lines).split())
    assert not [line for line in lines if "](" in line or "**" in line or line.startswith("#")]
    if topic != manual.FINDINGS:
        kept = re.sub(
            r"(?m)^```.*$|^!\[.*$|^\|[-| ]+\|$|^\| (?:command|in the mapping) \|.*$", "", manual.markdown(topic)
        )
        kept = re.sub(r"(?m)^(- |#+ |\| )| \|(?= |$)|\*\*", " ", kept)
        words = re.findall(r"[\w.-]+", kept)
        assert words == re.findall(r"[\w.-]+", "\n".join(lines)), topic


def test_every_finding_that_may_be_entered_is_listed_with_what_it_takes() -> None:
    text = said("findings")
    for rule in rules().findings:
        assert (f"\n{rule.id}\n" in text) == (not rule.derived or rule.id == manual.SKELETAL_AGE), rule.id


def test_a_skeletal_age_is_listed_with_every_way_of_reading_it() -> None:
    text = "".join(said("findings").split())
    assert "skeletal_age_method" in text
    shown = {one.id: "".join(f"{one.id} ({one.label})".split()) for one in rules().skeletal_methods}
    assert [id for id, words in shown.items() if words not in text] == []


def test_a_verb_gives_its_help_and_an_unknown_word_the_nearest_page() -> None:
    assert "Usage" in said("why")
    result = CliRunner().invoke(main, ["manual", "growht"])
    assert result.exit_code == 2
    assert "did you mean growth" in result.stderr


def test_a_page_is_printed_as_it_is_kept() -> None:
    assert said("tutorial", "--markdown") == manual.markdown("tutorial")
