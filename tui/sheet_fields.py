"""The inputs of a worksheet as fields of a form, and what was typed as the settings that its sheet reads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from pathway.protocol.model import Protocol
from pathway.worksheets.sheet import Input, Sheet
from tui.followup.amounts import Amount, AskedBack, Expected, length_mm
from tui.followup.form_field import Field
from tui.followup.options import Option, Unclear, chosen

YES_NO = (Option("yes", "yes"), Option("no", "no"))
KNOWN = ("visit", "plan")
"""Origins of a length that another one is held against: it was measured or planned for this child."""


def fields(
    sheet: Sheet,
    typed: Mapping[str, str],
    protocol: Protocol,
    planned: Sheet | None = None,
    wrong: Mapping[str, str] | None = None,
) -> Iterator[Field]:
    """Yield a field for each input that may be set, choices by their names, with what is `wrong` with it.

    `planned` is the sheet with none set.
    """
    before, faults = _inputs(planned), wrong or {}
    for item in sheet.inputs:
        if item.settable:
            field = _field(item, typed.get(item.name), protocol, before.get(item.name, item))
            yield replace(field, wrong=faults.get(item.name, ""))


def settings(
    sheet: Sheet | None, typed: Mapping[str, str], protocol: Protocol, planned: Sheet | None = None
) -> tuple[dict[str, str], dict[str, str]]:
    """Return what was typed as the sheet reads it, and the sentence for each that is asked back, by its name.

    `sheet` is the last that was made, `planned` the one with nothing set by hand: what was measured or planned. A
    choice may be typed by a part of its name, a length in cm; everything else goes to the sheet as it is.
    """
    known, before = _inputs(sheet), _inputs(planned)
    found, wrong = dict(typed), dict[str, str]()
    for name, text in typed.items():
        item = known.get(name)
        try:
            if item is not None:
                found[name] = _meant(item, text, protocol, before.get(name, item))
        except Unclear as error:
            wrong[name] = str(error)
            # Nothing is worked out of a number whose unit is still asked for: no sheet reads it like this.
            found[name] = f"{text} (which unit?)" if isinstance(error, AskedBack) else text
    return found, wrong


def _inputs(sheet: Sheet | None) -> dict[str, Input]:
    return {} if sheet is None else {item.name: item for item in sheet.inputs}


def _meant(item: Input, text: str, protocol: Protocol, planned: Input) -> str:
    options = options_of(item, protocol)
    if options:
        return chosen(text, options).value
    amount = _length(planned, text)
    return text if amount is None else f"{amount.value:g}"


def options_of(item: Input, protocol: Protocol) -> tuple[Option, ...]:
    """Return the choices of an input by their names: devices as the rules call them, all else in plain words."""
    if item.kind == "flag":
        return YES_NO
    labels = {device.id: device.label for device in protocol.devices}
    return tuple(Option(choice, labels.get(choice, choice.replace("_", " "))) for choice in item.choices)


def _length(item: Input, text: str) -> Amount | None:
    if item.unit != "mm" or item.kind != "number" or not text.strip():
        return None
    about = item.value if item.origin in KNOWN and isinstance(item.value, float) and item.value > 0 else None
    return length_mm(text, Expected(item.plausible, about))


def _field(item: Input, typed: str | None, protocol: Protocol, planned: Input) -> Field:
    options = options_of(item, protocol)
    if typed is None and item.stands_in:
        # A value that another input lends is no value of this one: it is shown, not typed into.
        lent = _as_typed(item, options)
        return Field(
            item.name,
            item.label,
            "",
            item.unit,
            _wanted(item),
            f"as the {item.stands_in}",
            options=options,
            offered=lent,
        )
    value = _as_typed(item, options) if typed is None else typed
    means = ""
    try:
        if options and value:
            means = chosen(value, options).words
        elif typed is not None and (amount := _length(planned, typed)) is not None:
            means = amount.means
    except AskedBack as error:
        options = tuple(Option(text, text) for text in error.offered)
    except Unclear:
        pass
    by_hand = typed is not None
    return Field(item.name, item.label, value, item.unit, _wanted(item), _origin(item), by_hand, options, means)


def _origin(item: Input) -> str:
    words = {"protocol": "default, local" if item.local else "default", "plan": "plan", "record": "record"}
    words["by_hand"] = "by hand"
    visit = f"visit {item.measured_on}" if item.measured_on else "visit"
    return visit if item.origin == "visit" else words.get(item.origin, "")


def _as_typed(item: Input, options: tuple[Option, ...]) -> str:
    value = item.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ",".join(f"{part:g}" for part in value)
    if isinstance(value, float):
        return f"{value:g}"
    return next((option.words for option in options if option.value == value), str(value))


def _wanted(item: Input) -> str:
    words = {"choice": "part of a name will do", "day": "a date such as 2031-09-01", "flag": "yes or no"}
    words["text"] = item.written
    what = words.get(item.kind, "numbers with commas between them" if item.kind == "list" else "a number")
    if item.plausible is not None:
        what += f" from {item.plausible[0]:g} to {item.plausible[1]:g}"
    if item.unit == "mm" and item.kind == "number":
        what += ", in mm, or in cm with its unit"
    return f"{what}; {_from(item)}"


def _from(item: Input) -> str:
    """Return where a value comes from, in words: what a default rests on is told by the help on its field."""
    match item.origin:
        case "visit":
            when = f" of {item.measured_on}" if item.measured_on else ""
            text = f"visit{when}, {item.method.replace('_', ' ')}".rstrip(", ")
        case "protocol":
            text = "default of this clinic" if item.local else "default of the rules"
        case "plan":
            text = "the plan"
        case "record":
            text = "the record"
        case "by_hand":
            text = "set by hand"
        case _:
            text = "not given" if item.value is None else "assumed"
    return f"{text}; {item.note}" if item.note and item.origin != "protocol" else text
