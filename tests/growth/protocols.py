"""The shipped protocol with a few things changed."""

from __future__ import annotations

from pathway.protocol.model import Protocol


def with_value(protocol: Protocol, name: str, value: float) -> Protocol:
    return with_values(protocol, {name: value})


def with_values(protocol: Protocol, changed: dict[str, float]) -> Protocol:
    values = tuple(v.model_copy(update={"value": changed[v.id]}) if v.id in changed else v for v in protocol.values)
    return _made(protocol, values=values)


def with_rows(protocol: Protocol, table: str, rows: tuple[tuple[str | float, ...], ...]) -> Protocol:
    tables = tuple(t.model_copy(update={"rows": rows}) if t.id == table else t for t in protocol.tables)
    return _made(protocol, tables=tables)


def as_printed(protocol: Protocol) -> Protocol:
    """Return the protocol with the multiplier table as the one curve, as the classical methods use it."""
    return protocol.model_copy(update={"growth_curve": "table"})


def all_goes_well(protocol: Protocol) -> Protocol:
    """Return the protocol in a world in which arrests work wholly and at once and no lengthening costs growth."""
    never = {"arrest_delay_years": 0.0, "arrest_delay_sd_years": 1e-6, "arrest_redone_chance": 0.0}
    never["lengthening_gain_error_sd_mm"] = 1e-3
    sure = with_rows(with_values(protocol, never), "arrest_efficacy", (("works", 1.0, 1.0, 1e-6),))
    return with_rows(sure, "loss_after_lengthening", (("any", "any", 1.0, 0.0, 1e-6, "", ""),))


def _made(protocol: Protocol, **changed: object) -> Protocol:
    parts = {field: getattr(protocol, field) for field in Protocol.model_fields}
    return Protocol.model_construct(**{**parts, **changed})
