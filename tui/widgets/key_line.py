"""The keys that work on the screen, in as many lines as they need: none is cut off, each can be clicked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from rich.segment import Segment
from textual.binding import Binding
from textual.events import Click, Resize
from textual.geometry import Size
from textual.screen import Screen
from textual.strip import Strip
from textual.widget import Widget
from textual.widgets._toast import ToastRack

from tui.widgets.paint import paint_of

LAST = ("back", "help", "sources", "undo", "save", "quit", "app.quit")
GAP = 2


@dataclass(frozen=True, slots=True)
class Key:
    """A key as shown: what to press, what it does, where it stands."""

    key: str
    shown: str
    does: str
    row: int = 0
    column: int = 0

    @property
    def width(self) -> int:
        """Return the cells that it takes."""
        return len(self.shown) + 1 + len(self.does)


class KeyLine(Widget):
    """The bindings of the screen that are on; the keys of the screen first, those of all screens last."""

    DEFAULT_CSS = """
    KeyLine { dock: bottom; width: 100%; height: auto; background: $panel; }
    """

    def __init__(self) -> None:
        super().__init__()
        self._found: tuple[Key, ...] = ()
        self._keys: tuple[Key, ...] = ()

    def on_mount(self) -> None:
        """Follow what is bound, and the theme."""
        self.screen.bindings_updated_signal.subscribe(self, self._bindings_changed)
        self.app.theme_changed_signal.subscribe(self, lambda _: self.refresh())
        self._bindings_changed(self.screen)

    def _bindings_changed(self, screen: Screen[object]) -> None:
        if not self.is_attached or screen is not self.screen:
            return
        shown: dict[str, Key] = {}
        for _, binding, enabled, _ in screen.active_bindings.values():
            if binding.show and enabled and binding.action not in shown:
                display = self.app.get_key_display(binding)
                shown[binding.action] = Key(binding.key, display, _words(screen, binding))
        order = sorted(shown, key=lambda action: LAST.index(action) + 1 if action in LAST else 0)
        found = tuple(shown[action] for action in order)
        if found != self._found:
            self._found = found
            self._lay_out()

    def _lay_out(self) -> None:
        rows = self._rows
        self._keys = _placed(self._found, self.size.width or self.app.size.width)
        self.refresh(layout=self._rows != rows)

    @property
    def _rows(self) -> int:
        return 1 + max((key.row for key in self._keys), default=0)

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """Return the lines that the keys need."""
        self._keys = _placed(self._found, width)
        return self._rows

    def on_resize(self, event: Resize) -> None:
        """Lay the keys out anew; messages that pop up stay above them."""
        self._lay_out()
        for rack in self.screen.query(ToastRack):
            rack.styles.margin = (0, 0, event.size.height, 0)

    def render_line(self, y: int) -> Strip:
        """Return one line of keys."""
        paint = paint_of(self.app)
        words, key_style = paint.style("text", "panel"), paint.style("accent", "panel", bold=True)
        blank = words
        segments: list[Segment] = []
        at = 0
        for key in self._keys:
            if key.row == y:
                segments += [Segment(" " * (key.column - at), blank), Segment(key.shown, key_style)]
                segments += [Segment(" ", blank), Segment(key.does, words)]
                at = key.column + key.width
        segments.append(Segment(" " * max(0, self.size.width - at), blank))
        return Strip(segments).crop(0, self.size.width)

    def on_click(self, event: Click) -> None:
        """Press the key that was clicked."""
        for key in self._keys:
            if key.row == event.y and key.column <= event.x < key.column + key.width:
                event.stop()
                self.app.simulate_key(key.key)
                return


def _words(screen: Screen[object], binding: Binding) -> str:
    """Return what a key does on a screen, which may say more of it than the table of keys."""
    words_of: Callable[[Binding], str] | None = getattr(screen, "words_of", None)
    return binding.description if words_of is None else words_of(binding)


def _placed(keys: tuple[Key, ...], width: int) -> tuple[Key, ...]:
    placed: list[Key] = []
    row, column = 0, 1
    for key in keys:
        if column > 1 and column + key.width > width:
            row, column = row + 1, 1
        placed.append(Key(key.key, key.shown, key.does, row, column))
        column += key.width + GAP
    return tuple(placed)
