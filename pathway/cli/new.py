"""The verb `new`: a case file to be filled in, with what is known already. An edge."""

from __future__ import annotations

import datetime
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.asked import protocol_of
from pathway.cli.errors import answer, note, refuse
from pathway.cli.options import Output, day_fault, on_option, output_options, protocol_option, today
from pathway.cli.printing import show
from pathway.problems import Problem, Refused

if TYPE_CHECKING:
    from pathway.protocol.model import Protocol

SEXES, SIDES = ("girl", "boy"), ("left", "right", "both")
ASKED = ("date_of_birth", "sex", "affected_side", "diagnosis")


class DiagnosisOption(click.Option):
    """An option whose help names the diagnoses that our rules know, read when help is asked for."""

    def get_help_record(self, ctx: click.Context) -> tuple[str, str] | None:
        """Return the line of the help."""
        record = super().get_help_record(ctx)
        return record and (record[0], f"{record[1]} One of: {', '.join(_choices('diagnosis', protocol_of(None)))}.")


@click.command()
@click.argument("id", required=False)
@click.option("--born", metavar="YYYY-MM-DD", help="The date of birth.")
@click.option("--sex", type=click.Choice(SEXES), help="Which growth tables are used.")
@click.option("--side", type=click.Choice(SIDES), help="The shorter leg.")
@click.option("--diagnosis", cls=DiagnosisOption, help="The diagnosis, by its id in the rules.")
@on_option
@protocol_option
@output_options(text="File to write; ID.toml in this folder if not given.", replaces=False)
@click.option("--schema", is_flag=True, help="Print the JSON Schema of case files, by these rules, and write nothing.")
def new(
    id: str | None,
    born: str | None,
    sex: str | None,
    side: str | None,
    diagnosis: str | None,
    on: datetime.date | None,
    overlay_dir: Path | None,
    out: Output,
    schema: bool,
) -> None:
    """Write a case file for a new child, to be filled in: every field as a comment with what it takes.

    ID is a pseudonym of your own, never a name. In a terminal what is not given is asked for; Enter leaves it open.
    Editors that know TOML complete fields and choices by the schema that the file names.
    """
    from pathway.casefile.schema import case_schema
    from pathway.casefile.template import Given, case_template
    from pathway.files.writing import Target, write_out
    from pathway.plain_text import PSEUDONYM
    from pathway.views.data.shapes import schema_json

    protocol, day = protocol_of(overlay_dir), today(on)
    if schema:
        show(schema_json(case_schema(protocol)), nl=False)
        return
    if id is None or not PSEUDONYM.fullmatch(id):
        found = "none" if id is None else repr(id)
        refuse(
            "the id of the child", found, "small letters a to z, digits and hyphens", "use a pseudonym, never a name"
        )
    file = out.file or Path(f"{id}.toml")
    given = {"date_of_birth": born, "sex": sex, "affected_side": side, "diagnosis": diagnosis}
    for name in ASKED:
        if given[name]:
            if fault := _fault(name, str(given[name]), protocol, day):
                raise Refused(fault)
        elif given[name] is None and sys.stdin.isatty():
            given[name] = _asked(name, protocol, day)
    known = {name: value or None for name, value in given.items()}
    date = known.pop("date_of_birth")
    child = Given(id, None if date is None else datetime.date.fromisoformat(date), **known)
    text = case_template(child, protocol, day, _shipped_schema())
    write_out(Target(file, None, out.replace, (), out.shared), text.encode())
    note(f"Wrote {file}. Fill it in, then: limb-pathway plan {file}")


def _choices(name: str, protocol: Protocol) -> tuple[str, ...]:
    return {
        "sex": SEXES,
        "affected_side": SIDES,
        "diagnosis": tuple(one.id for one in protocol.diagnoses),
    }.get(name, ())


def _takes(name: str, protocol: Protocol) -> str:
    return ", ".join(_choices(name, protocol)) or "year-month-day"


def _asked(name: str, protocol: Protocol, on: datetime.date) -> str:
    """Ask until the answer can be used, or is empty."""
    question = f"{name.replace('_', ' ').capitalize()} ({_takes(name, protocol)}; Enter: leave it open)"
    while True:
        said = answer(question, "")
        fault = _fault(name, said, protocol, on) if said else None
        if fault is None:
            return said
        note(fault.sentence)


def _fault(name: str, value: str, protocol: Protocol, on: datetime.date) -> Problem | None:
    """Return what the file would be refused for, None where nothing is wrong: it is easier to say it again now."""
    words = name.replace("_", " ")
    choices = _choices(name, protocol)
    if choices:
        if value in choices:
            return None
        meant = _meant(name, value, choices, protocol)
        do = f"did you mean {meant}" if meant else ""
        return Problem(words, "", None, repr(value), f"one of {', '.join(choices)}", do)
    try:
        born = datetime.date.fromisoformat(value)
    except ValueError:
        found, expected, do = day_fault(value)
        return Problem(words, "", None, found, expected, do)
    return Problem(words, "", None, value, f"a day up to {on}", "correct the year") if born > on else None


def _meant(name: str, value: str, choices: tuple[str, ...], protocol: Protocol) -> str | None:
    """Return the choice that a word probably means: as clinics call it, or spelled nearly so."""
    from pathway.casefile.fields import nearest
    from pathway.tables.vocabulary import Vocabulary
    from pathway.tables.words import folded

    table = {"sex": "sexes", "affected_side": "sides", "diagnosis": "diagnoses"}[name]
    called = Vocabulary(protocol, {}).meant(table, value)
    if called in choices:
        return called
    spelled = {folded(one): one for one in choices} | {folded(one.label): one.id for one in protocol.diagnoses}
    near = nearest(folded(value), spelled)
    return spelled[near] if near and spelled[near] in choices else None


def _shipped_schema() -> str:
    """Return where the schema lies that travels with the program."""
    from importlib import resources

    from pathway.views.data.shapes import CASE_FILE

    with resources.as_file(resources.files("pathway.views.data").joinpath("schema", f"{CASE_FILE}.json")) as file:
        return file.resolve().as_uri()
