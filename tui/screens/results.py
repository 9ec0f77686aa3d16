"""Own results: what the accepted plans of all children said, and what came, as the verb tells it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.events import Resize
from textual.message import Message
from textual.worker import get_current_worker

from pathway.children.storage import SaveFailed
from pathway.protocol.model import Protocol
from pathway.results.clinic import Results
from pathway.views.documents.results import results_document
from pathway.views.documents.terminal import document_lines
from pathway.views.pictures.picture import Role
from pathway.views.words.paragraphs import Paragraph
from tui import keys
from tui.opened import ChildList
from tui.screens.page import Scrolls
from tui.widgets import frame
from tui.widgets.prose import Prose

LEAST, MARGIN = 40, 5
TITLE = "Own results"
READING = "Reading the accepted plans of all children …"
SO_FAR = "Reading the accepted plans of all children: {count} read …"
NOT_HERE = (
    "Own results are those of a registry, which keeps every plan that was accepted. These children are files or "
    "examples: take them into a registry with `limb-pathway registry import`."
)


class ResultsScreen(Scrolls):
    """One page of text, read from the registry when it is opened."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.PAGE]
    HELP_HEAD = TITLE
    DEFAULT_CSS = """
    ResultsScreen Prose { height: 1fr; padding: 1 2; }
    """

    class Read(Message):
        """So many children were read; `found` are the results, why there are none, or None while it goes on."""

        def __init__(self, count: int, found: Results | str | None) -> None:
            self.count = count
            self.found = found
            super().__init__()

    def __init__(self) -> None:
        super().__init__()
        self._found: Results | None = None
        self._begun = False
        self._width = 0

    def compose(self) -> ComposeResult:
        """Lay out title, caution, text, keys."""
        yield frame.Title(TITLE)
        yield frame.Caution()
        yield Prose(id="text")
        yield frame.keys()

    def on_mount(self) -> None:
        """Read the registry, if there is one; the keys go to the text."""
        self.query_one(Prose).focus()
        self._begin()

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Begin once the rules are there."""
        self._begin()

    def _begin(self) -> None:
        storage, rules = self.home.storage, self.home.rules
        if storage is None or storage.plans is None:
            self._say([Paragraph(NOT_HERE)])
        elif not self._begun:
            self._say([Paragraph(READING)])
            if rules is not None:
                self._begun = True
                self._read(rules)

    @work(thread=True, exclusive=True, group="results", exit_on_error=False)
    def _read(self, rules: Protocol) -> None:
        storage, worker = self.home.storage, get_current_worker()
        if storage is None or storage.plans is None:
            return

        def read(count: int) -> bool:
            if not worker.is_cancelled:
                self.post_message(self.Read(count, None))
            return not worker.is_cancelled

        try:
            found = storage.plans.results(rules, self.home.on, read)
        except SaveFailed as error:
            self.post_message(self.Read(0, str(error)))
            return
        if found is not None and not worker.is_cancelled:
            self.post_message(self.Read(found.children, found))

    def on_results_screen_read(self, event: Read) -> None:
        """Show the results, why there are none, or how far it is."""
        if isinstance(event.found, Results):
            self._found = event.found
            self._show()
        elif event.found is not None:
            self._say([Paragraph(event.found, role=Role.STAGE_BLOCKED)])
        elif self._found is None:
            self._say([Paragraph(SO_FAR.format(count=event.count))])

    def on_resize(self, _event: Resize) -> None:
        """Lay the lines out anew for another width."""
        self.call_after_refresh(self._laid_out)

    def _laid_out(self) -> None:
        if self._found is not None and self.query_one(Prose).size.width != self._width:
            self._show()
        self.refresh_bindings()

    def _show(self) -> None:
        if self._found is not None:
            self._width = self.query_one(Prose).size.width
            self._say(list(self._lines(self._found)))

    def _lines(self, found: Results) -> Iterator[Paragraph]:
        document = results_document(found, self.home.on)
        yield Paragraph(document.subtitle, role=Role.LEGEND)
        yield from document_lines(document, max(LEAST, self._width - MARGIN), framed=True)

    def _say(self, said: list[Paragraph]) -> None:
        self.query_one(Prose).say(said)
        self.call_after_refresh(self.refresh_bindings)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now: what fits is not scrolled."""
        if action in ("page", "scroll"):
            return self.is_mounted and self.query_one(Prose).max_scroll_y > 0
        return super().check_action(action, parameters)
