"""The verbs on the registry: children in and out, plans, checks and copies."""

from __future__ import annotations

import click

from pathway.cli.groups import Verbs
from pathway.cli.registry import achieved, checks, children, copies, plans, results, tidy

VERBS: dict[str, dict[click.Command, str]] = {
    "Children": {
        children.import_: "take in case files, tables, histories or leg lengths",
        children.export: "give a child's case file, or its whole history",
        tidy.table_: "visits, stages, plans, outcomes or lengthenings as a table",
        children.list_: "the children, with what is next for each",
        children.erase: "delete everything that is known of a child",
    },
    "Plans": {
        plans.due_: "who needs what by when, overdue first",
        plans.replan_: "plan anew what is out of step",
        plans.revisions: "the accepted plans of a child",
        achieved.achieved_: "osteotomies: planned and achieved, together",
        results.results_: "what accepted plans said would happen, and what happened",
    },
    "Checks and copies": {
        checks.verify: "check that nothing was altered or is missing",
        checks.countersign: "verify what another workstation signed, and sign it",
        checks.sweep: "take erased text and left-over drafts out of the files",
        copies.backup: "copy everything into a new file",
        copies.restore: "copy a backup to where there is no registry",
        copies.drill: "rehearse a restore with the newest backup",
        copies.heads: "where the registry and every chain end, to verify against",
    },
}


@click.group(cls=Verbs, sections={title: [str(verb.name) for verb in verbs] for title, verbs in VERBS.items()})
def registry() -> None:
    """Keep children durably: every entry stays, nobody's is overwritten, and what was altered is found."""


for _verbs in VERBS.values():
    for _verb, _line in _verbs.items():
        _verb.short_help = _line
        registry.add_command(_verb)
