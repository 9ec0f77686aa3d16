"""Sources: the statements of a screen, and the rule behind the one chosen, with sources and strength."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container
from textual.events import Resize

from pathway.protocol.model import Protocol
from pathway.views.pictures.picture import Role
from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.statements import Statement
from tui import keys
from tui.screens.base import OwnScreen
from tui.widgets import frame
from tui.widgets.choices import Choices
from tui.widgets.prose import Prose

WIDE = 100
HEADS = ("Sources", "Refers to", "Referred to by")


class SourcesScreen(OwnScreen):
    """Statements on one side, the page of the rule on the other."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.SOURCES]
    HELP_HEAD = "Sources"
    DEFAULT_CSS = """
    SourcesScreen #body { layout: vertical; height: 1fr; }
    SourcesScreen Choices { height: 2fr; padding: 1 1 0 1; }
    SourcesScreen #page { height: 3fr; padding: 1 2; }
    SourcesScreen.wide #body { layout: horizontal; }
    SourcesScreen.wide Choices { width: 2fr; height: 100%; }
    SourcesScreen.wide #page { width: 3fr; height: 100%; }
    """

    def __init__(self, head: str, statements: tuple[Statement, ...], rule: str = "") -> None:
        super().__init__()
        self.head, self.said, self.start = head, statements, _place(statements, rule)

    def aim(self, head: str, statements: tuple[Statement, ...], rule: str = "") -> None:
        """Show other statements, as if the screen had just been opened."""
        self.head, self.said, self.start = head, statements, _place(statements, rule)
        self.show_statements()

    def compose(self) -> ComposeResult:
        """Lay out title, caution, statements, page, keys."""
        yield frame.Title(self.head)
        yield frame.Caution()
        with Container(id="body"):
            yield Choices(id="statements")
            yield Prose(id="page", panel=True)
        yield frame.keys()

    def on_mount(self) -> None:
        """Show the statements."""
        self.query_one("#page", Prose).focus()
        self.show_statements()

    def show_statements(self) -> None:
        """Show the statements with the first one, or the one asked for, chosen."""
        self.query_one(frame.Title).update(self.head)
        said = [Paragraph(f"{item.text}{' [local]' if item.local else ''}", mark=item.mark) for item in self.said]
        self.query_one(Choices).offer(said, self.start)
        self.show_page()

    def on_resize(self, event: Resize) -> None:
        """Put the page beside the statements where there is width for it."""
        self.set_class(event.size.width >= WIDE, "wide")
        choices = self.query_one(Choices)
        self.call_after_refresh(lambda: choices.choose(choices.place))

    def show_page(self) -> None:
        """Show the rule behind the chosen statement."""
        item = self.said[self.query_one(Choices).place]
        self.query_one("#page", Prose).say(page_of(item, self.home.rules, self.home.named))

    def action_statement(self, by: int) -> None:
        """Choose the statement before or after."""
        choices = self.query_one(Choices)
        choices.choose(choices.place + by)
        self.show_page()

    def action_page(self, by: int) -> None:
        """Scroll the page."""
        prose = self.query_one("#page", Prose)
        prose.scroll_relative(y=by * max(1, prose.size.height - 2), animate=False)

    def on_choices_picked(self, event: Choices.Picked) -> None:
        """Choose the statement that was clicked."""
        self.query_one(Choices).choose(event.place)
        self.show_page()


def _place(statements: tuple[Statement, ...], rule: str) -> int:
    return next((place for place, item in enumerate(statements) if item.rule == rule), 0)


def page_of(
    item: Statement, rules: Protocol | None, named: Mapping[str, tuple[str, ...]] | None = None
) -> Iterator[Paragraph]:
    """Yield the rule behind a statement: what the verb `rules show` prints, in words without ids."""
    from pathway.problems import Refused
    from pathway.views.rules.pages import page_on_screen

    yield Paragraph(item.text, role=Role.LABEL)
    if item.known:
        yield Paragraph(f"Basis: {item.known}")
    yield Paragraph("Rule of this clinic (local)" if item.local else "Rule of the program, not changed by a clinic")
    yield Paragraph("")
    if rules is None:
        yield Paragraph("The rules are still being read; come back in a moment.")
        return
    try:
        lines = page_on_screen(rules, item.rule, named or None)
    except Refused as error:
        yield Paragraph(str(error))
        return
    for row, line in enumerate(lines):
        depth = (len(line) - len(line.lstrip())) // 2
        yield Paragraph(line.strip(), depth=depth, heading=row == 0 or line in HEADS)
