"""A worksheet as a screen or a page of paper tells it: inputs by their labels, sources by number, no command line."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from pathway.problems import Problem
from pathway.worksheets.sheet import Cell, Input, Line, Section, Sheet, Table

_HINT = re.compile(r" \(--set [^)]*\)")
_GIVE = re.compile(r"(?:give|correct) (?:it )?(?:with )?--set (\w+)=\S*?(?=[.,;)]*(?:\s|$))")
_SET = re.compile(r"--set (\w+)=\S*?(?=[.,;)]*(?:\s|$))")
_NAME = re.compile(r"\b[a-z]\w*_\w+\b")


def labels_of(inputs: Iterable[Input]) -> Mapping[str, str]:
    """Return the label of each input by its name."""
    return {item.name: item.label for item in inputs}


def plain(text: str, labels: Mapping[str, str]) -> str:
    """Return a sentence with what the command line asks for said as a form asks for it, inputs by their labels."""
    text = _HINT.sub("", text)
    text = _GIVE.sub(lambda found: f"type it at {_label(found.group(1), labels)}", text)
    text = _SET.sub(lambda found: _label(found.group(1), labels), text)
    return _NAME.sub(lambda found: _label(found.group(0), labels) if found.group(0) in labels else found.group(0), text)


def fault_words(fault: Problem, labels: Mapping[str, str]) -> str:
    """Return what is wrong with an input, without its name: its own field says that."""
    said = f"found {fault.found}, expected {fault.expected}" if fault.expected else fault.found
    return plain(f"{said}; {fault.remedy}" if fault.remedy else said, labels)


def faults_by_input(faults: Iterable[Problem], labels: Mapping[str, str]) -> dict[str, str]:
    """Return the sentences of each faulty input by its name; "" holds what no single input can mend."""
    found: dict[str, str] = {}
    for fault in faults:
        name = fault.key if fault.key in labels else ""
        words = fault_words(fault, labels)
        found[name] = f"{found[name]}; {words}" if name in found else words
    return found


def on_screen(sheet: Sheet) -> Sheet:
    """Return the sheet with its words as a screen tells them; sources are cited by their number in its list."""
    labels = labels_of(sheet.inputs)
    numbers = {source.id: str(place) for place, source in enumerate(sheet.sources, 1)}

    def cited(sources: Iterable[str]) -> tuple[str, ...]:
        return tuple(numbers[id] for id in sources if id in numbers)

    def words(value: Cell) -> Cell:
        return plain(value, labels) if isinstance(value, str) else value

    def line(one: Line) -> Line:
        told = {"value": words(one.value), "note": words(one.note), "sources": cited(one.sources)}
        return one.model_copy(update=told)

    def table(one: Table) -> Table:
        rows = tuple(tuple(words(cell) for cell in row) for row in one.rows)
        return one.model_copy(update={"rows": rows, "note": words(one.note), "sources": cited(one.sources)})

    def section(one: Section) -> Section:
        told = {"words": tuple(plain(text, labels) for text in one.words), "lines": tuple(map(line, one.lines))}
        return one.model_copy(update={**told, "tables": tuple(map(table, one.tables))})

    return sheet.model_copy(
        update={
            "warnings": tuple(
                one.model_copy(update={"text": plain(one.text, labels), "rule": ""}) for one in sheet.warnings
            ),
            "sections": tuple(map(section, sheet.sections)),
            "sources": tuple(one.model_copy(update={"id": numbers[one.id]}) for one in sheet.sources),
        }
    )


def _label(name: str, labels: Mapping[str, str]) -> str:
    return f"“{labels[name]}”" if name in labels else name.replace("_", " ")
