"""The plan as JSON: the stable object that other programs read."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # lists are plain data
    from pathway.plan.model import Plan


def plan_json(plan: Plan) -> str:
    """Return the whole plan as one JSON object, keys in the order of the model, two spaces of indent."""
    return plan.model_dump_json(indent=2)


def part_json(part: Any) -> str:
    """Return a part of the plan (already plain data) as JSON."""
    return json.dumps(part, indent=2, ensure_ascii=False)


def parts_json(parts: Iterable[Any]) -> Iterator[str]:
    """Yield, line by line together, what `part_json` returns for the list of these parts: none has to be kept."""
    none = True
    for part in parts:
        yield f"{'[' if none else ','}\n{textwrap.indent(part_json(part), '  ')}"
        none = False
    yield "[]" if none else "\n]"
