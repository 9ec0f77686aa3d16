"""The caution in full, and that an example child is invented, on every verb, screen, picture and document.

The verbs are found by walking the command line: a new one fails here until it is listed with what it prints, or
among those that show nothing of a child or plan.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from pathway.cli.main import main
from pathway.protocol.load import load_protocol
from pathway.views.documents.files import html, markdown
from pathway.views.words.caution import (
    ALL_INVENTED,
    CAUTION,
    INVENTED,
    READ_INVENTED,
    SOME_INVENTED,
    caution,
    is_invented,
    of_children,
)
from tests.examples import NAMES, SIZES
from tests.plans import DAY, files, plan
from tests.tui.screens_of import OPENED, opened, plain_surroundings, settled, text_of, the_app
from tests.views.documents.made import family, team

__all__ = ["plain_surroundings"]

CLAUSES = ("planning aid", "surgeon decides", "local protocol", "not a medical device")
ON = ["--on", str(DAY)]
CHILD = "rowan-02"
OWN = "own.toml"
"""The same child as a case file without the note that it is invented."""

PRINTS = {
    ("demo",): ["--plain"],
    ("open",): [],
    ("children",): ["{}"],
    ("timeline",): ["{}"],
    ("prerequisites",): ["{}"],
    ("family",): ["{}"],
    ("sources",): ["{}"],
    ("plan",): ["{}"],
    ("why",): ["{}", "femoral_lengthening"],
    ("growth",): ["{}"],
    ("programme",): ["{}"],
    ("alternatives",): ["{}"],
    ("worksheet",): ["lift", "{}"],
    ("achieved",): ["{}"],
    ("followup",): ["{}", "--set", "left.femur_length_mm=120", "--discard"],
    ("compare",): ["{}", "{}", "--before", "2026-11-20"],
}
"""What a verb takes to print something of a child; `{}` is the child."""
WRITES = {
    ("calendar",): ("out.ics", ["{}"]),
    ("fhir",): ("out.json", ["{}"]),
    ("handout",): ("out.html", ["{}"]),
    ("summary",): ("out.html", ["{}"]),
    ("theatre",): ("out.html", ["{}", *SIZES]),
    ("picture",): ("out.svg", ["timeline", "{}"]),
}
OF_THE_REGISTRY = {
    ("registry", "list"): [],
    ("registry", "due"): ["--months", "12", *ON],
    ("accept",): [CHILD, *ON],
    ("registry", "revisions"): [CHILD],
    ("registry", "achieved"): ON,
    ("registry", "results"): ON,
    ("registry", "table"): ["stages", *ON],
}
"""They read stored lines, which do not hold the note of a case file: they say the caution alone."""
SAY_NOTHING = {
    ("serve",),  # opens the screens
    ("new",),
    ("manual",),
    ("keys",),
    *(("registry", verb) for verb in ["import", "export", "erase", "replan", "verify", "backup", "restore", "heads"]),
    *(("registry", verb) for verb in ["countersign", "drill", "sweep"]),
    *(("rules", verb) for verb in ["list", "show", "check", "overlay", "export", "sources", "holidays"]),
}
"""Verbs that show neither a plan nor anything worked out of a child."""


def words(text: str) -> str:
    """Return text as one line of words, without tags and the folding of calendar files."""
    text = re.sub(r"\r?\n ", "", text) if text.startswith("BEGIN:VCALENDAR") else text
    return " ".join(re.sub(r"<[^>]*>", " ", text).replace("\\", "").split()).lower()


def missing(text: str) -> list[str]:
    return [clause for clause in CLAUSES if clause not in words(text)]


def leaves(group: click.Group, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from leaves(command, (*path, name))
        else:
            yield (*path, name)


def run(*arguments: str, registry: Path) -> str:
    runner = CliRunner(env={"LIMB_PATHWAY_REGISTRY": str(registry), "COLUMNS": "100"})
    result = runner.invoke(main, list(arguments))
    assert result.exit_code == 0, (arguments, result.output)
    return result.output


@pytest.fixture
def own(tmp_path: Path) -> str:
    case = tmp_path / OWN
    case.write_text(files()[CHILD].replace(f'note = "{INVENTED}"\n', ""), encoding="utf-8")
    return str(case)


def test_no_verb_is_left_out() -> None:
    listed = [*PRINTS, *WRITES, *OF_THE_REGISTRY, *SAY_NOTHING]
    assert sorted(leaves(main)) == sorted(listed)


def test_every_verb_prints_it(own: str, tmp_path: Path) -> None:
    none, wrong = tmp_path / "none.db", []
    for path, arguments in PRINTS.items():
        said = run(*path, *(part.format(CHILD) for part in arguments), *ON, registry=none)
        wrong += [(path, clause) for clause in missing(said)]
        if not any(clause in words(said) for clause in ("invented child", "this child is invented")):
            wrong.append((path, "invented child"))
        if "{}" in arguments and "invented" in words(
            run(*path, *(p.format(own) for p in arguments), *ON, registry=none)
        ):
            wrong.append((path, "a real child is called invented"))
    assert wrong == []


def test_every_file_that_is_written_has_it(own: str, tmp_path: Path) -> None:
    wrong = []
    for path, (name, arguments) in WRITES.items():
        for child in (CHILD, own):
            out = tmp_path / name
            out.unlink(missing_ok=True)
            run(*path, *(p.format(child) for p in arguments), *ON, "-o", str(out), registry=tmp_path / "none.db")
            said = out.read_text(encoding="utf-8")
            wrong += [(path, clause) for clause in missing(said)]
            if ("invented" in words(said)) != (child == CHILD):
                wrong.append((path, child))
    assert wrong == []


@pytest.mark.parametrize("which", ["timeline", "growth", "graph"])
def test_every_picture_shows_it(which: str, tmp_path: Path) -> None:
    out = tmp_path / "out.svg"
    run("picture", which, CHILD, *ON, "-o", str(out), registry=tmp_path / "none.db")
    drawn = " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", out.read_text(encoding="utf-8")))
    assert missing(drawn) == []
    assert "invented child" in words(drawn)
    tall = float(re.search(r'viewBox="0 0 [\d.]+ ([\d.]+)"', out.read_text("utf-8"))[1])  # type: ignore[index]
    assert max(float(y) for y in re.findall(r'<text[^>]* y="([\d.]+)"', out.read_text("utf-8"))) < tall


def test_the_drawing_of_a_worksheet_shows_it(tmp_path: Path) -> None:
    given = ["--set", "femoral_neck_length_mm=40", "--set", "femoral_shaft_width_mm=16"]
    said = run("worksheet", "osteotomy", CHILD, *given, "--svg", *ON, registry=tmp_path / "none.db")
    drawn = " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", said))
    assert missing(drawn) == []
    assert "invented child" in words(drawn)


def test_every_verb_of_the_registry_that_shows_a_plan_prints_it(tmp_path: Path) -> None:
    place = tmp_path / "registry.db"
    run("registry", "import", CHILD, *ON, registry=place)
    run("registry", "replan", *ON, registry=place)
    for path, arguments in OF_THE_REGISTRY.items():
        assert missing(run(*path, *arguments, registry=place)) == [], path


@pytest.mark.parametrize("name", NAMES)
def test_every_document_has_it(name: str) -> None:
    for document in (family(name), team(name)):
        for said in (markdown(document), html(document)):
            assert missing(said) == []
            assert "this child is invented" in words(said)


async def test_every_screen_shows_it(plain_surroundings: None) -> None:
    for size in ((80, 24), (120, 40)):
        app, wrong = the_app(CHILD), []
        async with app.run_test(size=size) as pilot:
            await settled(pilot)
            for name in OPENED:
                await opened(pilot, name)
                said = " ".join(line.strip() for line in text_of(app).split("\n")[1:3])
                wanted = ALL_INVENTED if name in ("children", "results") else INVENTED
                if not said.startswith(f"{CAUTION} · {wanted}"):
                    wrong.append((size, name, said))
        assert wrong == []


async def test_a_real_child_is_not_called_invented_on_its_screens(own: str, plain_surroundings: None) -> None:
    app = the_app("own", {"own": Path(own).read_text("utf-8")})
    async with app.run_test(size=(120, 40)) as pilot:
        await settled(pilot)
        for key in ("b", "escape", "f", "escape", "escape"):
            said = text_of(app)
            assert said.split("\n")[1].strip() == CAUTION
            assert "nvented" not in said
            await pilot.press(key)
            await pilot.pause()


def test_the_short_line_says_what_the_protocol_says() -> None:
    head = next(rule.text for rule in load_protocol().cautions if rule.head)
    assert missing(CAUTION) == missing(head) == []
    assert len(CAUTION) <= 78


def test_several_children_are_told_apart() -> None:
    assert of_children([]) == of_children(["", "seen at 3"]) == ""
    assert of_children(["Invented child: no real patient."]) == INVENTED
    assert of_children([INVENTED, INVENTED]) == ALL_INVENTED
    assert of_children([INVENTED, ""]) == SOME_INVENTED
    assert of_children([None, None]) == of_children([None, ""]) == ""
    assert of_children([INVENTED, None]) == READ_INVENTED
    assert of_children([INVENTED, "", None]) == SOME_INVENTED
    assert not is_invented("the family invented its own brace")
    assert caution(plan(CHILD)).endswith(INVENTED)
