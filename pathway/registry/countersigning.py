"""A second workstation verifies the registry and signs that it did. An edge."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from pathway.registry.journal.signed import SignedHead, countersigned, public_hex, shown_key
from pathway.registry.problem import problem
from pathway.registry.store import Registry
from pathway.registry.verifying import seen_before, standing, take_as_seen, verify


def confirm_keys(registry: Registry, beginnings: Sequence[str]) -> tuple[str, ...]:
    """Trust on this machine the workstations whose keys begin so, and return their keys.

    Raises `RegistryProblem` for a beginning that is short, or that of no unconfirmed key or of several.
    """
    unknown = standing(registry).unknown_keys
    chosen = []
    for start in beginnings:
        fitting = [key for key in unknown if key.startswith(start.lower())]
        if len(fitting) != 1 or len(start) < 8:
            expected = "8 digits or more of one key that `registry verify` names as unconfirmed"
            raise problem(registry.place.name, f"the key {start}", expected, "copy it from there", key="--key")
        chosen += fitting
    take_as_seen(registry, chosen)
    return tuple(chosen)


def countersign(registry: Registry, *, who: str, when: datetime.datetime) -> SignedHead:
    """Verify the registry and keep, under a head of this workstation, that the head signed last was verified.

    Returns the head that was countersigned. Raises `RegistryProblem` where something is wrong, or where this
    workstation signed it itself.
    """
    name = registry.place.name
    found = verify(registry, roots=seen_before(registry))
    faults = (*found.faults, *standing(registry).faults)
    if faults:
        first = faults[0].sentence.removesuffix(".")
        raise problem(name, f"{len(faults)} faults ({first})", "a sound registry", "see all with `registry verify`")
    key = registry.station.key
    public = public_hex(key)
    if found.head is None or found.head.public_key == public:
        what = "nothing that was signed yet" if found.head is None else f"what this {shown_key(public)} signed itself"
        raise problem(name, what, "a head signed by another workstation", "countersign from a second workstation")
    head = found.head
    signature = key.sign(countersigned(head.size, head.root)).hex()
    registry.act(
        "countersign",
        {"size": head.size, "root": head.root, "public_key": public, "signature": signature},
        who=who,
        when=when,
    )
    return head
