"""Classifications: one type for every child, none with two, and only the gaps that the published scheme has.

Complete and free of overlap over complete findings is enough for incomplete ones too: a type that holds
whatever the missing finding is would hold for each of its values, so that where a finding is missing at most
one type holds, and where none holds and some may the child is undetermined.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from pathway.protocol.model import Classification, Protocol
from pathway.protocol.prove.complaint import Complaint
from pathway.protocol.prove.space import Space, Wanted


def scheme_faults(protocol: Protocol, space: Space) -> Iterator[Complaint]:
    """Yield overlaps, holes that no gap declares, gaps that are none, and types that no child can have."""
    for scheme in protocol.classifications:
        yield from _types_that_never_hold(scheme, space)
        yield from _overlaps(scheme, space)
        yield from _holes(scheme, space)
        yield from _gaps(scheme, space)


def _types_that_never_hold(scheme: Classification, space: Space) -> Iterator[Complaint]:
    for kind in scheme.types:
        if space.example((kind.when, True)) is None:
            yield Complaint(kind.id, "no findings that give this type", "at least one child", "correct its `when`")


def _overlaps(scheme: Classification, space: Space) -> Iterator[Complaint]:
    for one, two in combinations(scheme.types, 2):
        child = space.example((one.when, True), (two.when, True))
        if child is not None:
            found = f"the types {one.type} and {two.type} at once for {child.words}"
            yield Complaint(scheme.id, found, "one type for every child", f"correct {one.id} or {two.id}")


def _holes(scheme: Classification, space: Space) -> Iterator[Complaint]:
    wanted: list[Wanted] = [(kind.when, False) for kind in scheme.types]
    if scheme.gap_when is not None:
        wanted.append((scheme.gap_when, False))
    child = space.example(*wanted)
    if child is not None:
        do = "correct a type, or declare the gap of the published scheme with `gap` and `gap_when`"
        yield Complaint(scheme.id, f"no type for {child.words}", "a type for every child", do)


def _gaps(scheme: Classification, space: Space) -> Iterator[Complaint]:
    if (scheme.gap_when is None) == bool(scheme.gap.strip()):
        found = "a gap in words without its test" if scheme.gap_when is None else "a gap's test without its words"
        yield Complaint(scheme.id, found, "both `gap` and `gap_when`, or neither", "add what is missing")
    if scheme.gap_when is None:
        return
    child = space.example((scheme.gap_when, True))
    if child is None:
        found = "a gap that no child falls into"
        yield Complaint(scheme.id, found, "a gap of the scheme", "drop or correct `gap_when`")
    for kind in scheme.types:
        child = space.example((scheme.gap_when, True), (kind.when, True))
        if child is not None:
            found = f"the type {kind.type} and the declared gap at once for {child.words}"
            yield Complaint(scheme.id, found, "a gap where no type holds", f"correct `gap_when` or {kind.id}")
