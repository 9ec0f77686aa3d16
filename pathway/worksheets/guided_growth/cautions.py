"""What must not be overlooked on the guided-growth sheet."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.days import MONTH_DAYS
from pathway.protocol.roles import role_of
from pathway.worksheets.guided_growth.inputs import ANGLES, Judged, film_again, place_words
from pathway.worksheets.guided_growth.worked import Worked, band_words
from pathway.worksheets.sheet import Warning


def warnings_of(of: Worked) -> Iterator[Warning]:
    """Yield the warnings: no plate by age first, then too late, then side, old film and what was set by hand."""
    middle, _, slow = of.straight
    judged = of.judged
    if judged is not None:
        yield from _by_age(of, judged)
    if middle is None:
        turned = of.turned(12 * float(of.growing.ages[-1] - of.growing.ages[0]))
        text = f"Too late for {of.angle:g} deg: the remaining growth corrects about {turned:.0f} deg."
        yield Warning(text=text, stop=True)
    elif slow is None:
        yield Warning(text="In some possible futures of this child growth ends before the angle is reached.")
    elif of.with_allowance[0] is None:
        yield Warning(text=f"Growth ends before the allowance of {of.over:g} deg is reached.")
    if judged is None:
        text = "No angle was measured: neither age nor side can be judged, nothing is drawn. "
        yield Warning(text=text + "Measure it on the film: --set measured_deg=….")
        return
    yield from _past_the_band(of)
    yield _edge(of)
    yield from _too_young(of)
    yield from _film_too_old(of)


def _by_age(of: Worked, judged: Judged) -> Iterator[Warning]:
    if judged.norm is None:
        months = of.case.protocol.value("guided_growth_film_again_inside_months")
        text = f"Not judged by age: for this angle no normal band is known before {judged.known_from:g} years. "
        text += f"Without one, compare both legs and films {months.value:g} months apart before a plate is placed."
        yield Warning(text=text, rule=months.id, sources=months.sources, stop=True)
    elif judged.place != "outside":
        text = f"No plate by the child's age: {judged.measured_deg:g} deg is {place_words(judged)} "
        text += f"({judged.band_words}). Instead: {film_again(of.case, judged)}."
        yield Warning(text=text, sources=judged.norm.sources, stop=True)
    off = abs(judged.measured_deg - of.goal)
    if abs(off - of.angle) > judged.error_deg:
        text = f"The angle to correct was set to {of.angle:g} deg, but measured and target are {off:.1f} deg apart: "
        yield Warning(text=text + "check both on the film.")


def _too_young(of: Worked) -> Iterator[Warning]:
    """Yield what is told of a small child: the normal angle itself still moves, and the plan's earliest age."""
    rule, norm = of.case.protocol.value(ANGLES[of.physis][1]), of.judged.norm if of.judged is not None else None
    if norm is not None and rule.high is not None and norm.normal_deg > rule.high:
        text = f"The normal angle itself still falls at this age ({norm.words}) towards the target: part of varus goes "
        text += "by itself, and an angle steered now is judged again by the age of each film."
        yield Warning(text=text, sources=norm.sources)
    for window in of.case.protocol.age_windows:
        least = window.at_least_months
        fits = role_of(window.stage, of.case.protocol) == "growth_modulation" and not window.latest_useful
        if fits and least is not None and 12 * of.age < least and window.sex in (None, of.case.record.child.sex):
            text = f"Earlier than the protocol plans it, from {least} months. {window.because}"
            yield Warning(text=text, rule=window.id, sources=window.sources, stop=window.hard)


def _edge(of: Worked) -> Warning:
    edge = "medial side of the knee (valgus)" if of.given.valgus else "lateral side of the knee (varus)"
    return Warning(text=f"The plate goes on the {edge}: check leg and side on the film.")


def _past_the_band(of: Worked) -> Iterator[Warning]:
    """Yield a stop where the plate, removed with its allowance, leaves the knee past the normal band."""
    past, planned, rise = of.months_until_past_the_band(), of.with_allowance[0], of.rise
    if not of.past_by_plan or past is None or planned is None or rise is None:
        return
    band, rule = of.band_after(planned), of.case.protocol.value("guided_growth_over_deg")
    normal = "" if band is None else f" (normal from then on: {band_words(band)})"
    other = "varus" if of.given.valgus else "valgus"
    text = f"The allowance of {of.over:g} deg takes the knee past the normal band, into {other}: removed about "
    text += f"{of.day(planned)} it stands at {of.goal + rise * of.over:g} deg{normal}. Remove the plate before "
    text += f"{of.day(past)}, or set a smaller allowance: --set over_deg=…"
    yield Warning(text=text, rule=rule.id, sources=rule.sources, stop=True)


def _film_too_old(of: Worked) -> Iterator[Warning]:
    item = of.given.inputs.item("measured_deg")
    seen = item.measured_on or of.case.on
    valid = of.case.protocol.finding(of.judged.angle).valid_months if of.judged is not None else None
    months = (of.start - seen).days / MONTH_DAYS
    if valid is not None and months > valid:
        text = f"The film will be {months:.0f} months old when the plate is inserted: film again and judge by that age."
        yield Warning(text=text)
