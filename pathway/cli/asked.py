"""What a verb on a child is asked about: the child, the day, the rules; read and planned when they are needed."""

from __future__ import annotations

import datetime
import functools
import gc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from pathway.cli.errors import note
from pathway.cli.options import RegistryOptions, on_option, protocol_option, registry_options, today
from pathway.protocol.question import Question

if TYPE_CHECKING:
    from pathway.children.resolve import KnownChild, Located, RegistryAt
    from pathway.plan.model import Plan
    from pathway.protocol.model import Protocol
    from pathway.record import Record
    from pathway.registry.store import Registry

Verb = TypeVar("Verb", bound=Callable[..., Any])


def protocol_of(overlay_dir: Path | None) -> Protocol:
    """Return the protocol, with the clinic's folder laid over it and proved; refuses with every fault."""
    from pathway.files.rules import rules_folder
    from pathway.problems import Refused
    from pathway.protocol.load import load_protocol

    try:
        protocol = load_protocol() if overlay_dir is None else load_protocol(rules_folder(overlay_dir))
    except Refused as error:
        whose = "The rules" if overlay_dir is None else f"The rules of {overlay_dir}"
        head = f"{whose} cannot be {'used' if overlay_dir is None else 'applied over ours'}."
        raise Refused(*error.problems, head=head) from error
    if overlay_dir is not None:
        from pathway.protocol.prove import refuse_unproved

        refuse_unproved(protocol, f"With the rules of {overlay_dir} the protocol is not consistent.")
    return protocol


class Asked:
    """The child that a verb was asked about, with the day and the rules."""

    def __init__(self, case: Path, on: datetime.date | None, overlay_dir: Path | None, where: RegistryOptions) -> None:
        self.name = str(case)
        self.on = today(on)
        self._case, self._overlay_dir, self._where = case, overlay_dir, where

    @cached_property
    def registry(self) -> RegistryAt:
        """Return where the registry is; its key is asked for once."""
        return self._where.at()

    @property
    def files(self) -> tuple[Path | None, ...]:
        """Return the files that are read for the child, which nothing may be written over."""
        return (self.located.file, *self._where.files)

    @cached_property
    def located(self) -> Located:
        """Return where the child is; says so where another could be meant."""
        from pathway.children.resolve import locate

        found = locate(self._case, self.registry)
        tell_notes(found)
        return found

    @cached_property
    def protocol(self) -> Protocol:
        """Return the rules to plan by."""
        return protocol_of(self._overlay_dir)

    @cached_property
    def child(self) -> KnownChild:
        """Return the child with its record."""
        from pathway.children.resolve import read, text_of

        with nothing_looked_for():  # the rules, which are loaded, stay
            if self.located.origin == "file":
                text_of(self.located)  # what cannot be read at all is said before the rules are loaded
            return read(self.located, self.protocol, self.on)

    @property
    def record(self) -> Record:
        """Return what is known of the child."""
        return self.child.record

    @cached_property
    def question(self) -> Question:
        """Return what is asked: of a child in the registry with the plan that was accepted last."""
        if not self.child.entries:
            return Question(self.record, self.protocol, self.on)
        from pathway.registry.journal.fold import earlier_operations

        return Question(self.record, self.protocol, self.on, earlier=earlier_operations(self.child.entries))

    @cached_property
    def plan(self) -> Plan:
        """Return the plan of the child on the day, with the recommended course alone if the others are not there."""
        from pathway.plan.make import make_plan

        if "compared" in self.__dict__:
            return self.compared
        return make_plan(self.question, compared=False)

    @cached_property
    def compared(self) -> Plan:
        """Return the plan with every course that it is compared with, which takes longer."""
        from pathway.plan.make import make_plan

        return make_plan(self.question)


def child_verb(verb: Verb) -> Verb:
    """Give a verb the argument CASE and the options on day, rules and registry, as one argument `asked`.

    CASE is a case file, a folder with one, the id of a child in the registry, or the name of an example child.
    """

    @functools.wraps(verb)
    def with_asked(
        *args: Any, case: Path, on: datetime.date | None, overlay_dir: Path | None, where: RegistryOptions, **rest: Any
    ) -> Any:
        return verb(*args, asked=Asked(case, on, overlay_dir, where), **rest)

    argument = click.argument("case", type=click.Path(path_type=Path))
    return argument(on_option(protocol_option(registry_options(with_asked))))  # type: ignore[return-value]


@contextmanager
def nothing_looked_for() -> Iterator[None]:
    """Look for no garbage in circles inside: where none is made, looking is a quarter of the time."""
    looked = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if looked:
            gc.enable()


def tell_notes(found: Located) -> None:
    """Say what else a word could mean, or what is wrong with the registry."""
    for sentence in found.notes:
        note(sentence)


@contextmanager
def opened(where: RegistryOptions, *, create: bool = False) -> Iterator[Registry]:
    """Yield the registry that the options name."""
    from pathway.registry.store import open_registry

    with open_registry(where.address, where.key(), create=create) as registry:
        for sentence in registry.notes:
            note(sentence)
        yield registry
