"""Every rule says in words what it is and why, and where its sources are found."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.protocol.model import Protocol
from pathway.protocol.prove.complaint import Complaint
from pathway.protocol.traced import faults_of_traces
from pathway.record import Frozen

SAID = ("because", "label", "what", "family_words", "text", "target", "how", "topic", "look_for", "citation")
SHOWN = ("quantity", "found", "population", "may_say")


def wording_faults(protocol: Protocol) -> Iterator[Complaint]:
    """Yield rules with an empty text, statements without any source, and sources that nobody can find."""
    for item in _all(protocol):
        name = str(getattr(item, "id", ""))
        for field in (*SAID, *SHOWN):
            text = getattr(item, field, None)
            if isinstance(text, str) and not text.strip():
                yield Complaint(name, f"no words in `{field}`", "a sentence a person can read", "write it")
        if getattr(item, "sources", None) == ():
            yield Complaint(name, "no source", "at least one id of sources.toml", "name where it comes from")
    yield from _untraced(protocol)


def _untraced(protocol: Protocol) -> Iterator[Complaint]:
    for name, found, expected in faults_of_traces(protocol):
        yield Complaint(name, found, expected, "add it")


def _all(protocol: Protocol) -> Iterator[Frozen]:
    yield from protocol.rules()
    for group in (
        protocol.sources,
        protocol.findings,
        protocol.methods,
        protocol.skeletal_methods,
        protocol.diagnoses,
        protocol.classifications,
        protocol.stages,
        protocol.disagreements,
        protocol.evidence,
        protocol.stage_harms,
    ):
        yield from group
