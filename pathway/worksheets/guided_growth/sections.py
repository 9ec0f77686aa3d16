"""The parts of the guided-growth sheet: judged by age, when, left in too long, visits, comparison, afterwards."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator

from pathway.days import age_words
from pathway.worksheets.guided_growth.inputs import place_words
from pathway.worksheets.guided_growth.steering import growth_for, rate_deg_per_month
from pathway.worksheets.guided_growth.worked import Worked, band_words
from pathway.worksheets.joint_angles import reading_error
from pathway.worksheets.sheet import Cell, Column, Line, Section, Table

RATES = {"distal_femur": "guided_growth_femur_deg_per_month", "proximal_tibia": "guided_growth_tibia_deg_per_month"}
VISITS_MISSED = (1, 2, 3, 4)


def judged_by_age(of: Worked) -> Section:
    """Return how the measured angle stands to what is normal at the child's age."""
    judged = of.judged
    if judged is None:
        return Section(title="Judged by age", words=("Not judged: no angle was measured on a film.",))
    error = reading_error(of.case.protocol, judged.angle)
    lines = [Line(label="Measured against age", value=place_words(judged), note=judged.band_words, strong=True)]
    if judged.norm is not None:
        norm = judged.norm
        lines.append(
            Line(
                label=f"Normal at {age_words(norm.age_years)}",
                value=norm.normal_deg,
                unit="deg",
                spread=(norm.low_deg, norm.high_deg),
                places=1,
                note=norm.basis_words,
                sources=norm.sources,
            )
        )
        lines.append(Line(label="Outside the band by", value=judged.off_deg, unit="deg", places=1))
    lines.append(
        Line(
            label="Reading error of one film (95 %)",
            value=error.value,
            unit="deg",
            places=2,
            note="plus or minus",
            sources=error.sources,
        )
    )
    return Section(title="Judged by age", lines=tuple(lines))


def when(of: Worked) -> Section:
    """Return the months until straight, those for the allowance apart from them, and the days that follow."""
    first_year = of.growing.grown(12)
    lines = [
        Line(label="Growth of the plate in the first year", value=first_year, unit="mm", places=1),
        Line(
            label="Correction per month",
            value=rate_deg_per_month(first_year, of.width),
            unit="deg",
            places=2,
            note="arctangent of a year's growth over the width, divided by twelve",
        ),
    ]
    lines += _straight(of)
    lines += _removal(of)
    last = of.growing.last_age_for(growth_for(of.angle, of.width))
    lines.append(
        Line(
            label="Last useful age",
            value="past" if last is None else age_words(last),
            note="after this, too little growth is left for the whole angle",
            strong=True,
        )
    )
    return Section(title="When", lines=tuple(lines))


def _straight(of: Worked) -> list[Line]:
    middle = of.straight[0]
    if middle is None:
        return []
    low, high = of.window(of.straight)
    miss = of.case.protocol.value("guided_growth_miss_months")
    early = "some knees are straight by then: from this day on a film at every visit"
    if of.visits is not None and of.visits.every_months is not None and low < of.visits.every_months:
        early += f"; it comes before the first film after {of.visits.every_months} months, bring that one forward"
    return [
        Line(
            label="Months until straight",
            value=middle,
            spread=(low, high),
            unit="months",
            places=1,
            note=f"individual cases are off by {miss.value:g} months on average: {miss.because}",
            sources=miss.sources,
            strong=True,
        ),
        Line(label="Straight about", value=of.day(middle), spread=(of.day(low), of.day(high)), strong=True),
        Line(label="Look at the knee by", value=of.day(low), note=early, strong=True),
    ]


def _removal(of: Worked) -> list[Line]:
    straight, middle = of.straight[0], of.with_allowance[0]
    if straight is None or middle is None:
        return []
    lines = []
    if of.over > 0:
        note = f"for {of.over:g} deg beyond the target, which is wanted only against rebound"
        more = middle - straight
        lines.append(Line(label="Months more for the allowance", value=more, unit="months", places=1, note=note))
    low, high = of.window(of.with_allowance)
    spread = (of.day(low), of.day(high))
    lines.append(Line(label="Remove the plate about", value=of.day(middle), spread=spread, strong=True))
    return [*lines, *_option(of)]


def _option(of: Worked) -> Iterator[Line]:
    """Yield the day with the protocol's allowance where a varus knee is planned without it."""
    rule, past = of.case.protocol.value("guided_growth_over_deg"), of.months_until_past_the_band()
    months = of.growing.months_until(growth_for(of.angle + rule.value, of.width))[0]
    old = of.age >= of.case.protocol.number("guided_growth_over_until_years")
    if of.over > 0 or of.given.valgus is not False or old or months is None:
        return
    note = "not planned: the allowance is for valgus, and from varus it overcorrects into valgus"
    if past is not None and past < months:
        note += f", past the normal band from {of.day(past)}"
    label = f"Option: removed with {rule.value:g} deg against rebound"
    yield Line(label=label, value=of.day(months), note=note, sources=rule.sources)


def too_long(of: Worked) -> Section:
    """Return what a plate does that stays beyond straight: how fast, and when the normal band is left."""
    title, straight, rule = "If the plate stays too long", of.straight[0], of.visits
    if straight is None:
        return Section(
            title=title, words=("Growth ends before the knee is straight: a plate left in cannot overcorrect it.",)
        )
    later = straight + 12
    lines = [
        Line(
            label="Beyond straight the knee goes on turning by",
            value=(of.turned(later) - of.turned(straight)) / 12,
            unit="deg a month",
            places=2,
            note="mean of the year after straight; a plate does not stop by itself",
            strong=True,
        )
    ]
    past = of.months_until_past_the_band()
    if past is not None:
        band = of.band_after(straight)
        assert band is not None
        note = f"normal from then on: {band_words(band)}; beyond it the deformity is the opposite one"
        if of.over:
            note += "; the allowance goes past it" if of.past_by_plan else "; the allowance stays inside it"
        lines.append(Line(label="Beyond the normal band from", value=of.day(past), note=note, strong=True))
    tables = () if rule is None or rule.every_months is None else (_missed(of, straight, rule.every_months),)
    return Section(title=title, lines=tuple(lines), tables=tables)


def _missed(of: Worked, straight: float, every: int) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for missed in VISITS_MISSED:
        months = straight + missed * every
        beyond = of.turned(months) - of.angle
        band, angle = of.band_after(months), None if of.rise is None else of.goal + of.rise * beyond
        where = None
        if band is not None and angle is not None:
            where = "inside" if band[0] <= angle <= band[1] else "outside"
        shown = None if band is None else band_words(band)
        rows.append((missed * every, of.day(months), beyond, angle, shown, where))
    columns = (
        Column(title="months beyond straight"),
        Column(title="date"),
        Column(title="beyond target", unit="deg", places=1),
        Column(title="angle then", unit="deg", places=1),
        Column(title="normal from then on"),
        Column(title="of that band"),
    )
    return Table(title="A plate that is left in", columns=columns, rows=tuple(rows))


def schedule(of: Worked) -> Section:
    """Return the films while the plate is in place, and what each should show."""
    rule = of.visits
    straight, middle, slow = of.straight[0], of.with_allowance[0], of.with_allowance[2]
    if rule is None or rule.every_months is None or middle is None or straight is None:
        return Section(title="Visits")
    rows: list[tuple[datetime.date, float, float, str]] = []
    count = math.ceil((max(slow or middle, middle) + of.half) / rule.every_months)
    for k in range(1, count + 1):
        months = float(k * rule.every_months)
        turned = min(of.turned(months), of.angle + of.over)
        near = straight - of.half <= months <= middle + of.half
        rows.append((of.day(months), turned, of.angle - turned, "remove plate?" if near else ""))
    columns = (
        Column(title="film"),
        Column(title="corrected", unit="deg", places=1),
        Column(title="left", unit="deg", places=1),
        Column(title=""),
    )
    note = "The film, not the date, decides when the plate is removed."
    if of.over > 0:
        note += " Below 0 in the column left: the allowance."
    table = Table(title=rule.text, columns=columns, rows=tuple(rows), note=note, sources=rule.sources)
    return Section(title="Visits", tables=(table,))


def measured(of: Worked) -> Section:
    """Return the same angle at rates that series have measured."""
    ids = [RATES[of.physis]]
    if of.physis == "distal_femur":
        ids.append("guided_growth_small_child_deg_per_month")
    rows = []
    sources: list[str] = []
    for id in ids:
        value = of.case.protocol.value(id)
        low, high = value.low or value.value, value.high or value.value
        rows.append((value.because, value.value, of.angle / value.value, of.angle / high, of.angle / low))
        sources += value.sources
    columns = (
        Column(title="measured in series"),
        Column(title="deg/month", places=1),
        Column(title="months", places=0),
        Column(title="quick", places=0),
        Column(title="slow", places=0),
    )
    sick = of.case.protocol.value("guided_growth_sick_plate_times")
    line = Line(
        label="Time factor for a diseased growth plate",
        value=sick.value,
        places=1,
        note=sick.because,
        sources=sick.sources,
    )
    table = Table(
        title=f"{of.angle:g} deg at published rates", columns=columns, rows=tuple(rows), sources=tuple(sources)
    )
    return Section(title="For comparison", lines=(line,), tables=(table,))


def afterwards(of: Worked) -> Section:
    """Return how often the deformity comes back."""
    lines = []
    for id, label in (
        ("guided_growth_rebound_deficiency_percent", "Recurrence of valgus, congenital deficiency"),
        ("guided_growth_rebound_percent", "Rebound after removal, all causes"),
    ):
        value = of.case.protocol.value(id)
        spread = None if value.low is None or value.high is None else (value.low, value.high)
        lines.append(
            Line(
                label=label, value=value.value, unit="of 100", spread=spread, note=value.because, sources=value.sources
            )
        )
    words = ("Keep checking after removal: a repeat is likely while the child grows.",)
    return Section(title="After removal", words=words, lines=tuple(lines))
