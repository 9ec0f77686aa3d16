"""The command line: parse, read, call one function, print. Exit 0 done, 1 cannot be planned, 2 bad input."""

from __future__ import annotations

import datetime
import os
from pathlib import Path

import click
from click.core import ParameterSource

from pathway import __version__
from pathway.cli.errors import refuse
from pathway.cli.groups import Named, Verbs
from pathway.cli.options import (
    RegistryOptions,
    by_option,
    name_of,
    now,
    on_option,
    protocol_option,
    registry_options,
    surroundings,
    today,
)
from pathway.cli.printing import can_open_screens

SECTIONS: dict[str, dict[str, Named]] = {
    "Screens": {
        "demo": Named("pathway.cli.plan:demo", "an invented child, planned and shown"),
        "open": Named("pathway.cli.open:open_files", "case files, children of the registry, or examples"),
        "serve": Named("pathway.cli.serve:serve", "the same screens in a browser of this machine"),
    },
    "Children and their plans": {
        "new": Named("pathway.cli.new:new", "a case file for a new child, to be filled in"),
        "children": Named("pathway.cli.views:children", "list children: what is next, when, the difference"),
        "timeline": Named("pathway.cli.views:timeline", "stages by age, and what holds at an age"),
        "prerequisites": Named("pathway.cli.views:prerequisites", "what comes before a stage, and what must hold"),
        "family": Named("pathway.cli.views:family", "the plan in plain words"),
        "sources": Named("pathway.cli.views:sources", "each statement with the rule behind it"),
        "keys": Named("pathway.cli.views:keys", "the keys and the marks of the screens"),
        "plan": Named("pathway.cli.plan:plan", "stages, dates, amounts, gates, courses"),
        "why": Named("pathway.cli.plan:why", "why a stage is in the plan or not; what would change it"),
        "growth": Named("pathway.cli.plan:growth", "leg lengths to maturity, with the classical methods"),
        "alternatives": Named("pathway.cli.courses:alternatives", "the courses compared, and what if"),
        "programme": Named("pathway.cli.plan:programme", "what to decide at each visit, when things go wrong too"),
    },
    "Operations and visits": {
        "worksheet": Named("pathway.cli.worksheet:worksheet", "the numbers of one operation, worked out"),
        "theatre": Named("pathway.cli.documents:theatre", "an osteotomy's page for the operating table"),
        "achieved": Named("pathway.cli.achieved:achieved", "what an osteotomy did beside what was planned"),
        "followup": Named("pathway.cli.followup:followup", "enter a visit, an operation or a decision"),
        "compare": Named("pathway.cli.followup:compare", "what changed between two plans, and why"),
    },
    "Registry": {
        "registry": Named("pathway.cli.registry:registry", "keep children durably; lists, backups, checks"),
        "accept": Named("pathway.cli.registry.plans:accept", "keep a plan in the registry as a revision"),
    },
    "Files for others": {
        "calendar": Named("pathway.cli.exports:calendar", "the plan for a phone's calendar"),
        "fhir": Named("pathway.cli.exports:fhir", "the plan for a hospital's record system"),
        "handout": Named("pathway.cli.documents:handout", "the plan for the family, to take home"),
        "summary": Named("pathway.cli.documents:summary", "the plan for the file, on one page"),
        "picture": Named("pathway.cli.documents:picture", "timeline, growth or graph as a picture"),
    },
    "Rules and manual": {
        "rules": Named("pathway.cli.rules:rules", "read, check and compare the rules"),
        "manual": Named("pathway.cli.manual:manual", "learn, do, understand, look up: pages to read"),
    },
}
"""The verbs as the help and the manual order them, each with its line; one is read when it is asked for."""
FORMER = {"road": "timeline", "before": "prerequisites", "behind": "sources"}


@click.group(
    cls=Verbs,
    named=SECTIONS,
    former=FORMER,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(__version__, prog_name="limb-pathway")
@by_option
@on_option
@protocol_option
@registry_options
@click.pass_context
def main(
    context: click.Context,
    by: str | None,
    on: datetime.date | None,
    overlay_dir: Path | None,
    where: RegistryOptions,
) -> None:
    """Plan the multi-stage treatment of a child's short, deformed limb.

    A planning aid for study and discussion, not a medical device: the treating surgeon decides, local
    protocol comes first. Without a verb the children of the registry open in the terminal, the example children
    where there is no registry; the options are for that, a verb has its own.
    """
    # numpy, loaded later, takes a thread for each core: for tables as small as ours they only wait for each other, and
    # where other programs run too a plan takes ten times as long.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # pydantic would read what every installed package says of itself, in search of plugins: there are none.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    if context.invoked_subcommand is not None:
        _refuse_options(context)
    elif where.named or _registry_there():
        _open_registry(where, by, on, overlay_dir)
    else:
        context.invoke(main.commands["open"], cases=(), by=by, on=on, overlay_dir=overlay_dir)


def _registry_there() -> bool:
    from pathway.registry.default import default_file

    return default_file().exists()


def _refuse_options(context: click.Context) -> None:
    """Refuse an option before the verb: it would be lost, each verb takes its own."""
    given = ParameterSource.COMMANDLINE
    for option in context.command.params:
        named = option.name is not None and option.opts[0] not in ("-h", "--version")
        if named and context.get_parameter_source(str(option.name)) is given:
            found = f"before `{context.invoked_subcommand}`"
            refuse(option.opts[0], found, "after it", "write it after the verb")


def _open_registry(where: RegistryOptions, by: str | None, on: datetime.date | None, overlay_dir: Path | None) -> None:
    from pathway.children.registry_storage import RegistryStorage
    from pathway.cli.asked import opened, protocol_of
    from tui.app import run

    if not can_open_screens():
        verbs = "`limb-pathway registry list` and `limb-pathway registry due` print the children"
        refuse("limb-pathway", "no terminal", "one for the screens", verbs)
    protocol = protocol_of(overlay_dir) if overlay_dir is not None else None
    with opened(where) as store:
        run({}, today(on), None, protocol, RegistryStorage(store, name_of(by), now), around=surroundings())


if __name__ == "__main__":
    main()
