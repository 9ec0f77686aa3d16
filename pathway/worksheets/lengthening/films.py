"""Films beside the turns: which visit can be, which film can be, and the sentence that asks back where one cannot.

The gain goes by the turns, counted or ordered; no film moves it. What is asked back is never used, but a film that may
mean bone grown together or a device that fails forbids every further turn until one that can be follows it.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from pathway.protocol.model import Protocol
from pathway.worksheets.lengthening.ledger import Ledger
from pathway.worksheets.lengthening.visits import Visit

BEHIND = "behind the turns"
BY_TURNS = "the sheet goes by the turns"
BY_FILM = "beyond the amount what follows is planned from the film"
LEFT_OUT = "this visit is left out"
NO_TURNS = (
    "no further turns: the bone may have grown together too early (premature consolidation), or the device does not "
    "turn or does not hold"
)
EXAMINE = f"repeat the film and examine the child and the device before another turn; {BY_TURNS} so far"


@dataclass(frozen=True, slots=True)
class Question:
    """One thing asked back, in one sentence; `rule` is the limit that it passed, "" where none did.

    `stop`: nothing more is turned until it is answered. `of_film`: it is the film that says so.
    """

    text: str
    rule: str = ""
    short: str = ""
    stop: bool = False
    of_film: bool = False


@dataclass(frozen=True, slots=True)
class Frame:
    """What a film is judged by: days that can be, what the bone allows (mm), the error of reading, and the limits.

    `lengths_error_mm`: films are differences of two lengths of the bone with that error (95 of 100), as the record has
    them; None: gaps as read by hand, within `error_mm` or `error_share` of what was turned.
    """

    first: datetime.date
    today: datetime.date
    most_mm: float
    most_words: str
    error_mm: float
    error_share: float
    none_mm: float
    none_days: int
    least_share: float
    fastest_mm_per_day: float
    lengths_error_mm: float | None = None

    def error(self, turned_mm: Fraction) -> float:
        """Return by how much a film may miss what was turned, mm."""
        if self.lengths_error_mm is not None:
            return self.lengths_error_mm
        return max(self.error_mm, self.error_share * float(turned_mm))


@dataclass(frozen=True, slots=True)
class Row:
    """A visit as it was taken: what was turned since the one before and in all (mm), None where it is left out.

    `counted`: somebody counted it, else it is what was ordered. `used` is the film that is believed. `after` is the
    ledger from then on.
    """

    visit: Visit
    turned_mm: Fraction | None = None
    counted: bool = False
    reached_mm: Fraction | None = None
    used_mm: float | None = None
    asked: tuple[Question, ...] = ()
    after: Ledger | None = None
    planned: bool = False

    @property
    def halts(self) -> bool:
        """Return whether the film of this visit forbids another turn until it is repeated."""
        return any(question.stop and question.of_film for question in self.asked)


@dataclass(frozen=True, slots=True)
class Course:
    """The visits as taken, in the order of the text; `seen` is the ledger at the last of them up to today."""

    rows: tuple[Row, ...]
    seen: Ledger

    def ahead(self, seen: Ledger) -> Ledger:
        """Return a ledger that goes on from `seen` with what is ordered for the visits to come."""
        for row in self.rows:
            seen = seen.visited(row.visit, None, planned=True) if row.planned else seen
        return seen

    @property
    def taken(self) -> tuple[Row, ...]:
        """Return the visits up to today that could be used, in order."""
        return tuple(row for row in self.rows if row.after is not None and not row.planned)

    @property
    def beyond_mm(self) -> float | None:
        """Return the gap on the film of the last visit (mm) where more than the amount was turned; None for none."""
        last = self.taken[-1] if self.taken else None
        if last is None or last.after is None or last.after.reached_mm <= last.after.amount_mm or self.held:
            return None
        behind = any(question.short == BEHIND for question in last.asked)
        return last.visit.film_mm if behind else last.used_mm

    @property
    def held(self) -> Row | None:
        """Return the first visit whose film forbids another turn, until a later film is one that can be."""
        held: Row | None = None
        for row in self.taken:
            if row.used_mm is not None:
                held = None
            elif row.halts:
                held = held or row
        return held

    @property
    def questions(self) -> tuple[Question, ...]:
        """Return everything that is asked back, in the order of the visits."""
        return tuple(question for row in self.rows for question in row.asked)


@dataclass(slots=True)
class _Taken:
    """What is known while the visits are gone through."""

    ledger: Ledger
    days: set[datetime.date] = field(default_factory=set)
    film: tuple[datetime.date, float] | None = None
    turning_days: int = 0


def frame_of(
    protocol: Protocol,
    first: datetime.date,
    today: datetime.date,
    rate: str,
    bone: str,
    bone_mm: float | None,
    *,
    of_record: bool,
) -> Frame:
    """Return what films are judged by: the limits of the rules for a bone of that length (None: not known), mm."""
    number, finding = protocol.number, protocol.finding(f"{bone}_length_mm")
    longest = finding.plausible[1] if finding.plausible is not None else math.inf
    single = protocol.value("worksheet_length_most_mm").value
    left = longest - (bone_mm or 0.0)
    words = "no larger single step has been published" if single <= left else f"a {bone} is at most {longest:g} mm long"
    error = number("film_lengths_error_sds") * (finding.sd or number("length_error_sd_mm"))
    return Frame(
        first=first,
        today=today,
        most_mm=min(single, left),
        most_words=words,
        error_mm=number("film_gap_error_mm"),
        error_share=number("film_gap_error_percent") / 100,
        none_mm=number("film_gap_none_mm"),
        none_days=int(number("film_gap_none_days")),
        least_share=number("film_gap_least_percent") / 100,
        fastest_mm_per_day=(protocol.value(rate).plausible or (0.0, math.inf))[1],
        lengths_error_mm=error if of_record else None,
    )


def course_of(visits: Sequence[Visit], start: Ledger, frame: Frame) -> Course:
    """Return the visits taken one after the other, with all that is asked back; those that cannot be left out."""
    taken = _Taken(start)
    rows: list[Row] = []
    seen = start
    for visit in visits:
        if _says_nothing(visit, frame):
            continue
        row = _row(visit, taken, frame)
        rows.append(row)
        taken.days.add(visit.on)
        if row.after is not None:
            taken.ledger = row.after
            seen = seen if row.planned else row.after
    return Course(tuple(rows), seen)


def _row(visit: Visit, taken: _Taken, frame: Frame) -> Row:
    wrong_day = _wrong_day(visit, taken, frame)
    if wrong_day is not None:
        return Row(visit, asked=(wrong_day,))
    if visit.on > frame.today:
        asked = (_to_come(visit, frame),) if visit.counted or visit.film_mm is not None else ()
        return Row(visit, asked=asked, after=taken.ledger.visited(visit, None, planned=True), planned=True)
    ledger, asked_back = taken.ledger, []
    counted, days = ledger.counted(visit), ledger.days_to(visit.on)
    if counted is not None and counted > exact_most(days, frame):
        asked_back.append(_too_fast(visit, counted, days, frame))
        counted = None
    over = ledger.over_before(visit.on) and not visit.counted
    after = ledger.visited(visit, counted)
    turned = after.reached_mm - ledger.reached_mm
    taken.turning_days += days if turned else 0
    if after.reached_mm > ledger.amount_mm and turned:
        asked_back.append(_beyond(visit, after))
    row = Row(visit, turned, counted is not None, after.reached_mm, after=after)
    film = _film(visit, after, over, taken, frame)
    if film is not None:
        asked_back.append(film)
    elif visit.film_mm is not None:
        taken.film = (visit.on, visit.film_mm)
        row = replace(row, used_mm=visit.film_mm)
    return replace(row, asked=tuple(asked_back))


def exact_most(days: int, frame: Frame) -> float:
    """Return the most that can be turned in so many days at the fastest rate of the rules, mm."""
    return days * frame.fastest_mm_per_day


def _said(visit: Visit) -> str:
    return f"film of {visit.on}" if visit.film_mm is not None else f"visit of {visit.on}"


def _question(short: str, found: str, expected: str, do: str, rule: str = "") -> Question:
    return Question(f"Asked back: {found}; expected {expected}: {do}.", rule, short)


def _halt(short: str, found: str, expected: str, rule: str, also: str = "") -> Question:
    """Return a question about a film after which nothing is turned: both causes, and what to do before another turn."""
    question = _question(short, found, expected, f"{NO_TURNS}{also}; {EXAMINE}", rule)
    return replace(question, stop=True, of_film=True)


def _wrong_day(visit: Visit, taken: _Taken, frame: Frame) -> Question | None:
    """Return what is wrong with the day of a visit, so that nothing of it is used."""
    said, on, ledger = _said(visit), visit.on, taken.ledger
    if on in taken.days:
        do = f"keep the one that is right and take the other out; until then the first one counts and {LEFT_OUT}"
        return _question("same day twice", f"a second visit on {on}", "each day once", do)
    if on < frame.first:
        do = f"correct the day, operation_on or latency_days, or ask whether turning began early; until then {LEFT_OUT}"
        expected = f"the first turn on {frame.first} or later"
        return _question("before the latency ended", f"{said}, before the latency ended", expected, do)
    if ledger.on is not None and on < ledger.on:
        do = f"put the visits in the order of their days; until then {LEFT_OUT}"
        return _question(
            "not in order", f"{said} after that of {ledger.on}", "each visit later than the one before", do
        )
    return None


def _says_nothing(visit: Visit, frame: Frame) -> bool:
    """Return whether a film of the record is one of the rest before turning that shows the bone as it was."""
    error, film = frame.lengths_error_mm, visit.film_mm
    return error is not None and film is not None and visit.on < frame.first and abs(film) <= error


def _to_come(visit: Visit, frame: Frame) -> Question:
    do = "correct the day, or give the day of the sheet with --on; until then only its rate is used, as a plan"
    return _question("in the future", f"{_said(visit)}, a day to come", f"{frame.today} or earlier", do)


def _too_fast(visit: Visit, counted: Fraction, days: int, frame: Frame) -> Question:
    found = f"{_mm(counted)} turned in the {_days(days)} up to {visit.on}"
    expected = f"at most {exact_most(days, frame):g} mm ({frame.fastest_mm_per_day:g} mm a day)"
    do = "ask the family what they turned, and write what was turned since the visit before; until then as ordered"
    return _question("more turned than can be", found, expected, do)


def _beyond(visit: Visit, after: Ledger) -> Question:
    found = f"{_mm(after.reached_mm)} turned in all by {visit.on}"
    do = (
        "turn no further, ask the family what they turned, and measure the gap on a film, from which what follows is "
        "planned; for another goal set amount_mm"
    )
    question = _question("beyond the amount", found, f"at most the amount of {_mm(after.amount_mm)}", do)
    return replace(question, stop=True)


def _film(visit: Visit, after: Ledger, over: bool, taken: _Taken, frame: Frame) -> Question | None:
    """Return what a film of a day that can be says that cannot be; the gravest alone."""
    film = visit.film_mm
    if film is None:
        return None
    return next(_impossible(visit, film, after, over, taken, frame), None)


def _impossible(
    visit: Visit, film: float, after: Ledger, over: bool, taken: _Taken, frame: Frame
) -> Iterator[Question]:
    said, turned = f"film of {visit.on} shows {film:g} mm", float(after.reached_mm)
    error = frame.error(after.reached_mm)
    near = f"{_mm(after.reached_mm)} by the turns ({max(turned - error, 0.0):.3g} to {turned + error:.3g})"
    limit = "film_gap_error_mm" if frame.lengths_error_mm is None else "film_lengths_error_sds"
    if not math.isfinite(film):
        yield _question("no number", said, f"a number, {near}", f"read the film again; {BY_TURNS}")
        return
    if film < -(frame.lengths_error_mm or 0.0):
        do = f"read the film again and check which ends were measured; {BY_TURNS}"
        yield _question("negative", said, f"nothing below 0, {near}", do)
    if film > frame.most_mm:
        do = f"read the film again, and check mm and cm; {BY_TURNS}"
        expected = f"at most {frame.most_mm:g} mm ({frame.most_words}), {near}"
        yield _question("more than a bone can", said, expected, do, "worksheet_length_most_mm")
    if film > turned + error:
        do = f"repeat the film, check how it was enlarged, and ask the family how often they turned; {BY_TURNS}"
        yield _question("ahead of the turns", f"{said} after {_mm(after.reached_mm)} turned", f"{near}", do, limit)
    if over and frame.lengths_error_mm is None:
        do = f"say what was turned since, or take the visit out; {BY_TURNS}"
        yield _question("after the last turn", f"{said} after the last day of turning", "a day of turning", do)
    if taken.film is not None and film < taken.film[1] - error:
        before = f"{taken.film[1]:g} mm on {taken.film[0]}"
        also = ", or was turned the wrong way"
        yield _halt("falls", f"{said} after {before}", f"no less than before, {near}", limit, also)
    if turned > error and film <= frame.none_mm and taken.turning_days >= frame.none_days:
        found = f"{said} after {_days(taken.turning_days)} of turning"
        yield _halt("no gap", found, near, "film_gap_none_days")
    if turned - film > error and film < frame.least_share * turned:
        found = f"{said} after {_mm(after.reached_mm)} turned, less than {100 * frame.least_share:g} of 100"
        also = ", or turns were left out"
        yield _halt("far behind the turns", found, near, "film_gap_least_percent", also)
    if turned - film > error:
        by = BY_FILM if after.reached_mm > after.amount_mm else BY_TURNS
        do = f"check the turning, ask the family whether turns were left out, and repeat the film; {by}"
        yield _question(BEHIND, f"{said} after {_mm(after.reached_mm)} turned", near, do, limit)


def _mm(number: Fraction) -> str:
    return f"{float(number):.2f}".rstrip("0").rstrip(".") + " mm"


def _days(number: int) -> str:
    return "1 day" if number == 1 else f"{number} days"
