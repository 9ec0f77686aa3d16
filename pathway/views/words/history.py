"""What was entered of a child and which plans were kept, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

NO_COURSE = "a plan without a course"


def standing_words(accepted: bool, by: str) -> str:
    """Return whether a kept plan was accepted, and by whom where that was said."""
    if not accepted:
        return "plan kept with what was saved"
    return f"plan accepted by the {by}" if by else "plan accepted"


def kept_words(plan: Mapping[str, Any], reason: str) -> str:
    """Return the course of a plan as it was stored, with the reason it was kept for."""
    course = next((one["summary"] for one in plan.get("alternatives", ()) if one.get("recommended")), NO_COURSE)
    return f"{course}; {reason}" if reason else str(course)
