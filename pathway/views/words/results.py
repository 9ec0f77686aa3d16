"""A clinic's own results in words: figures with their intervals, and what so few children prove."""

from __future__ import annotations

from collections.abc import Iterator
from math import exp

from pathway.results.child import Why
from pathway.results.clinic import Chance, HarmCame, Results, Waits
from pathway.results.figures import Mean, Share
from pathway.results.refit import Refitted

TITLE = "Own results: what accepted plans said, and what came"
NO_RANKS = (
    "These figures tell of a clinic's way of working with its children, never of one person: nobody's results stand "
    "beside another's."
)
RUNS_FORWARD = (
    "What was predicted is what each accepted plan said on its own day, as the registry kept it; nothing was planned "
    "again with what is known now. Every accepted plan stands beside every later visit."
)
HOW = (
    "Intervals hold {interval:g} of 100. They are of children: several visits or operations of one child count as one "
    "witness, so that more visits of the same children prove no more. {star} marks what chance alone would show in "
    "at most {found:g} of 100 clinics. Of many rows some lie off by chance: groups are not marked."
)
TOO_FEW = (
    "{children} with an accepted plan. Of fewer than {least} no rate, mean or chance is told, only what was counted, "
    "and what so few leave open."
)
STAR = "*"
BETWEEN = {"growth": "growth alone", "with_plan": "operations as planned"}
WHY: dict[Why, str] = {
    "states_no_length": "this revision states no length, since none was measured before it",
    "no_length_seen": "no length was measured at the visit",
    "under_way": "a bone was being lengthened on that day",
    "treated_otherwise": "what was done for length since was not what the plan had until then",
    "both_legs": "both legs are short: a difference says little of either",
}


def count_words(count: float, one: str, many: str = "") -> str:
    """Return a count with its word, in the plural where it is not one."""
    return f"{count:g} {one if count == 1 else many or f'{one}s'}"


def mean_words(found: Mean, least: int, unit: str = "mm", *, mark: bool = False, places: int = 1) -> str:
    """Return a mean with its interval; of too few children how many there are."""
    if found.mean is None or found.low is None or found.high is None:
        return f"too few ({found.children} of {least})"
    star = STAR if mark and found.found else ""
    low, high = f"{found.low:+.{places}f}", f"{found.high:+.{places}f}"
    return f"{found.mean:+.{places}f} {unit} ({low} to {high}){star}"


def share_words(found: Share, *, mark: bool | None = None, counts: bool = True) -> str:
    """Return a share with its interval; of too few children the counts and what they leave open."""
    if found.of == 0:
        return "none yet"
    told = f"{found.count:g} of {found.of:g}" if counts else ""
    if found.per_100 is None:
        few = f"too few; {told}" if told else f"too few ({found.children})"
        return f"{few} leaves {found.low:.0f} to {found.high:.0f} of 100 open"
    star = STAR if mark else ""
    behind = f"; {told}" if told else ""
    return f"{found.per_100:.0f} of 100 ({found.low:.0f} to {found.high:.0f}{behind}){star}"


def stated_words(one: Chance) -> str:
    """Return the mean of a stated chance, of 100."""
    return "–" if one.stated_per_100 is None else f"{one.stated_per_100:.0f} of 100"


def open_words(one: Chance) -> str:
    """Return which children are not counted at their end, and what it would be with them at worst and at best."""
    told = []
    if one.growing:
        told.append(f"{one.growing} still growing")
    if one.not_seen:
        bounds = ""
        if one.least_per_100 is not None and one.most_per_100 is not None:
            bounds = f" ({one.least_per_100:.0f} to {one.most_per_100:.0f} of 100 if they are counted in)"
        told.append(f"{one.not_seen} not seen at maturity{bounds}")
    return "; ".join(told) or "none"


def published_words(one: HarmCame) -> str:
    """Return how often the accepted plans stated a harm, with the range from team to team."""
    if one.stated_per_100 is None or one.stated_low is None or one.stated_high is None:
        return "no number stated"
    return f"{one.stated_per_100:.0f} of 100 ({one.stated_low:.0f} to {one.stated_high:.0f})"


def uncounted_words(one: HarmCame) -> str:
    """Return which operations do not count yet, or not any more."""
    told = [f"{one.too_recent} too recent"] if one.too_recent else []
    if one.left:
        with_it = f", {one.left_with_event} of them with it" if one.left_with_event else ""
        told.append(f"{one.left} not seen long enough{with_it}")
    return "; ".join(told) or "none"


def effect_sentence(found: Results) -> str:
    """Return what part of the stated effect of growth arrests came."""
    effect = found.arrest_effect
    if not effect.children:
        return "No growth arrest yet whose effect was stated by an accepted plan and can be seen by itself."
    if effect.mean is None or effect.low is None or effect.high is None:
        arrests = count_words(effect.children, "growth arrest")
        return (
            f"{arrests} can be held against what was stated: fewer than {found.least_children}, so no effect is told."
        )
    low, high = f"{100 * effect.low:.0f}", f"{100 * effect.high:.0f}"
    told = f"{count_words(effect.children, 'growth arrest')}: {100 * effect.mean:.0f} of 100 of the stated effect came "
    told += f"({low} to {high})"
    if not effect.found:
        return f"{told}. That they work as stated is not contradicted."
    much = "less" if effect.mean < 1 else "more"
    return f"{told}{STAR}: {much} than stated. Look at ages, skeletal ages and which growth plates were closed."


def sides_sentence(found: Results) -> str:
    """Return whether films of one side read otherwise than those of the other, or legs than predicted."""
    sides = found.left_less_right_mm
    if sides.mean is None:
        few = f"of {sides.children} children; as many with a short left as with a short right leg are needed"
        return f"Left less right leg, seen less predicted: too few to tell ({few})."
    told = f"Left less right leg, seen less predicted: {mean_words(sides, found.least_children, mark=True)}."
    if sides.found:
        longer = "left" if sides.mean > 0 else "right"
        told += f" The {longer} leg is read longer than predicted, whichever leg is short: look at how films are taken."
    return told


def legs_sentence(found: Results) -> str:
    """Return how far the lengths of the legs are off."""
    least = found.least_children
    return (
        f"Whole legs, seen less predicted (no revision states a spread of these): the long one "
        f"{mean_words(found.long_leg_off_mm, least)}, the short one {mean_words(found.short_leg_off_mm, least)}."
    )


def waits_sentences(waits: Waits, least: int) -> Iterator[str]:
    """Yield how long operations waited from the day that an accepted plan named."""
    within = count_words(waits.within_days, "day")
    yield f"Done within {within} of the day: {share_words(waits.on_time)}."
    days = waits.days
    if days.children < least:
        yield f"Days from due to done: too few to tell ({days.children} of {least} children)."
    elif days.median is None:
        yield "Days from due to done: of more than half of the children something is still waited for."
    else:
        low = "?" if days.low is None else f"{days.low:.0f}"
        high = "not known, many still wait" if days.high is None else f"{days.high:.0f}"
        yield f"Days from due to done, median over children: {days.median:.0f} ({low} to {high})."
    if waits.waiting:
        yield f"{count_words(waits.waiting, 'operation')} past the day and not done yet."


def rate_words(middle: float, low: float, high: float) -> str:
    """Return events of 100 lengthenings of a typical team from their logarithms."""
    return f"{100 * exp(middle):.0f} of 100 ({100 * exp(low):.0f} to {100 * exp(high):.0f})"


def slope_words(middle: float, low: float, high: float) -> str:
    """Return how many times as many events a step of percent points more brings, from the slope of the model."""
    return f"{exp(middle):.2f} times ({exp(low):.2f} to {exp(high):.2f})"


def refit_note(found: Refitted) -> str:
    """Return of how many lengthenings the model was fitted again, or that they are too few."""
    some = count_words(found.lengthenings, "own lengthening")
    out = f" {found.left_out} are left out: no share of the bone, followed too short, or a later one of a child."
    out = out if found.left_out else ""
    if not found.coefficients:
        return f"{some}: of fewer than {found.least} children the model is not fitted again.{out}"
    return (
        f"{some}, one a child, stand as one more series beside the published ones; rates are those of a congenital or "
        f"other bone at {found.at_percent:g} % of its length in a frame. The risks in plans are not changed by it.{out}"
    )


def about(found: Results) -> str:
    """Return of how many children and plans these results are."""
    return (
        f"{count_words(found.children, 'child', 'children')}, {found.accepted} with an accepted plan, "
        f"{count_words(found.revisions, 'accepted plan')}"
    )


def left_sentence(found: Results) -> str:
    """Return how many children left: not seen for so long while still growing."""
    return (
        f"{found.left_children} of {count_words(found.accepted, 'child', 'children')} with an accepted plan left: "
        f"growing, and not seen for {found.left_after_months} months. What they bring up to then is counted."
    )
