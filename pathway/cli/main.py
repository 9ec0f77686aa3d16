"""The command line: parse, read, call one function, print. Exit 0 done, 1 cannot be planned, 2 bad input."""

from __future__ import annotations

import datetime
import os
from pathlib import Path

import click
from click.core import ParameterSource

from pathway import __version__
from pathway.cli.achieved import achieved
from pathway.cli.asked import opened, protocol_of
from pathway.cli.courses import alternatives
from pathway.cli.documents import handout, picture, summary, theatre
from pathway.cli.errors import refuse
from pathway.cli.exports import calendar, fhir
from pathway.cli.followup import compare, followup
from pathway.cli.groups import Verbs
from pathway.cli.manual import manual
from pathway.cli.new import new
from pathway.cli.open import open_files
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
from pathway.cli.plan import demo, growth, plan, programme, why
from pathway.cli.printing import can_open_screens
from pathway.cli.registry import registry
from pathway.cli.registry.plans import accept
from pathway.cli.rules import rules
from pathway.cli.serve import serve
from pathway.cli.views import children, family, keys, prerequisites, sources, timeline
from pathway.cli.worksheet import worksheet

SECTIONS: dict[str, dict[click.Command, str]] = {
    "Screens": {
        demo: "an invented child, planned and shown",
        open_files: "case files, children of the registry, or examples",
        serve: "the same screens in a browser of this machine",
    },
    "Children and their plans": {
        new: "a case file for a new child, to be filled in",
        children: "list children: what is next, when, the difference",
        timeline: "stages by age, and what holds at an age",
        prerequisites: "what comes before a stage, and what must hold",
        family: "the plan in plain words",
        sources: "each statement with the rule behind it",
        keys: "the keys and the marks of the screens",
        plan: "stages, dates, amounts, gates, courses",
        why: "why a stage is in the plan or not; what would change it",
        growth: "leg lengths to maturity, with the classical methods",
        alternatives: "the courses compared, and what if",
        programme: "what to decide at each visit, when things go wrong too",
    },
    "Operations and visits": {
        worksheet: "the numbers of one operation, worked out",
        theatre: "an osteotomy's page for the operating table",
        achieved: "what an osteotomy did beside what was planned",
        followup: "enter a visit, an operation or a decision",
        compare: "what changed between two plans, and why",
    },
    "Registry": {
        registry: "keep children durably; lists, backups, checks",
        accept: "keep a plan in the registry as a revision",
    },
    "Files for others": {
        calendar: "the plan for a phone's calendar",
        fhir: "the plan for a hospital's record system",
        handout: "the plan for the family, to take home",
        summary: "the plan for the file, on one page",
        picture: "timeline, growth or graph as a picture",
    },
    "Rules and manual": {
        rules: "read, check and compare the rules",
        manual: "learn, do, understand, look up: pages to read",
    },
}
"""The verbs as the help and the README order them, each with its line."""
FORMER = {"road": "timeline", "before": "prerequisites", "behind": "sources"}


@click.group(
    cls=Verbs,
    sections={title: [str(verb.name) for verb in verbs] for title, verbs in SECTIONS.items()},
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
        context.invoke(open_files, cases=(), by=by, on=on, overlay_dir=overlay_dir)


for _verbs in SECTIONS.values():
    for _verb, _line in _verbs.items():
        _verb.short_help = _line
        main.add_command(_verb)


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
    from tui.app import run

    if not can_open_screens():
        verbs = "`limb-pathway registry list` and `limb-pathway registry due` print the children"
        refuse("limb-pathway", "no terminal", "one for the screens", verbs)
    protocol = protocol_of(overlay_dir) if overlay_dir is not None else None
    with opened(where) as store:
        run({}, today(on), None, protocol, RegistryStorage(store, name_of(by), now), around=surroundings())


if __name__ == "__main__":
    main()
