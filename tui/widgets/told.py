"""What became of the last edit: in two rows on a small screen, in full by a key, and away by the same key."""

from __future__ import annotations

import textwrap

from tui.widgets.frame import Notice

FEW_ROWS, MANY_ROWS = 2, 4
"""Rows that it takes beside everything else, on a small screen and on a large one."""
LOW = 30
"""Rows of a screen below which it is a small one."""
MORE, AWAY = " … (m: all of it)", " (m puts this away)"
STOPS = " ,;:–"


class Told(Notice):
    """Sentences about the last edit; what does not fit is said to be more, never cut inside a sentence's words."""

    DEFAULT_CSS = """
    Told.calm { max-height: 12; }
    """

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id, calm=True)
        self.told: tuple[str, ...] = ()
        self.whole = False
        self._away: tuple[str, ...] = ()

    def tell(self, told: tuple[str, ...]) -> None:
        """Show what there is to say; what was put away stays away."""
        if told != self.told:
            self.told, self.whole = told, False
            self._away = ()
        self.lay_out()

    def turn(self) -> None:
        """Show all of it where it was cut or is away, else put it away."""
        if not self.open or (self.cut and not self.whole):
            self.whole, self._away = True, ()
            self.lay_out()
        else:
            self.put_away()

    def put_away(self) -> None:
        """Put it away: it was seen."""
        self._away, self.whole = self.told, False
        self.lay_out()

    @property
    def open(self) -> bool:
        """Return whether something is told now."""
        return bool(self.told) and self._away != self.told

    @property
    def cut(self) -> bool:
        """Return whether there is more than the rows that it takes beside everything else."""
        return len(self._rows("\n".join(self.told))) > self._most

    @property
    def _most(self) -> int:
        return FEW_ROWS if self.screen.size.height < LOW else MANY_ROWS

    def _rows(self, text: str) -> list[str]:
        width = max(20, self.screen.size.width - 2)
        return [row for line in text.split("\n") for row in textwrap.wrap(line, width) or [""]]

    def lay_out(self) -> None:
        """Show as much as there is room for."""
        text = "\n".join(self.told)
        if not self.open:
            self.say("")
        elif self.whole:
            self.say(f"{text}{AWAY}")
        else:
            self.say(text if not self.cut else self._begins(text))

    def _begins(self, text: str) -> str:
        """Return as many words as fit before it is said that there is more."""
        words = text.split(" ")
        for end in range(len(words) - 1, 0, -1):
            begins = " ".join(words[:end]).rstrip().rstrip(STOPS)
            if len(self._rows(begins + MORE)) <= self._most:
                return begins + MORE
        return MORE.strip()
