"""Of a kept plan only what its results need, read out of its text without reading the rest, which is most of it. Pure.

A payload is written in one way (`chain.payload_text`): sorted keys, no spaces, quotes inside texts escaped. A key with
its quotes and colon is therefore found nowhere but where it is a key. What is not as expected is read as a whole.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pathway.registry.journal.payloads import PAYLOAD_VERSION, revision_of

PARTS = ("alternatives", "growth", "stages")
_BEFORE, _FIRST, _GROWTH, _STAGES = '"plan":{', '"alternatives":[', '"growth":', '"stages":'
_GROUNDS, _GATES, _WAIVED = ('"because":[', '],"date":'), ('"gates":[', '],"goes_with":'), '"state":"waived"'
"""What most of a stage's text is: how its list begins, and how the key after it in the order of keys ends the list."""
_DECODER = json.JSONDecoder()


@dataclass(frozen=True, slots=True)
class KeptParts:
    """Whether somebody accepted a kept plan, its day, and its courses, growth and stages.

    Courses that are not recommended, grounds of stages and gates that nobody waived may be left out.
    """

    accepted: bool
    on: datetime.date
    plan: Mapping[str, Any]


def parts_of_revision(text: str, version: int) -> KeptParts:
    """Return the parts of the payload of a revision. Raises `UnreadablePayload`, or ValueError for no JSON."""
    if version == PAYLOAD_VERSION:
        try:
            return _quickly(text)
        except (ValueError, KeyError, TypeError, IndexError):
            pass  # written in another way: read as a whole
    whole = revision_of(json.loads(text), version)
    return KeptParts(whole.accepted, whole.on, {name: whole.plan.get(name) for name in PARTS if name in whole.plan})


def _quickly(text: str) -> KeptParts:
    """Return the parts by their places; raises ValueError and its like where they are not as they are written now."""
    begins = text.index(_BEFORE)
    head = json.loads(text[:begins].rstrip(",") + "}")
    start = begins + len(_BEFORE)
    if not text.startswith(_FIRST, start):
        raise ValueError("the courses are not the first part")
    courses, end = _recommended(text, start + len(_FIRST) - 1)
    growth, _ = _DECODER.raw_decode(text, text.rindex(_GROWTH + "{", end) + len(_GROWTH))
    stages, _ = _DECODER.raw_decode(_without_grounds(text[text.rindex(_STAGES + "[", end) + len(_STAGES) :]))
    if "by_age" not in growth or not all("kind" in one and "status" in one for one in stages):
        raise ValueError("parts of another plan")
    plan = dict(zip(PARTS, (courses, growth, stages), strict=True))
    return KeptParts(head.get("accepted", True), datetime.date.fromisoformat(head["on"]), plan)


def _recommended(text: str, at: int) -> tuple[list[Mapping[str, Any]], int]:
    """Return the recommended course alone, none where there is none, of the list of courses that begins at a place."""
    at += 1
    while text[at] != "]":
        course, at = _DECODER.raw_decode(text, at)
        if course["recommended"]:
            return [course], at
        at += text[at] == ","
    return [], at


def _without_grounds(stages: str) -> str:
    """Return stages without their grounds and without gates that nobody waived.

    A list that ends otherwise than expected leaves brackets that do not match, which the reading refuses.
    """
    for (begins, ends), kept in ((_GROUNDS, ""), (_GATES, _WAIVED)):
        first, *rest = stages.split(begins)
        parts = [first]
        for part in rest:
            end = part.find(ends)
            cut = end >= 0 and not (kept and kept in part[:end])
            parts.append(part[end:] if cut else part)
        stages = begins.join(parts)
    return stages
