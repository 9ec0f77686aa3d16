"""The verb `new`: a case file to be filled in, with what is known already. An edge."""

from __future__ import annotations

import datetime
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.asked import protocol_of
from pathway.cli.errors import answer, note, refuse
from pathway.cli.options import Output, as_day, on_option, output_options, protocol_option, today
from pathway.cli.printing import show

if TYPE_CHECKING:
    from pathway.protocol.model import Protocol

SEXES, SIDES = ("girl", "boy"), ("left", "right", "both")
"""As the record has them; named here, so that the help loads no record."""
ASKED = ("date_of_birth", "sex", "affected_side", "diagnosis")


@click.command()
@click.argument("id", required=False)
@click.option("--born", type=click.DateTime(["%Y-%m-%d"]), callback=as_day, help="The date of birth.")
@click.option("--sex", type=click.Choice(SEXES), help="Which growth tables are used.")
@click.option("--side", type=click.Choice(SIDES), help="The shorter leg.")
@click.option("--diagnosis", help="The diagnosis, by its id in the rules.")
@on_option
@protocol_option
@output_options(text="File to write; ID.toml in this folder if not given.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of case files, by these rules, and write nothing.")
def new(
    id: str | None,
    born: datetime.date | None,
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
    given = {"date_of_birth": born and born.isoformat(), "sex": sex, "affected_side": side, "diagnosis": diagnosis}
    for name in ASKED:
        if given[name] is None and sys.stdin.isatty():
            given[name] = answer(f"{name.replace('_', ' ').capitalize()} ({_takes(name, protocol)})", "")
        if given[name]:
            _refuse_wrong(name, str(given[name]), protocol, day)
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


def _refuse_wrong(name: str, value: str, protocol: Protocol, on: datetime.date) -> None:
    """Refuse what the file would be refused for: it is easier to say it again now."""
    words = name.replace("_", " ")
    choices = _choices(name, protocol)
    if choices and value not in choices:
        refuse(words, repr(value), f"one of {', '.join(choices)}", "")
    if not choices:
        try:
            born = datetime.date.fromisoformat(value)
        except ValueError:
            refuse(words, repr(value), "year-month-day, such as 2024-05-31", "")
        if born > on:
            refuse(words, value, f"a day up to {on}", "correct the year")


def _shipped_schema() -> str:
    """Return where the schema lies that travels with the program."""
    from importlib import resources

    from pathway.views.data.shapes import CASE_FILE

    with resources.as_file(resources.files("pathway.views.data").joinpath("schema", f"{CASE_FILE}.json")) as file:
        return file.resolve().as_uri()
