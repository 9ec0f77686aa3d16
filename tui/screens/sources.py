"""Sources: the statements of a screen, and the rule behind the one chosen, with sources and strength."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container

from pathway.protocol.model import Protocol
from pathway.views.pictures.picture import Role
from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.statements import Statement
from tui import keys
from tui.screens.page import ListAndPage
from tui.widgets import frame
from tui.widgets.choices import Choices
from tui.widgets.prose import Prose

HEADS = ("Sources", "Refers to", "Referred to by")


class SourcesScreen(ListAndPage):
    """Statements on one side, the page of the rule on the other."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.SOURCES]
    HELP_HEAD = "Sources"
    DEFAULT_CSS = """
    SourcesScreen Choices { height: 2fr; }
    SourcesScreen.wide #page { width: 3fr; }
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

    def show_page(self) -> None:
        """Show the rule behind the chosen statement."""
        item = self.said[self.query_one(Choices).place]
        self.query_one("#page", Prose).say(page_of(item, self.home.rules, self.home.named))


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
