"""Which stage plays which part: lengthenings, the growth arrest, what follows a lengthening, examinations.

The planner asks here for the part (`role` in the rules) and never for the id of a stage, so that a clinic's rules may
add a second way of lengthening or call a stage by another name.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:  # lists of what is due load no rules
    from pathway.protocol.model import Bone, Protocol, Role, Stage

FOLLOWING: tuple[Role, ...] = ("device_removal", "surveillance")
"""The roles of what starts where a lengthening ends."""
GROWTH_NEEDED: tuple[Role, ...] = ("growth_arrest", "growth_modulation")
"""The roles of what works by the growth that is left: after its last day nothing makes up for it."""
ONCE: tuple[Role, ...] = ("growth_arrest", "prosthetic_alternative", "reexamination")
"""The roles that no two stages may have."""
EVERY_PLAN: tuple[Role, ...] = ("reexamination",)
"""The roles that some stage must have, because every plan may hold it whatever the rules say."""


def with_role(role: Role, protocol: Protocol) -> tuple[Stage, ...]:
    """Return the stages of one role, by rank."""
    return tuple(sorted((stage for stage in protocol.stages if stage.role == role), key=lambda stage: stage.rank))


def kinds_of(role: Role, protocol: Protocol) -> tuple[str, ...]:
    """Return the ids of the stages of one role, by rank."""
    return tuple(stage.id for stage in with_role(role, protocol))


def only_with_role(role: Role, protocol: Protocol) -> Stage | None:
    """Return the one stage of a role that stands once, or None where a clinic switched it off."""
    return next(iter(with_role(role, protocol)), None)


def lengthenings(bone: Bone, protocol: Protocol) -> tuple[Stage, ...]:
    """Return the ways in which a bone may be lengthened, by rank."""
    return tuple(stage for stage in with_role("lengthening", protocol) if stage.bone == bone)


def growth_arrest(protocol: Protocol) -> Stage | None:
    """Return the growth arrest of the long leg, or None where a clinic switched it off."""
    return only_with_role("growth_arrest", protocol)


def reexamination(protocol: Protocol) -> Stage:
    """Return the stage at which gates are looked at again; raises LookupError where there is none (`check` sees it)."""
    found = only_with_role("reexamination", protocol)
    if found is None:
        raise LookupError("the rules have no stage with the role reexamination")
    return found


def role_of(kind: str, protocol: Protocol) -> Role | None:
    """Return the role of a kind of stage; None for one without, and for one that these rules do not know."""
    return next((stage.role for stage in protocol.stages if stage.id == kind), None)


def bone_of(kind: str, protocol: Protocol) -> Bone | None:
    """Return the bone that a kind of stage lengthens; None for other stages, and unknown ones."""
    return next((stage.bone for stage in protocol.stages if stage.id == kind), None)


def predecessor_of(kind: Stage, protocol: Protocol) -> Stage | None:
    """Return the lengthening on whose last day this stage starts (device removal, surveillance), or None."""
    return protocol.predecessor(kind.id)


def carrier_of(kind: Stage, protocol: Protocol) -> Stage | None:
    """Return the lengthening whose nail this stage takes out, or None."""
    return protocol.carrier(kind.id)


def may_be_declined(kind: Stage, protocol: Protocol) -> bool:
    """Return whether a stage can be declined by itself: not what ends a lengthening, nor an examination before one."""
    return numbered_with(kind, protocol) is None and kind.role != "reexamination"


def numbered_with(kind: Stage, protocol: Protocol) -> Stage | None:
    """Return the lengthening that a stage belongs to, number by number: it ends it, or takes its nail out; or None."""
    return protocol.predecessor(kind.id) or protocol.carrier(kind.id)
