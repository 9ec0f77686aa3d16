"""The verbs on the registry: children in and out, plans, checks and copies."""

from __future__ import annotations

import click

from pathway.cli.groups import Named, Verbs

VERBS: dict[str, dict[str, Named]] = {
    "Children": {
        "import": Named(
            "pathway.cli.registry.children:import_", "take in case files, tables, histories or leg lengths"
        ),
        "export": Named("pathway.cli.registry.children:export", "give a child's case file, or its whole history"),
        "table": Named(
            "pathway.cli.registry.tidy:table_", "visits, stages, plans, outcomes or lengthenings as a table"
        ),
        "list": Named("pathway.cli.registry.children:list_", "the children, with what is next for each"),
        "erase": Named("pathway.cli.registry.children:erase", "delete everything that is known of a child"),
    },
    "Plans": {
        "due": Named("pathway.cli.registry.plans:due_", "who needs what by when, overdue first"),
        "replan": Named("pathway.cli.registry.plans:replan_", "plan anew what is out of step"),
        "revisions": Named("pathway.cli.registry.plans:revisions", "the accepted plans of a child"),
        "achieved": Named("pathway.cli.registry.achieved:achieved_", "osteotomies: planned and achieved, together"),
        "results": Named(
            "pathway.cli.registry.results:results_", "what accepted plans said would happen, and what happened"
        ),
    },
    "Checks and copies": {
        "verify": Named("pathway.cli.registry.checks:verify", "check that nothing was altered or is missing"),
        "countersign": Named(
            "pathway.cli.registry.checks:countersign", "verify what another workstation signed, and sign it"
        ),
        "sweep": Named("pathway.cli.registry.checks:sweep", "take erased text and left-over drafts out of the files"),
        "backup": Named("pathway.cli.registry.copies:backup", "copy everything into a new file"),
        "restore": Named("pathway.cli.registry.copies:restore", "copy a backup to where there is no registry"),
        "drill": Named("pathway.cli.registry.copies:drill", "rehearse a restore with the newest backup"),
        "heads": Named(
            "pathway.cli.registry.copies:heads", "where the registry and every chain end, to verify against"
        ),
    },
}


@click.group(cls=Verbs, named=VERBS)
def registry() -> None:
    """Keep children durably: every entry stays, nobody's is overwritten, and what was altered is found."""
