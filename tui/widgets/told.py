"""What became of the last edit: in two rows on a small screen; a key opens all of it on a page of its own."""

from __future__ import annotations

import textwrap

from tui.widgets.frame import Notice

FEW_ROWS, MANY_ROWS = 2, 4
"""Rows that it takes beside everything else, on a small screen and on a large one."""
LOW = 30
"""Rows of a screen below which it is a small one."""
MORE = " … (m: all of it)"
STOPS = " ,;:–"


class Told(Notice):
    """Sentences about the last edit; where they do not fit it is said that there is more, after a whole word."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id, calm=True)
        self.told: tuple[str, ...] = ()
        self._away: tuple[str, ...] = ()

    def tell(self, told: tuple[str, ...]) -> None:
        """Show what there is to say; what was put away stays away."""
        if told != self.told:
            self.told, self._away = told, ()
        self.lay_out()

    def put_away(self) -> None:
        """Put it away: it was seen."""
        self._away = self.told
        self.lay_out()

    @property
    def open(self) -> bool:
        """Return whether something is told now."""
        return bool(self.told) and self._away != self.told

    def lay_out(self) -> None:
        """Show as much as there is room for."""
        text = "\n".join(self.told)
        most = FEW_ROWS if self.screen.size.height < LOW else MANY_ROWS
        self.say("" if not self.open else text if len(self._rows(text)) <= most else self._begins(text, most))

    def _rows(self, text: str) -> list[str]:
        width = max(20, self.screen.size.width - 2)
        return [row for line in text.split("\n") for row in textwrap.wrap(line, width) or [""]]

    def _begins(self, text: str, most: int) -> str:
        """Return as many words as fit before it is said that there is more."""
        words = text.split(" ")
        begins = (" ".join(words[:end]).rstrip().rstrip(STOPS) + MORE for end in range(len(words) - 1, 0, -1))
        return next((one for one in begins if len(self._rows(one)) <= most), MORE.strip())
