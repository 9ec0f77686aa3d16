"""A course that family or team chose, after operations since: what of it was carried out, and what is left of it."""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass

from pathway.courses.course import COUNT, NO_SURGERY
from pathway.preferences import PROSTHETIC_COURSE
from pathway.protocol.model import Bone, Protocol
from pathway.protocol.roles import role_of
from pathway.record import Decision, Operation, Record

WORDS: dict[Bone, str] = {"femur": "femoral", "tibia": "tibial"}
_COMPOSED = re.compile(r"(?:([a-z]+)_femoral)?_?(?:([a-z]+)_tibial)?_?(arrest)?")
OF_A_COURSE = ("lengthening", "growth_arrest", "prosthetic_alternative")
"""The roles of the stages that a course is made of."""


@dataclass(frozen=True, slots=True)
class Chosen:
    """The course that was chosen last: the decision, its operations done since, and the id of what is left of it.

    `left` is None where the course was carried out to its end. A programme of print is not made of counted steps: what
    is left of it keeps its id.
    """

    decision: Decision
    done: tuple[Operation, ...]
    left: str | None

    @property
    def id(self) -> str:
        """Return the id of the course as it was chosen."""
        return self.decision.course or ""


def chosen_of(record: Record, protocol: Protocol, on: datetime.date | None = None) -> Chosen | None:
    """Return the course chosen last with what was done of it up to `on`; None where none was chosen."""
    decision = next((one for one in reversed(record.decisions) if one.kind == "choose_course" and one.course), None)
    if decision is None or decision.course is None:
        return None
    done = tuple(
        one
        for one in record.operations
        if decision.date <= one.date and (on is None or one.date <= on)
        if role_of(one.kind, protocol) in OF_A_COURSE
    )
    return Chosen(decision, done, _left(decision.course, done, protocol))


def _left(id: str, done: tuple[Operation, ...], protocol: Protocol) -> str | None:
    if not done:
        return id
    roles = {role_of(one.kind, protocol) for one in done}
    if id == PROSTHETIC_COURSE:
        return None if "prosthetic_alternative" in roles else id
    steps = _composed(id)
    if steps is None:
        return id
    numbers, arrest = steps
    for bone in numbers:
        since = sum(1 for one in done if protocol.stage(one.kind).bone == bone)
        numbers[bone] = max(0, numbers[bone] - since)
    parts = [f"{COUNT[number]}_{WORDS[bone]}" for bone, number in numbers.items() if number]
    if arrest and "growth_arrest" not in roles:
        parts.append("arrest")
    return "_".join(parts) or None


def _composed(id: str) -> tuple[dict[Bone, int], bool] | None:
    """Return how many lengthenings of each bone an id counts, and whether an arrest; None for one of another kind."""
    found = _COMPOSED.fullmatch(id)
    words = () if found is None else (found[1], found[2])
    if found is None or not id or any(word is not None and word not in COUNT for word in words):
        return None
    femoral, tibial = (COUNT.index(word) if word else 0 for word in words)
    return {"femur": femoral, "tibia": tibial}, found[3] is not None


def course_words(id: str, protocol: Protocol) -> str:
    """Return what an id stands for in words: `two femoral lengthenings, with growth arrest of the other leg`."""
    if id == PROSTHETIC_COURSE:
        return "the prosthetic road"
    if id == NO_SURGERY:
        return "no operation for length"
    printed = next((one.label for one in protocol.printed_programmes if one.id == id), None)
    steps = _composed(id)
    if printed is not None or steps is None:
        return printed or id.replace("_", " ")
    numbers, arrest = steps
    parts = [
        f"{COUNT[number]} {WORDS[bone]} lengthening{'s' if number > 1 else ''}"
        for bone, number in numbers.items()
        if number
    ]
    if not parts:
        return "growth arrest of the other leg"
    return f"{' and '.join(parts)}, {'with growth arrest of the other leg' if arrest else 'no growth arrest'}"
