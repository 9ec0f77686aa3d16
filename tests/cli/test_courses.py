"""`alternatives`: the courses compared, and what-if questions, as a person types them."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main

ON = ("--on", "2026-11-25")


@pytest.fixture(autouse=True)
def hundred_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "100")


def run(*words: str) -> Result:
    return CliRunner().invoke(main, ["alternatives", *words, *ON])


def test_it_compares_the_courses_and_says_who_decides() -> None:
    result = run("rowan-02")
    assert result.exit_code == 0
    assert "the treating surgeon decides" in result.stdout
    assert "\n1 three femoral" in result.stdout
    assert "\nrecommended: three femoral lengthenings, with growth arrest" in result.stdout
    assert "What if" not in result.stdout


def test_a_question_is_answered_against_the_recommended_course() -> None:
    wishes = ("--without", "contralateral_growth_arrest", "--at-most-lengthenings", "2")
    result = run("rowan-02", *wishes, "--not-in", "2031-09-01..2032-06-30", "--plain")
    assert result.exit_code == 0
    text = " ".join(result.stdout.split())
    assert "What if: without growth arrest of the other leg; at most 2 further lengthenings; no device" in text
    assert "The first choice is then: two femoral lengthenings, no growth arrest (instead of:" in text
    assert "▶" not in result.stdout


def test_json_holds_the_courses_the_question_and_the_caution() -> None:
    result = run("hazel-08", "--prefer", "fewest_operations", "--finish-before", "2035-01-01", "--json")
    data = json.loads(result.stdout)
    assert data["asked"] == ["finished before 2035-01-01", "preferring fewest operations"]
    assert data["courses"][0]["recommended"]
    assert "surgeon decides" in data["caution"]
    assert data["differences"]


@pytest.mark.parametrize("columns", [80, 120])
def test_no_line_is_wider_than_the_terminal(columns: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    result = run("hazel-08", "--lift-at-most", "4")
    assert max(map(len, result.stdout.splitlines())) <= columns


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--without", "growth_arrest"), "found 'growth_arrest', expected a stage of the protocol; did you mean"),
        (("--not-in", "2031"), "found '2031', expected two dates such as 2031-09-01..2032-06-30"),
        (("--not-in", "2032-01-01..2031-01-01"), "expected the later date last"),
        (("--at-most-lengthenings", "-1"), "-1 is not in the range"),
        (("--prefer", "speed"), "'speed' is not one of"),
    ],
)
def test_what_cannot_be_asked_is_told(words: tuple[str, ...], sentence: str) -> None:
    result = run("rowan-02", *words)
    assert result.exit_code == 2
    assert sentence in result.stderr
    assert "Traceback" not in result.output


def test_it_says_how_firm_the_recommendation_is() -> None:
    result = run("oak-12", "--how-firm")
    assert result.exit_code == 0
    text = " ".join(result.stdout.split())
    assert "The same course stays first in about" in text
    assert "The first operation stays of the same kind, within 1 year and 1 cm, in about" in text
    assert "brings another first operation" in text or "Another first operation comes with" in text
    assert "The first operation is a close call: undecided between growth arrest" in text
    assert "Centre-edge angle is really 20 deg, not 27 (about 4 of 100): hip preparation would be planned." in text
