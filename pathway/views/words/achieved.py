"""Osteotomies as planned and as the films after show them, one by one and together, as printed text and as rules."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from statistics import NormalDist

from pathway.protocol.model import Protocol
from pathway.questions.achieved import Achieved, Difference
from pathway.questions.corrections import Corrections, NextError, Pooled
from pathway.record import Operation
from pathway.views.words.worksheet import section_lines
from pathway.views.words.wrapping import wrap
from pathway.worksheets.sheet import Cell, Column, Section, Table

LABELS: Mapping[str, str] = {
    "valgus_deg": "valgus, computed (varus below 0)",
    "extension_deg": "extension, computed (flexion below 0)",
    "rotation_deg": "rotation, computed, distal piece inward",
    "neck_shaft_after_deg": "neck-shaft angle",
    "version_after_deg": "version",
    "flexion_after_deg": "flexion remaining",
    "epiphyseal_after_deg": "epiphyseal angle",
    "length_gain_mm": "length gained",
}
REACH_95 = NormalDist().inv_cdf(0.975)
"""So many SD to either side hold 95 of 100."""
NONE_KEPT = (
    "Up to {on} no sheet of an osteotomy was kept. Write it when it is used "
    "(`worksheet osteotomy CASE --json > sheet.json`, with --set for what was changed at the table) and enter it with "
    "the operation (`followup CASE --on DAY --done proximal_femoral_osteotomy --sheet sheet.json`)."
)
SIGN = (
    "Differences are what was achieved less what was planned. Computed: from the angles before and after, in the frame "
    "of the sheet; nobody measures them. Reading error: what reading the films alone makes of it, 95 of 100."
)


def achieved_text(
    child: str,
    on: datetime.date,
    found: Sequence[Achieved],
    bare: Sequence[Operation],
    protocol: Protocol,
    caution: str,
    width: int,
) -> str:
    """Return the osteotomies of one child in lines of at most `width`; `bare` are those without their sheet."""
    lines = [*wrap(f"Planned and achieved: {child}", width), *wrap(caution, width)]
    if not found:
        lines += ["", *wrap(NONE_KEPT.format(on=on), width)]
    for one in found:
        lines += [*section_lines(_one(one), width, plain=False)]
        if one.film_on is None:
            lines += wrap(
                "No film after it: enter neck_shaft_angle_deg, femoral_version_deg and proximal_femur_flexion_deg of "
                "the first film at a follow-up.",
                width,
            )
    for operation in bare:
        label = protocol.stage(operation.kind).label
        lines += ["", *wrap(f"{label} on {operation.date}: its sheet was not kept, nothing to compare.", width)]
    if found:
        lines += ["", *wrap(SIGN, width)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def corrections_text(found: Corrections, on: datetime.date, caution: str, width: int, *, each: bool) -> str:
    """Return the clinic's osteotomies together in lines of at most `width`; with `each` every one of them besides."""
    count = len(found.operations)
    filmed = sum(one.film_on is not None for one in found.operations)
    head = f"Planned and achieved: {_of(count)} with the sheet that was used, {filmed} with a film after"
    lines = [*wrap(head, width), *wrap(caution, width)]
    if not found.operations:
        lines += ["", *wrap(NONE_KEPT.format(on=on), width)]
    elif not found.pooled:
        lines += [
            "",
            *wrap(
                f"Of fewer than {found.least} with a film no mean and no spread is told: so few prove nothing.", width
            ),
        ]
    for section in _together(found.pooled):
        lines += [*section_lines(section, width, plain=False)]
    if found.next_errors:
        lines += [*section_lines(_next(found.next_errors), width, plain=False)]
    for one in found.operations if each else ():
        lines += [*section_lines(_one(one, named=True), width, plain=False)]
    if found.operations:
        lines += ["", *wrap(f"{SIGN} They tell of a clinic's way of working, never of one person.", width)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def as_rules(found: Corrections, on: datetime.date) -> str:
    """Return the errors of the next plan as rules of a clinic (TOML), to be laid over ours; "" where there are none."""
    if not found.next_errors:
        return ""
    parts = [
        "# Errors of the hand in an osteotomy of the upper femur, from this clinic's own plans and films.",
        "# Review them, then put this file into the folder of the clinic's rules.",
    ]
    for one in found.next_errors:
        parts.append(
            f'\n[[value]]\nid = "{one.rule}"\nvalue = {one.sd:g}\n'
            f'because = "Own results up to {on}: {_of(one.operations)}, planned {_short(one.name)} against the films '
            f'after, joined with {one.assumed:g} that weighs as {one.prior:g}."\n'
            'provenance = "computed"\nsources = ["own_corrections"]\n'
        )
    parts.append(
        '\n[[source]]\nid = "own_corrections"\n'
        f'citation = "This clinic\'s registry: osteotomies planned and achieved, up to {on}"\nyear = {on.year}\n'
        'seen = "worked out by the program from the clinic\'s records"\nno_address = "the clinic\'s own records"\n'
    )
    return "\n".join(parts)


def _of(count: int) -> str:
    return "1 osteotomy" if count == 1 else f"{count} osteotomies"


def _short(name: str) -> str:
    return LABELS[name].partition(" (")[0].partition(",")[0]


def _one(one: Achieved, *, named: bool = False) -> Section:
    film = "no film after it" if one.film_on is None else f"film of {one.film_on}"
    who = f"{one.child}, " if named else ""
    title = f"{who}{one.side} leg, {one.on}, implant {one.implant_deg:g} deg, {film}"
    columns = (
        Column(title="quantity"),
        Column(title="planned", places=1),
        Column(title="achieved", places=1),
        Column(title="difference", places=1),
        Column(title="reading error"),
    )
    return Section(
        title=title, tables=(Table(title=title, columns=columns, rows=tuple(_row(row) for row in one.differences)),)
    )


def _row(one: Difference) -> tuple[Cell, ...]:
    reach = None if one.reading_sd is None else REACH_95 * one.reading_sd
    off = one.difference
    told = (
        "" if reach is None or off is None else f"within ±{reach:.0f}" if abs(off) <= reach else f"beyond ±{reach:.0f}"
    )
    return f"{LABELS[one.name]} ({_unit(one.name)})", one.planned, one.achieved, off, told


def _unit(name: str) -> str:
    return "mm" if name.endswith("_mm") else "deg"


def _together(pooled: Sequence[Pooled]) -> Iterator[Section]:
    for implant in dict.fromkeys(one.implant_deg for one in pooled):
        title = "All implants" if implant is None else f"Implant {implant:g} deg"
        columns = (
            Column(title="achieved less planned"),
            Column(title="osteotomies"),
            Column(title="mean", places=1),
            Column(title="90 % interval"),
            Column(title="SD", places=1),
            Column(title="90 % interval of the SD"),
            Column(title="SD of reading error", places=1),
        )
        rows: tuple[tuple[Cell, ...], ...] = tuple(
            (
                f"{LABELS[one.name]} ({_unit(one.name)})",
                one.operations,
                one.mean,
                f"{one.mean_low:.1f} to {one.mean_high:.1f}",
                one.sd,
                f"{one.sd_low:.1f} to {one.sd_high:.1f}",
                one.reading_sd,
            )
            for one in pooled
            if one.implant_deg == implant
        )
        yield Section(title=title, tables=(Table(title=title, columns=columns, rows=rows),))


def _next(errors: Sequence[NextError]) -> Section:
    title = "Error of the hand for the next plan (one SD)"
    columns = (
        Column(title="step"),
        Column(title="assumed by the rules", unit="deg", places=1),
        Column(title="own osteotomies"),
        Column(title="with one's own results", unit="deg", places=1),
        Column(title="rule"),
    )
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (_short(one.name), one.assumed, one.operations, one.sd, one.rule) for one in errors
    )
    note = "What always goes one way counts in it too. `-o FILE` writes them as rules of the clinic."
    return Section(title=title, tables=(Table(title=title, columns=columns, rows=rows, note=note),))
