"""Groups of verbs: refusals told in one place, verbs in sections of the help, former names refused with the new one."""

from __future__ import annotations

import gc
from collections.abc import Mapping, Sequence
from typing import Any

import click

from pathway.cli.errors import crashes_told, refusals_told, refuse


class Verbs(click.Group):
    """A group of verbs. `sections` order them in the help; `former` maps names that verbs had to those they have."""

    def __init__(
        self,
        *args: Any,
        sections: Mapping[str, Sequence[str]] | None = None,
        former: Mapping[str, str] | None = None,
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        self.sections = sections or {}
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
        for title, names in self.sections.items():
            rows = [(f"{name:<{wide}}", self.commands[name].get_short_help_str(200)) for name in names]
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
