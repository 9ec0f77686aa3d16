"""The edge of the program: all that is said on stderr, what is asked there, and the exit code.

0: done; 1: it cannot be planned, or not be done with what is there; 2: what was given cannot be used. Anything below
raises `Refused` or `CannotBeDone`; here alone it is printed and the program left.
"""

from __future__ import annotations

import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NoReturn, Protocol

import click

from pathway.plain_text import visible
from pathway.problems import CannotBeDone, Refused, refused

CANNOT_PLAN, BAD_INPUT = 1, 2


class Explained(Protocol):
    """A conflict of rules, said in words."""

    @property
    def explanation(self) -> str:
        """Return which rules contradict each other."""


class WithConflicts(Protocol):
    """A plan, as far as it is asked for its conflicts."""

    @property
    def conflicts(self) -> tuple[Explained, ...]:
        """Return the conflicts, none where there is a plan."""


@contextmanager
def refusals_told() -> Iterator[None]:
    """Print what is refused inside, and leave with its exit code."""
    try:
        yield
    except Refused as error:
        leave(tell(error))


@contextmanager
def crashes_told() -> Iterator[None]:
    """Say in words that the program itself failed, with the line to report; a traceback helps no clinician."""
    try:
        yield
    except Exception as error:
        last = traceback.extract_tb(error.__traceback__)[-1]
        where = f"{'/'.join(Path(last.filename).parts[-3:])}, line {last.lineno}"
        note(f"limb-pathway: internal error ({type(error).__name__}: {error}) in {where}; please report this line.")
        leave(CANNOT_PLAN)


def tell(error: Refused) -> int:
    """Print what was refused; return the exit code that says so."""
    note(str(error))
    return CANNOT_PLAN if isinstance(error, CannotBeDone) else BAD_INPUT


def leave(code: int) -> NoReturn:
    """End the program with an exit code."""
    raise SystemExit(code)


def leave_with_conflicts(plan: WithConflicts) -> None:
    """Name the rules in conflict, where a plan has any, and leave with the exit code that says so."""
    for item in plan.conflicts:
        note(item.explanation)
    if plan.conflicts:
        leave(CANNOT_PLAN)


def refuse(place: str, found: str, expected: str, remedy: str = "") -> NoReturn:
    """Refuse what was given: where, what was found and expected, what to do."""
    raise refused(place, found, expected, remedy)


def needs_fhir() -> None:
    """Refuse where what checks record documents is not installed."""
    from pathway.children import papers

    if not papers.has_fhir():
        refuse("", "no FHIR models", "the extra `fhir`", "run: pip install 'limb-pathway[fhir]'")


def note(sentence: str) -> None:
    """Say something beside the data: on stderr."""
    click.echo(visible(sentence), err=True)


def confirmed(question: str) -> bool:
    """Ask a question on stderr; no is the answer where only Enter is pressed."""
    return click.confirm(visible(question), default=False, err=True)


def answer(question: str, default: str) -> str:
    """Ask on stderr for words; `default` is the answer where only Enter is pressed."""
    return str(click.prompt(visible(question), default=default, show_default=bool(default), err=True)).strip()


def secret(question: str) -> str:
    """Ask on stderr for what nobody shall see."""
    return str(click.prompt(question, hide_input=True, err=True))
