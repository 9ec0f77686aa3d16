"""The plan as JSON: the stable object that other programs read."""

from __future__ import annotations

import json
from typing import Any

from pathway.plan.model import Plan


def plan_json(plan: Plan) -> str:
    """Return the whole plan as one JSON object, keys in the order of the model, two spaces of indent."""
    return plan.model_dump_json(indent=2)


def part_json(part: Any) -> str:
    """Return a part of the plan (already plain data) as JSON."""
    return json.dumps(part, indent=2, ensure_ascii=False)
