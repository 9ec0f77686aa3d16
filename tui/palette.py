"""The commands of the palette: every action of the screen by the words of its key, and every child, by name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial
from typing import TYPE_CHECKING

from textual.app import SystemCommand
from textual.binding import Binding
from textual.screen import Screen

from pathway.views.pictures.symbols import Symbols
from tui import keys
from tui.screens.base import ChildScreen, OwnScreen
from tui.screens.children import ChildrenScreen
from tui.themes import PALETTES

if TYPE_CHECKING:
    from tui.app import PathwayApp

MOVES = "age year stage move scroll page gates field part course moment choice pan zoom whole end"
STEPS = frozenset((*MOVES.split(), "back", "help", "manual", "quit", "app.quit"))
"""What moves about, a step at a time: keys and mouse do it, a command would have to be called anew for each step."""


def commands(app: PathwayApp, screen: Screen[object]) -> Iterator[SystemCommand]:
    """Yield the list, the children, what can be done on the screen and with its child, colours, help, manual, quit."""
    yield SystemCommand("Children", "The list of children", app.go_to_children)
    for entry in app.child_list.entries:
        open_it = partial(app.timeline_from_list, entry.name)
        yield SystemCommand(f"Timeline of {entry.name}", "Stages and leg difference by age", open_it)
    if isinstance(screen, OwnScreen):
        for binding in actions_of(screen):
            yield SystemCommand(
                screen.words_of(binding), help_of(binding), partial(app.perform, screen, binding.action)
            )
    if isinstance(screen, ChildScreen) and screen.DRAWS:
        for symbols in (one for one in Symbols if one is not app.symbols):
            words = "Draw with symbols that the terminal has"
            yield SystemCommand(f"Graph: {symbols}", words, partial(screen.show_symbols, symbols))
    yield SystemCommand("Help", "Keys and marks", app.show_help)
    yield SystemCommand("Manual", "Pages to read: what to do, what numbers mean, every verb", app.open_manual)
    for name in PALETTES:
        words = name.removeprefix("pathway-").replace("-", " ")
        yield SystemCommand(f"Colours: {words}", "Change the colours", partial(setattr, app, "theme", name))
    yield SystemCommand("Quit", "Leave the program; asks first if something is not saved", app.action_quit)


def actions_of(screen: OwnScreen) -> Iterator[Binding]:
    """Yield what can be done on a screen: its own keys, then those that open what belongs to its child, each once."""
    about_child = keys.ABOUT_CHILD if isinstance(screen, ChildScreen | ChildrenScreen) else ()
    seen: set[str] = set()
    titles: set[str] = set()
    for binding in (*bound(screen), *about_child):
        name = binding.action.partition("(")[0]
        there = hasattr(screen, f"action_{name}") or isinstance(screen, ChildrenScreen)
        if name not in STEPS and binding.action not in seen and binding.description not in titles and there:
            seen.add(binding.action)
            titles.add(binding.description)
            yield binding


def bound(screen: OwnScreen) -> Iterator[Binding]:
    """Yield the keys that a screen is given, its own before those of all screens."""
    for kind in type(screen).__mro__:
        found: Iterable[object] = kind.__dict__.get("BINDINGS", ()) if issubclass(kind, OwnScreen) else ()
        yield from (binding for binding in found if isinstance(binding, Binding))


def help_of(binding: Binding) -> str:
    """Return what a command does, and the key that does the same."""
    key = binding.key_display or binding.key.partition(",")[0]
    return f"{binding.tooltip} (key {key})" if binding.tooltip else f"The key {key} does it too"
