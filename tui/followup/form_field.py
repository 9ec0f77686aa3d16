"""A field of a form as plain data. No screen in here."""

from __future__ import annotations

from dataclasses import dataclass

from tui.followup.options import Option


@dataclass(frozen=True, slots=True)
class Field:
    """One field: its name, its label, its value as typed, what may be typed, where the value comes from.

    `offered` is the value where none is typed. `options` are what is chosen from, none where the value is free;
    `means` is what a part of a choice stands for. A `wrong` one has a sentence that says why. So many fields `ahead`
    are brought into view with it. With `several` more than one choice is typed, with commas between them.
    """

    name: str
    label: str
    value: str
    unit: str = ""
    wanted: str = ""
    origin: str = ""
    by_hand: bool = False
    options: tuple[Option, ...] = ()
    means: str = ""
    offered: str = ""
    wrong: str = ""
    ahead: int = 0
    several: bool = False
