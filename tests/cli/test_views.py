"""The verbs that print what the screens show: on every example child, and held against the screens themselves.

The screens are read as text through Textual's own headless driver; facts are dates, numbers with units and the
names of stages.
"""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main
from pathway.views.pictures.course_cards import facts
from pathway.views.words.children import next_stage
from pathway.views.words.roads import is_the_road
from pathway.views.words.sides import between_words
from tests.examples import NAMES
from tests.plans import DAY, files, plan
from tests.tui.screens_of import opened, plain_surroundings, settled, the_app
from tui.screens.sources import SourcesScreen
from tui.widgets.prose import Prose
from tui.widgets.timeline_view import TimelineView

__all__ = ["plain_surroundings"]

ON = ["--on", str(DAY)]
VIEWS = ("timeline", "prerequisites", "family", "sources")
DRAWN = re.compile("[\u2190-\u21ff\u2500-\u28ff]")
FACT = re.compile(r"\d{4}-\d{2}-\d{2}|-?\d+(?:\.\d+)? ?(?:cm|mm|deg|%|months?|y\b|m\b|of 100)")


@pytest.fixture(autouse=True)
def _a_wide_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nothing else is said: a runner of tests in parallel says 80."""
    monkeypatch.setenv("COLUMNS", "100")


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("child", NAMES)
class TestEveryExampleChild:
    @pytest.mark.parametrize("verb", VIEWS)
    def test_is_told_with_the_caution_in_words_alone(self, verb, child) -> None:
        result = run(verb, child, *ON)
        assert result.exit_code == 0, result.output
        assert "the treating surgeon decides" in result.stdout
        assert not DRAWN.findall(result.stdout)
        assert max(len(line) for line in result.stdout.splitlines()) <= 100

    def test_has_every_stage_of_the_plan_on_its_timeline_with_its_day(self, child) -> None:
        said = words(run("timeline", child, *ON, "--plain").stdout)
        for stage in plan(child).stages:
            assert is_the_road(stage) or stage.label in said
            assert stage.date is None or f"{stage.date} " in said

    def test_can_say_what_comes_before_every_stage(self, child) -> None:
        for stage in plan(child).stages[:4]:
            said = words(run("prerequisites", child, stage.id, *ON).stdout)
            assert f"prerequisites of {stage.label}" in said
            for gate in stage.gates:
                assert words(gate.sentence) in said


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("verb", [*VIEWS, "children", "keys"])
def test_no_line_is_wider_than_the_terminal(verb, width, monkeypatch) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    case = [] if verb in ("children", "keys") else ["rowan-02"]
    day = [] if verb == "keys" else ON
    said = run(verb, *case, *day).stdout
    assert [line for line in said.splitlines() if len(line) > width] == []


class TestTheCurveAsATable:
    def test_has_age_day_median_and_both_ranges(self) -> None:
        of = plan("rowan-02")
        said = run("timeline", "rowan-02", *ON).stdout
        last = of.growth.by_age[-1]
        row = next(line for line in said.splitlines() if str(last.date) in line and " to " in line)
        spread = [f"{value / 10 + 0.0:.1f}" for value in (last.discrepancy_mm.p50, last.discrepancy_mm.p05)]
        assert all(number in row for number in spread)

    def test_stands_below_each_other_where_it_is_narrow(self, monkeypatch) -> None:
        monkeypatch.setenv("COLUMNS", "70")
        said = run("timeline", "rowan-02", *ON).stdout
        assert said.count("age        day") == 2
        assert "with the ranges of 50 and 90 of 100 children like this one" in words(said)

    def test_says_so_where_nothing_was_measured(self) -> None:
        assert "no leg length was measured" in run("timeline", "elm-01", *ON).stdout


class TestWhatIsDrawn:
    """A terminal that wishes pictures gets them; the words that go with them stay."""

    @pytest.fixture(autouse=True)
    def _terminal(self, monkeypatch) -> None:
        monkeypatch.setattr("pathway.cli.views.words_only", lambda plain: plain)

    def test_the_timeline_and_the_graph(self) -> None:
        assert "Age, years" in run("timeline", "rowan-02", *ON).stdout
        assert "╭" in run("prerequisites", "alder-06", *ON).stdout

    @pytest.mark.parametrize("width", [60, 80, 120])
    def test_no_picture_is_wider_than_the_terminal(self, width, monkeypatch) -> None:
        monkeypatch.setenv("COLUMNS", str(width))
        for verb in ("timeline", "prerequisites"):
            assert max(len(line) for line in run(verb, "rowan-02", *ON).stdout.splitlines()) <= width

    def test_plain_leaves_them_out(self) -> None:
        for verb in ("timeline", "prerequisites"):
            assert not DRAWN.findall(run(verb, "rowan-02", *ON, "--plain").stdout)


class TestChildren:
    def test_lists_the_examples_where_no_file_is_named(self) -> None:
        said = run("children", *ON).stdout
        assert all(name in said for name in NAMES)

    def test_finds_by_name_diagnosis_or_next_step(self) -> None:
        said = run("children", *ON, "--find", "fibular").stdout
        assert f"Children: 2 of {len(NAMES)}" in said
        assert "birch-04" in said
        assert "rowan-02" not in said

    def test_a_faulty_file_is_named_and_hides_no_one(self, tmp_path) -> None:
        case = tmp_path / "ash-01.toml"
        case.write_text("schema_version = 1\n", encoding="utf-8")
        good = tmp_path / "rowan-02.toml"
        good.write_text(files()["rowan-02"], encoding="utf-8")
        result = run("children", str(case), str(good), *ON)
        assert result.exit_code == 2
        assert "ash-01.toml" in result.stderr
        assert "the file cannot be read" in words(result.stdout)
        assert "Hip preparation" in result.stdout

    def test_two_files_of_one_name_are_both_listed(self, tmp_path) -> None:
        for folder in ("a", "b"):
            (tmp_path / folder).mkdir()
            (tmp_path / folder / "case.toml").write_text(files()["rowan-02"], encoding="utf-8")
        said = run("children", str(tmp_path / "a/case.toml"), str(tmp_path / "b/case.toml"), *ON).stdout
        assert "Children: 2," in said


def test_an_unknown_stage_is_named_with_those_there_are() -> None:
    for verb in ("prerequisites", "sources"):
        result = run(verb, "rowan-02", "knee_replacement", *ON)
        assert (result.exit_code, result.stdout) == (2, "")
        assert "femoral_lengthening_1" in result.stderr


def test_the_timeline_says_what_holds_at_an_age() -> None:
    said = run("timeline", "rowan-02", *ON, "--at", "10").stdout
    assert "At 10 y, 2034-03-14" in said
    assert "femoral lengthening" in run("prerequisites", "rowan-02", "femoral_lengthening_1", "--unlock", *ON).stdout


OPENED = {
    "timeline": ((), ["timeline", "{child}"]),
    "prerequisites": (("b",), ["prerequisites", "{child}", "{stage}"]),
    "details": (("enter",), ["why", "{child}", "{stage}"]),
    "family": (("f",), ["family", "{child}"]),
    "help": (("f1",), ["keys"]),
}


@pytest.mark.parametrize("child", ["rowan-02", "elm-01", "cedar-05", "hazel-08"])
@pytest.mark.parametrize("screen", OPENED)
async def test_the_verb_says_what_the_screen_says(screen, child) -> None:
    """Every paragraph of the screen is printed by its verb, word by word; the picture's stages are named."""
    opener, verb = OPENED[screen]
    following = next_stage(plan(child)) or plan(child).stages[0]
    arguments = [part.format(child=child, stage=following.id) for part in verb]
    printed = words(run(*arguments, *([] if screen == "help" else ON)).stdout)
    app = the_app(child, {child: files()[child]})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await pilot.press(*opener)
        await settled(pilot)
        said = [say.text for prose in app.screen.query(Prose) for say in prose.said if say.text]
        assert said
        told: list[str] = []
        for text in said:
            bare = words(re.sub(r"^[●◐▶○✕◇] ", "", text))
            assert bare.replace(" ", "") in printed.replace(" ", "")  # a line may break at a hyphen
            told += FACT.findall(bare)
        # Of a child whose legs were never measured a family is told no length.
        assert told or screen in ("help", "prerequisites") or (screen, child) == ("family", "elm-01")
        if screen == "timeline":
            picture = app.screen.query_one(TimelineView).picture
            labels = {stage.label for stage in plan(child).stages if stage.kind != "prosthetic_road"}
            assert {span.target for span in picture.spans if span.target} <= {s.id for s in plan(child).stages}  # type: ignore[union-attr]
            assert all(label in printed for label in labels)


SAID = {
    "Length operations": "Operations for length {}, of them unplanned",
    "  of them unplanned": "of them unplanned {};",
    "Months with device": "months with a device {};",
    "Most difference": "the legs differ by up to {}",
    "Months over 5 cm": "by over 5 cm for {} months",
    "Within 1 cm, about": "Within 1 cm: about {} of 100",
    "Within 2 cm, about": "within 2 cm: about {};",
}
"""How the text says what a card says."""


@pytest.mark.parametrize("child", ["rowan-02", "cedar-05", "hazel-08"])
def test_the_courses_say_what_their_cards_say(child) -> None:
    said = words(run("alternatives", child, *ON, "--plain").stdout)
    for course in plan(child).alternatives:
        for label, fact in facts(plan(child), course):
            if label.strip() == "90 of 100, cm":
                assert course.residual_mm is not None
                spread = between_words(course.residual_mm.p05, course.residual_mm.p95)
                assert f"in about 90 of 100 the treated leg ends {spread}" in said
            elif label in SAID:
                assert SAID[label].format(fact.removesuffix(" of 100")) in said
            elif course.residual_mm is None:
                assert f"{label[0].lower()}{label[1:]} {fact}" in said
            else:
                # The median and the height of the adult stand on the card alone, harms only where there are any.
                alone = label in ("Leg at maturity", "Height at maturity") or fact == "0 (0-0)"
                assert alone or f"lasting harm {fact}" in said


async def test_the_worksheet_says_what_its_screen_says() -> None:
    printed = words(run("worksheet", "lengthening", "rowan-02", *ON, "--plain").stdout)
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "worksheet")
        shown = [say.text.strip(" !▶✕") for say in app.screen.query_one("#sheet", Prose).said]
        missing = [
            text for text in shown if FACT.search(text) and not set(FACT.findall(text)) <= set(FACT.findall(printed))
        ]
        assert len([text for text in shown if FACT.search(text)]) > 20
        assert missing == []


async def test_the_statements_are_those_of_the_screen() -> None:
    printed = words(run("sources", "rowan-02", "femoral_lengthening_1", *ON).stdout)
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "sources")
        assert isinstance(app.screen, SourcesScreen)
        assert len(app.screen.said) > 15
        for statement in app.screen.said:
            assert words(statement.text).replace(" ", "") in printed.replace(" ", "")
            assert f"rule {statement.rule}" in printed


def test_screens_of_a_file_that_is_not_there_do_not_open() -> None:
    result = run("open", "nobody.toml")
    assert result.exit_code == 2
    assert "nobody.toml: found no such file" in result.stderr


@pytest.mark.parametrize("verb", [[], ["open"]])
def test_without_a_terminal_the_list_is_printed_instead_of_the_screens(verb) -> None:
    result = run(*verb)
    assert result.exit_code == 0
    assert f"Children: {len(NAMES)}, most urgent first, planned as of" in result.stdout


async def test_an_answer_to_what_if_says_what_its_screen_says() -> None:
    printed = words(run("alternatives", "rowan-02", *ON, "--at-most-lengthenings", "2", "--plain").stdout)
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "what_if")
        shown = [say.text for say in app.screen.query_one("#answer", Prose).said]
        assert shown[0].startswith("What if: at most 2 further lengthenings")
        for text in shown[:2]:
            assert words(text) in printed


async def test_a_follow_up_says_what_its_screen_says() -> None:
    printed = run("followup", "rowan-02", *ON, "--set", "left.femur_length_mm=183").stdout
    app = the_app("rowan-02", {"rowan-02": files()["rowan-02"]})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        await opened(pilot, "follow_up")
        shown = [say.text for say in app.screen.query_one("#changes", Prose).said if FACT.search(say.text)]
        assert len(shown) > 8
        for text in shown:
            assert text.replace(" ", "") in words(printed).replace(" ", "")


async def test_the_list_says_what_its_screen_says() -> None:
    app = the_app()
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        rows = app.child_list.found("")
        printed = run("children", *ON).stdout
        for row in rows:
            for cell in (row.name, row.age, row.when, row.difference):
                assert cell in printed
            for word in (row.diagnosis + " " + row.following).split():
                assert word in printed


def test_json_of_the_timeline_and_of_the_list_hold_the_plan() -> None:
    timeline = json.loads(run("timeline", "rowan-02", *ON, "--json").stdout)
    assert [stage["id"] for stage in timeline["stages"]] == [stage.id for stage in plan("rowan-02").stages]
    listed = json.loads(run("children", *ON, "--json").stdout)
    names = [child["name"] for child in listed["children"]]
    assert sorted(names) == sorted(NAMES)
    shown = run("children", *ON).stdout
    assert sorted(names, key=lambda name: shown.index(f"{name}, ")) == names
    by_name = json.loads(run("children", *ON, "--json", "--order", "name").stdout)
    assert [child["name"] for child in by_name["children"]] == sorted(NAMES)
