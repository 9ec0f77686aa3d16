"""Groups of verbs: refusals told in one place, verbs in sections of the help, former names refused with the new one."""

from __future__ import annotations

import gc
from collections.abc import Iterator, Mapping, MutableMapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import click

from pathway.cli.errors import crashes_told, refusals_told, refuse


@dataclass(frozen=True, slots=True)
class Named:
    """A verb by where it is written (`module:function`), with its line in the help."""

    place: str
    line: str

    def read(self) -> click.Command:
        """Return the verb; its module is imported now."""
        module, _, function = self.place.partition(":")
        verb: click.Command = getattr(import_module(module), function)
        verb.short_help = self.line
        return verb


class ByName(MutableMapping[str, click.Command]):
    """Verbs by name, each read when it is first asked for: a help or another verb need not load them all."""

    def __init__(self, named: Mapping[str, Named]) -> None:
        self._named = dict(named)
        self._read: dict[str, click.Command] = {}

    def __getitem__(self, name: str) -> click.Command:
        """Return a verb; raises KeyError for an unknown one."""
        if name not in self._read:
            self._read[name] = self._named[name].read()
        return self._read[name]

    def __setitem__(self, name: str, verb: click.Command) -> None:
        """Add a verb that is there already."""
        self._read[name] = verb

    def __delitem__(self, name: str) -> None:
        """Take a verb away."""
        self._named.pop(name, None)
        self._read.pop(name, None)

    def __iter__(self) -> Iterator[str]:
        """Yield the names."""
        yield from dict.fromkeys([*self._named, *self._read])

    def __len__(self) -> int:
        """Return how many verbs there are."""
        return len({*self._named, *self._read})


class Verbs(click.Group):
    """A group of verbs. `former` maps names that verbs had to those they have.

    With `named` the verbs stand in its sections in the help, and are read when they are asked for.
    """

    def __init__(
        self,
        *args: Any,
        named: Mapping[str, Mapping[str, Named]] | None = None,
        former: Mapping[str, str] | None = None,
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        self.sections = named or {}
        if named:
            self.commands = ByName({name: verb for verbs in named.values() for name, verb in verbs.items()})
        self.former = former or {}

    def __call__(self, *args: Any, **options: Any) -> Any:
        """Run the program as a person does: a fault of ours is said in words."""
        try:
            with crashes_told():
                return super().__call__(*args, **options)
        finally:
            gc.freeze()  # all that is left goes with the process: Python need not look through it first

    def invoke(self, ctx: click.Context) -> Any:
        """Run a verb; what it refuses is told, with the exit code that says so."""
        with refusals_told():
            return super().invoke(ctx)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the verb that is meant; refuses a former name with the new one."""
        if args and args[0] in self.former:
            now = f"{ctx.command_path} {self.former[args[0]]}"
            refuse(f"{ctx.command_path} {args[0]}", "the former name of a verb", f"`{now}`", "write that")
        return super().resolve_command(ctx, args)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the verbs in the order of the sections."""
        named = [name for names in self.sections.values() for name in names]
        return [*named, *(name for name in super().list_commands(ctx) if name not in named)]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the verbs in their sections, a line each."""
        if not self.sections:
            super().format_commands(ctx, formatter)
            return
        wide = max(len(name) for name in self.commands)
        for title, verbs in self.sections.items():
            rows = [(f"{name:<{wide}}", verb.line) for name, verb in verbs.items()]
            with formatter.section(title):
                formatter.write_dl(rows)


class Renamed(click.Choice[str]):
    """A choice of words, some of which had other names; a former one is refused with the new one."""

    def __init__(self, choices: Sequence[str], former: Mapping[str, str]) -> None:
        super().__init__(choices)
        self.former = former

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the word."""
        if value in self.former:
            refuse(str(value), "the former name of a picture", f"`{self.former[value]}`", "write that")
        return super().convert(value, param, ctx)
