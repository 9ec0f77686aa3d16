"""The part of the app that takes in a new child: where it is kept, what was typed of it, how it comes on the list."""

from __future__ import annotations

import datetime

from textual import work
from textual.message import Message

from pathway.children.storage import Saved, SaveFailed, Storage, save_failed
from pathway.children.surroundings import Surroundings
from pathway.protocol.model import Protocol
from pathway.record import Record
from tui.handing_out import HandingOutApp
from tui.opened import ChildList, Entry

NEWCOMER = "A new child"
NOT_HERE = (
    "A child cannot be saved here: these are example children, and examples are not kept. Start `limb-pathway` without "
    "a verb and enter the child there, or open a folder of case files with `limb-pathway open FOLDER`."
)
EXAMPLES_LEFT = (
    "The examples are no longer listed beside your own children; `limb-pathway open EXAMPLE` opens one, "
    "for example rowan-02."
)


class BeginningApp(HandingOutApp):
    """An app in which a child begins."""

    class RulesRead(Message):
        """The rules, or why they cannot be used."""

        def __init__(self, rules: Protocol | str) -> None:
            self.rules = rules
            super().__init__()

    def __init__(
        self,
        child_list: ChildList,
        on: datetime.date,
        rules: Protocol | None,
        storage: Storage | None,
        around: Surroundings | None = None,
    ) -> None:
        super().__init__(child_list, on, rules, storage, around)
        self.newcomer: dict[str, str] = {}
        """What was typed of a new child that is not saved yet."""

    @property
    def unkept(self) -> tuple[str, ...]:
        """Return for whom something is typed that is not kept yet, where it could be; a new child has no id yet."""
        return (*super().unkept, *((NEWCOMER,) if self.newcomer and not self.why_no_new_child else ()))

    @property
    def why_no_new_child(self) -> str:
        """Return why no child can be kept here, "" where one can."""
        return NOT_HERE if self.storage is None and self.around.begin is None else ""

    @property
    def place_of_new(self) -> str:
        """Return where a new child will be kept, in words, where it can be."""
        return "a registry of your own, which is made with it" if self.storage is None else self.storage.place

    @work(thread=True, exclusive=True, group="rules")
    def read_rules(self) -> None:
        """Read the rules, where no child was planned yet."""
        from pathway.problems import Refused
        from pathway.protocol.load import load_protocol

        try:
            self.post_message(self.RulesRead(self.rules or load_protocol()))
        except Refused as error:
            self.post_message(self.RulesRead(f"The rules cannot be used. {error}"))

    def on_beginning_app_rules_read(self, event: RulesRead) -> None:
        """Tell the screens that the rules are there, or why not."""
        if isinstance(event.rules, str):
            self.listing = event.rules
        else:
            self.rules = event.rules
        self.show(None)

    def kept_newcomer(self, record: Record) -> Saved | SaveFailed:
        """Keep a new child where the others are, off the screen's own thread; where none are, begin a registry."""
        try:
            if self.storage is None:
                assert self.around.begin is not None
                self.storage = self.around.begin()
            return self.storage.add(record)
        except SaveFailed as error:
            return error
        except Exception as error:  # a fault of ours must not end the session: it is said in place
            return save_failed("", f"internal error while saving ({type(error).__name__}: {error})", "please report it")

    def take_in(self, child: str, sentence: str) -> None:
        """Put a child that was kept on the list, with what is to be said of it; examples leave the list."""
        own = [entry for entry in self.child_list.entries if not entry.text]
        entries = (*own, Entry(child, "", opened=True, told=(sentence,), keeps=self.storage is not None))
        began = len(own) < len(self.child_list.entries)
        self.child_list = ChildList(tuple(sorted(entries, key=lambda entry: entry.name)))
        self.listing = ""
        if began:
            self.once = EXAMPLES_LEFT
            self.find_children()
        self.show(None)

    def open_new_child(self) -> None:
        """Open the form for a new child."""
        from tui.screens.new_child import NewChildScreen

        if not isinstance(self.screen, NewChildScreen):
            self.push_screen(NewChildScreen())
