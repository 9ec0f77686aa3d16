"""The words of the rules that families read, in English, by kind and id: what another language must have too."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pathway.protocol.model import Protocol


def rule_words(protocol: Protocol) -> Mapping[str, str]:
    """Return the family's words of every rule that has some, by `<kind>.<id>`; the kinds are those of `wording.KINDS`.

    Of the cautions only the one that heads every page is told to families. A device has words where a stage is said
    otherwise with it; a finding without words is told by its label. Results of print are those of whole courses;
    a citation of print stays as it is, what is no publication is said in words.
    """
    return {name: text for name, text in _each(protocol) if text}


def _each(protocol: Protocol) -> Iterator[tuple[str, str | None]]:
    yield from ((f"stages.{stage.id}", stage.family_words) for stage in protocol.stages)
    yield from ((f"devices.{device.id}", device.stage_family_words) for device in protocol.devices)
    yield from ((f"findings.{rule.id}", rule.family_words or rule.label) for rule in protocol.findings)
    yield from ((f"limits.{limit.id}", limit.family_words) for limit in protocol.amount_limits)
    yield from ((f"cautions.{rule.id}", rule.text) for rule in protocol.cautions if rule.head)
    yield from ((f"printed.{h.id}", h.family_words) for h in protocol.harms if h.treatment == "whole_course")
    yield from ((f"stage_harms.{harm.id}", harm.family_words) for harm in protocol.stage_harms)
    yield from ((f"stop_rules.{rule.id}", rule.family_words) for rule in protocol.stop_rules)
    yield from ((f"sources.{one.id}", one.citation) for one in protocol.sources if one.kind == "none")
    yield from ((f"follow_ups.{rule.id}", rule.family_words) for rule in protocol.follow_ups)
