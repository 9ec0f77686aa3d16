"""The part of the app that hands papers out: the sheets as they were set, and the way to a browser."""

from __future__ import annotations

import datetime
import io

from textual.events import DeliveryComplete, DeliveryFailed

from pathway.children.storage import Storage
from pathway.children.surroundings import Surroundings, still
from pathway.protocol.model import Protocol
from tui.export.sheets import SheetAsSet
from tui.opened import ChildList
from tui.saving import SavingApp


class HandingOutApp(SavingApp):
    """An app whose children's papers can be written; in a browser they are handed to that."""

    def __init__(
        self,
        child_list: ChildList,
        on: datetime.date,
        rules: Protocol | None,
        storage: Storage | None,
        around: Surroundings | None = None,
    ) -> None:
        super().__init__(child_list, on, rules, storage)
        self.around = around or still(on)
        self.export_folder = ""
        """The folder that was written to last, "" before the first paper."""
        self._set: dict[str, dict[str, SheetAsSet]] = {}

    def sheet_set(self, child: str, sheet: SheetAsSet) -> None:
        """Keep a worksheet as it stands on its screen."""
        self._set.setdefault(child, {})[sheet.stage] = sheet

    def sheets_set(self, child: str) -> tuple[SheetAsSet, ...]:
        """Return the worksheets of a child as they stood on their screens last."""
        return tuple(self._set.get(child, {}).values())

    def open_export(self, child: str, stage: str | None, paper: str = "") -> None:
        """Open the papers of a child, with the one chosen whose name begins so: the page that was on the screen."""
        from tui.screens.export import ExportScreen

        self.push_screen(ExportScreen(child, stage, paper))

    def hand_over(self, file: str, data: bytes) -> None:
        """Hand a file to the browser, which keeps it among its downloads."""
        self.deliver_binary(io.BytesIO(data), save_filename=file, name=file)

    def on_delivery_complete(self, event: DeliveryComplete) -> None:
        """Say that the browser has a file."""
        self._handed_over(event.name or "")

    def on_delivery_failed(self, event: DeliveryFailed) -> None:
        """Say that the browser has not got a file."""
        self._handed_over(event.name or "", str(event.exception))

    def _handed_over(self, file: str, fault: str = "") -> None:
        from tui.screens.export import ExportScreen

        for screen in self.screen_stack:
            if isinstance(screen, ExportScreen):
                screen.handed_over(file, fault)
