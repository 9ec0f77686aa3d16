"""What the README says can be done is done here: each verb, each example, each block, as it stands there."""

from __future__ import annotations

import datetime
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from pathway.casefile import read_case
from pathway.cli.main import main
from pathway.files.tables import read_grid
from pathway.protocol.load import load_protocol, read_overlay, with_overlay
from pathway.record import Record
from pathway.tables.children import read_table
from pathway.tables.guess import guessed
from pathway.tables.mapping import ROLES, TableMapping, mapping_of_text
from tests import readme
from tests.examples import FOLDER, NAMES
from tests.offenders import assert_none, for_each

ON = "2026-11-25"
CHILD, OTHER = "rowan-02", "birch-04"
MEANT = {
    "CASE…": CHILD,
    "CASE": CHILD,
    "STAGE": "femoral_lengthening_1",
    "old.ics": "rowan.ics",
    "KIND": "osteotomy",
    "A": CHILD,
    "B": "later.toml",
    "DIR": "clinic",
    "WORDS": "fibular",
    "DAY": "2040-01-01",
    "CM": "2",
    "MONTHS": "6",
    "URL": "registry.db",
    "ADDRESS": "registry.db",
    "METHOD": "ct_scout",
}
"""What is put where the README leaves a word open; a word that is not here makes its test fail with its name."""
FIRST_CHILD = next(words for words in readme.commands() if words.startswith("new first-01"))
"""What the tutorial has its reader write; the tests of other commands find that file."""
AS_IT_IS: dict[str, str] = {
    "--prefer …": "--prefer fewest_operations",
    "--decline STAGE --reason …": "--decline hip_preparation --reason 'they wait'",
    "--done STAGE --gained-mm 48": "--done femoral_lengthening --gained-mm 48",
    "--wording FILE": "--wording words.toml",
    "--order": "--order name",
    "--language": "--language en",
    "--before DAY": "--before 2026-11-20",
    "new ID": "new pine-01",
    "manual TOPIC": "manual tutorial",
    FIRST_CHILD: f"{FIRST_CHILD} -o again-01.toml",
    "--svg": "--svg --set femoral_neck_length_mm=30 --set femoral_shaft_width_mm=15",
    "--without STAGE": "--without contralateral_growth_arrest",
    "followup CASE": f"followup {CHILD} --set left.tibia_length_mm=155",
    "theatre CASE -o page.pdf": f"theatre {CHILD} -o page.pdf --set femoral_neck_length_mm=30"
    " --set femoral_shaft_width_mm=15 --set neck_wire_length_mm=36 --set neck_width_mm=14",
    "rules show ID": "rules show femoral_lengthening",
    "accept ID": f"accept {CHILD}",
    "registry erase ID --reason …": f"registry erase {OTHER} --reason asked --yes",
    "registry backup FILE": "registry backup again.db",
    "registry heads -o FILE": "registry heads -o again.json",
    "registry restore": "registry restore copy.db --registry restored.db",
    "verify --against FILE": "registry verify --against heads.json",
    "registry restore FILE": "registry restore copy.db --registry restored.db",
    "registry export": f"registry export {CHILD}",
    "registry drill FILE": "registry drill copy.db --sample 1",
    "registry drill": "registry drill copy.db --sample 1",
    "registry countersign": "registry countersign --help",
    "registry countersign --key": "registry countersign --help",
    "verify --from-now": "registry verify --from-now",
    "registry revisions": f"registry revisions {CHILD}",
    "registry import": f"registry import {CHILD}",
    "registry table": "registry table visits",
    "registry erase": f"registry erase {OTHER} --reason asked --yes",
    "registry backup": "registry backup again.db",
    "registry …": "registry list",
    "serve": "serve --help",
}
"""What takes more than a word to fill. `serve` runs until it is ended: the tests of the browser start it."""
BEFORE = (
    f"accept {CHILD}",
    f"accept {CHILD}",
    f"fhir {CHILD} -o bundle.json",
    f"calendar {CHILD} -o rowan.ics",
    "registry backup copy.db",
    "registry heads -o heads.json",
)
"""What makes the files and revisions that the README's examples begin with."""
ON_A_SCREEN = ("", "serve", "open")
VISITS = f"""
Patient,Visit date,Femur left (cm),Femur right (cm),Method
{CHILD},2026-05-13,11.0,17.6,standing film
"""
FRAGMENT = """
[[decision]]
date = 2026-11-24
by = "family"
kind = "prefer"
prefer = "fewest_operations"
reason = "school"
"""


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder of its own with a registry that knows two example children, a clinic's rules and a fragment."""
    folder = tmp_path_factory.mktemp("desk")
    (folder / "clinic").mkdir()
    (folder / "clinic" / "rules.toml").write_text(overlay(), encoding="utf-8")
    (folder / "words.toml").write_text("language = 'en'\nname = 'English'\n", encoding="utf-8")
    (folder / "fragment.toml").write_text(FRAGMENT, encoding="utf-8")
    with pytest.MonkeyPatch.context() as patched:
        patched.chdir(folder)
        patched.setenv("LIMB_PATHWAY_REGISTRY", str(folder / "registry.db"))
        patched.setenv("COLUMNS", "80")
        (folder / "first-01.toml").write_text(first_child(), encoding="utf-8")
        for name in (CHILD, OTHER):
            (folder / f"{name}.toml").write_text((FOLDER / f"{name}.toml").read_text(encoding="utf-8"), "utf-8")
            told(f"registry import {name}.toml --on {ON}")
        case = (folder / f"{CHILD}.toml").read_text(encoding="utf-8")
        (folder / "later.toml").write_text(case + FRAGMENT, encoding="utf-8")
        (folder / "visits.csv").write_text(VISITS.lstrip(), encoding="utf-8")
        (folder / "clinic.csv").write_text(readme.blocks("csv")[0], encoding="utf-8")
        (folder / "clinic.toml").write_text(mapping_block(), encoding="utf-8")
        for words in BEFORE:
            told(dated(words))
        yield folder


def first_child() -> str:
    """Write the case file that the tutorial has its reader write, with the film it shows; return its text."""
    told(f"{FIRST_CHILD} -o begun.toml --on {ON}")
    return Path("begun.toml").read_text(encoding="utf-8") + first_film()


def run(words: str) -> Result:
    # Without a verb the children of a registry are shown on a screen; without one too, the examples are printed.
    nowhere = {} if words else {"LIMB_PATHWAY_REGISTRY": None, "XDG_DATA_HOME": "nowhere", "HOME": "nowhere"}
    return CliRunner(env=nowhere).invoke(main, shlex.split(words))


def told(words: str) -> str:
    """Return what a command prints; it must have done what it was asked for."""
    result = run(words)
    assert result.exit_code == 0, f"{words}: exit {result.exit_code}: {result.stderr or result.exception!r}"
    return result.stdout


def command_of(words: str) -> tuple[click.Command, tuple[str, ...]]:
    """Return the click command that a line calls, and its name in words; raises KeyError for a verb there is not."""
    found: click.Command = main
    path: list[str] = []
    for word in words.split():
        if not isinstance(found, click.Group) or word.startswith("-") or word in ("…", ""):
            break
        found = found.commands[word]
        path.append(word)
    return found, tuple(path)


def options_of(command: click.Command) -> set[str]:
    return {option for parameter in command.params for option in parameter.opts} | {"--help"}


def dated(words: str) -> str:
    """Return a command with the day, where it takes one and none is said."""
    takes = "--on" in options_of(command_of(words)[0])
    return f"{words} --on {ON}" if takes and "--on" not in words and "--help" not in words else words


def filled(words: str) -> str:
    """Return a command of the README with a word put for each that it leaves open."""
    known = AS_IT_IS.get(words, words)
    return " ".join(MEANT.get(word, word) for word in known.split())


def left_open(words: str) -> list[str]:
    return [word for word in words.split() if "…" in word or re.fullmatch(r"[A-Z]{1,9}", word)]


def every_command() -> list[str]:
    """Every command named in the text, ready to run, each once; what is erased comes last.

    The row of the registry gives the last words alone.
    """
    of_registry = main.commands["registry"]
    assert isinstance(of_registry, click.Group)
    short = [span for row in readme.rows() if row.commands[0].endswith("registry …") for span in row.spans]
    named = [*readme.commands(), *(f"registry {span}" for span in short if span in of_registry.commands)]
    ready = dict.fromkeys(filled(words) for words in named)
    return sorted((dated(words) if words else "" for words in ready), key=lambda words: " erase " in words)


@for_each(every_command(), parts=3, name=lambda words: words or "(no verb)")
def test_every_command_that_is_named_does_what_it_is_called_for(words: str, desk: Path) -> None:
    assert left_open(words) == []
    result = run(words)
    assert result.exit_code == 0, result.stderr or result.exception
    assert result.output or " -o " in words
    for file in re.findall(r"-o (\S+)", words):
        assert (desk / file).stat().st_size > 0


def options_shown() -> list[tuple[str, str]]:
    """Each option that a row of the table shows, and two revisions to compare, with the verb of that row."""
    shown = []
    for row in readme.rows():
        verb = row.commands[0].removeprefix(readme.PROGRAM).strip()
        shown += [(verb, span) for span in row.spans if span.startswith("--")]
        shown += [(verb.split()[0], span) for span in row.spans if re.match(r"[a-z]+-\d+@\d", span)]
    return shown


@for_each(options_shown(), parts=3, name=lambda verb, option: f"{verb} {option}")
def test_every_option_that_the_table_shows_is_taken(verb: str, option: str, desk: Path) -> None:
    command, _ = command_of(verb)
    assert set(re.findall(r"(?<!\S)--[a-z-]+", option)) <= options_of(command)
    ready = dated(f"{filled(verb)} {filled(option)}")
    assert left_open(ready) == []
    if verb.split(" ")[0] not in ON_A_SCREEN:
        result = run(ready)
        assert result.exit_code == 0, result.stderr or result.exception


def listed() -> set[tuple[str, ...]]:
    """The verbs that the table names, with their group; those of the registry stand there by their last word."""
    named = set()
    for row in readme.rows():
        of = "registry" if row.commands[0].endswith("registry …") else "rules" if " rules " in row.commands[0] else ""
        for span in row.spans:
            bare = span.removeprefix(readme.PROGRAM).strip()
            if span.startswith(readme.PROGRAM) or bare.startswith(f"{of} "):
                named.add(command_of(bare)[1])
            elif of == "registry" and re.fullmatch(r"[a-z]+", span):
                named.add((of, span))
    return named - {(), ("registry",)}


def verbs(group: click.Group = main, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield from verbs(command, (*path, name))
        elif not command.hidden:
            yield (*path, name)


def test_the_table_names_every_verb_and_no_other() -> None:
    assert sorted(listed()) == sorted(verbs())


def test_every_option_in_the_text_is_one_of_a_verb() -> None:
    known = {"--help"}

    def walk(command: click.Command) -> None:
        known.update(options_of(command))
        for part in getattr(command, "commands", {}).values():
            walk(part)

    walk(main)
    named = {option for span in readme.SPAN.findall(readme.PROSE) for option in re.findall(r"(?<!\S)--[a-z-]+", span)}
    assert len(named) > 25
    assert named - known == set()


@for_each(readme.printed())
def test_what_a_block_shows_is_what_its_command_prints(shown: readme.Printed, desk: Path) -> None:
    said = told(shown.command)
    assert len(shown.excerpt.splitlines()) > 5
    assert_none(readme.missing_of(shown.excerpt, said))


def test_three_blocks_show_what_is_printed_and_a_word_that_is_not_printed_is_missed() -> None:
    assert len(list(readme.printed())) >= 3
    whole = "In short\n  Share of the\n bone: 29.7 %\nOperation: 2030-03-14\n"
    assert readme.missing_of("In short\n  Share of the bone: 29.7 %\n …\nOperation: 2030-03-14", whole) == []
    assert readme.missing_of("Share of the bone: 29.8 %", whole) == ["Share of the bone: 29.8 %"]
    assert readme.missing_of("Operation: 2030-03-14\nIn short", whole) == ["In short"], "the order counts"


def overlay() -> str:
    (text,) = [block for block in readme.blocks("toml") if "[[gate]]" in block]
    return text


def mapping_block() -> str:
    (text,) = [block for block in readme.blocks("toml") if "[columns]" in block]
    return text


def case_blocks() -> list[str]:
    return [block for block in readme.blocks("toml") if "schema_version" in block]


def first_film() -> str:
    """Return what the tutorial has its reader put into the file: the film, with what was found of the short leg."""
    film, findings = (block for block in readme.blocks("toml") if block.startswith(("[[visit]]", "  femoral_shaft")))
    return film.replace("  [visit.left]", f"{findings}  [visit.left]")


@for_each(case_blocks(), name=lambda text: text.splitlines()[0])
def test_every_case_file_shown_is_a_case_file(text: str) -> None:
    record = read_case(text, "README.md", load_protocol(), on=datetime.date(2031, 1, 1))
    assert isinstance(record, Record), record
    assert record.visits


def test_one_case_file_shows_every_kind_of_table() -> None:
    read = [read_case(text, "page", load_protocol(), on=datetime.date(2031, 1, 1)) for text in case_blocks()]
    assert any(one.operations and one.decisions and one.calendar for one in read if isinstance(one, Record))


def test_the_film_of_the_tutorial_is_read_and_leads_to_a_dated_plan(desk: Path) -> None:
    said = told(f"plan first-01.toml --on {ON}")
    assert "Femoral lengthening 1: 5.0 cm" in " ".join(said.split())


def test_the_rules_shown_can_be_laid_over_ours(desk: Path) -> None:
    ours = load_protocol()
    theirs = with_overlay(ours, read_overlay(desk / "clinic"))
    assert theirs.clinic_calendar.operating_weekdays == ("tuesday", "thursday")
    assert [off.id for off in theirs.switched_off] == ["femoral_lengthening.therapy_ready"]
    assert len(readme.blocks("toml")) == len(case_blocks()) + 4, "a block that no test reads"


def test_the_table_shown_is_read_by_the_mapping_shown_which_differs_from_the_guess_as_the_page_says(desk: Path) -> None:
    protocol = load_protocol()
    grid = read_grid(desk / "clinic.csv")
    mapping = mapping_of_text(mapping_block(), "clinic.toml", protocol)
    assert isinstance(mapping, TableMapping), mapping
    read = read_table(grid, mapping, protocol, datetime.date(2026, 11, 25), lambda _child: None)
    assert read.faults == ()
    assert [(one.child, one.new) for one in read.children] == [("k-01", 6)]
    guess = guessed(grid, protocol).mapping
    other = {name for name, column in mapping.columns.items() if guess.columns[name] != column}
    assert other == {"Film", "Hüfte betroffen"}
    assert (guess.heading_rows, guess.date_order, guess.decimal) == ((1,), "day-month-year", ",")


def test_the_page_on_tables_names_every_kind_of_column() -> None:
    page = readme.PAGES["tables"]
    assert [role for role in ROLES if f"`{role}`" not in page] == []


def test_the_two_commands_of_set_up_are_those_that_ci_runs() -> None:
    script = (readme.ROOT / ".ci" / "run").read_text(encoding="utf-8").replace(" -c requirements.lock", "")
    blocks = [text for text in readme.blocks("") if "-m venv" in text]
    assert len(blocks) == 2
    for block in blocks:
        for part in block.strip().split(" && "):
            assert part.replace("python3", '"$python"') in script, part


def test_the_readme_is_read_in_minutes() -> None:
    assert len(readme.README.encode()) < 8_000
    assert readme.README.index("```") < 2_500, "the two commands come first"


def test_the_example_children_are_all_named() -> None:
    assert [name for name in NAMES if f"`{name}`" not in readme.PROSE] == []


def test_every_file_and_folder_that_is_named_is_there() -> None:
    paths = [span for span in readme.SPAN.findall(readme.PROSE) if re.fullmatch(r"[\w.]+/[\w./-]*", span)]
    paths += re.findall(r"\]\((\.ci/[^)]+)\)", readme.TEXT)
    assert len(paths) > 8
    assert [path for path in paths if not (readme.ROOT / path).exists() and not path.startswith(".venv")] == []
