"""Icon arrays: 100 marks each, counted again from the SVG, told apart without colour."""

from __future__ import annotations

import re
from collections import Counter

import pytest

from pathway.views.drawings.drawing import DEEP, INK, PAPER, RULE, Drawing
from pathway.views.drawings.growth import NARROW_MM, WIDE_MM
from pathway.views.drawings.icons import MARK_MM, IconRow, icon_array
from pathway.views.words.expected import HARM_WORDS
from pathway.views.words.wording import wording
from tests.examples import NAMES
from tests.plans import plan
from tests.views.drawings.measured import outside, overlaps, paths, texts

NEAR = IconRow("Legs of nearly the same length", 56.4, 40.2, 69.6, harm=False)
STIFF = IconRow("A knee that stays stiff", 12.0, 3.0, 44.0, harm=True)


def drawn(*rows: IconRow, width: float = WIDE_MM) -> Drawing:
    return icon_array(rows, wording(), width)


def marks(of: Drawing) -> Counter[str]:
    """The marks of a drawing by shape and filling, those of the key left out; a disc has arcs, a square has none."""
    key = next(box.top for box, text in texts(of) if text == wording().say("icons.maybe"))
    found: Counter[str] = Counter()
    for path, fill in re.findall(r'<path d="([^"]*)" fill="([^"]*)"', of.svg())[1:]:
        top = re.match(r"M[\d.]+ ([\d.]+)", path)
        assert top is not None
        if float(top[1]) > key - 2:
            continue
        across = re.match(r"M([\d.]+) [\d.]+(?:a([\d.]+)|L([\d.]+))", path)
        assert across is not None
        wide = 2 * float(across[2]) if across[2] else float(across[3]) - float(across[1])
        if wide > MARK_MM / 2:
            found[f"{'disc' if across[2] else 'square'} {fill}"] += 1
    return found


def test_a_row_has_a_hundred_marks_filled_up_to_the_best_guess_and_grey_to_the_high_end() -> None:
    assert marks(drawn(NEAR)) == {f"disc {DEEP}": 56, f"disc {RULE}": 70 - 56, f"disc {PAPER}": 30}


def test_what_may_go_wrong_differs_in_shape_and_in_tone() -> None:
    assert marks(drawn(STIFF)) == {f"square {INK}": 12, f"square {RULE}": 44 - 12, f"square {PAPER}": 56}


def test_from_the_low_end_to_the_best_guess_each_mark_has_a_point_in_it() -> None:
    points = [path for path in paths(drawn(NEAR)) if path.fill == PAPER and path.box.right - path.box.left < 1]
    of_key = 1
    assert len(points) - of_key == 56 - 40


@pytest.mark.parametrize(
    ("row", "told"),
    [
        (NEAR, ("56 of 100", "(40 to 70)")),
        (IconRow("x", 0.3, 0.1, 1.4, harm=True), ("fewer than 1 of 100", "(fewer than 1 to 1)")),
        (IconRow("x", 0.0, 0.0, 0.4, harm=True), ("fewer than 1 of 100",)),
        (IconRow("x", 99.8, None, None, harm=False), ("more than 99 of 100",)),
        (IconRow("x", 100.0, None, None, harm=False), ("100 of 100",)),
        (IconRow("x", 97.0, None, None, harm=False), ("97 of 100",)),
        (IconRow("x", 32.0, 7.0, 131.9, harm=True), ("32 of 100", "(7 to more than 100)")),
    ],
)
def test_numbers_stand_beside_the_marks_in_whole_children(row: IconRow, told: tuple[str, ...]) -> None:
    made = drawn(row)
    said = tuple(text for text in made.texts if re.search(r"\bof 100$|^\(", text))
    assert said == told
    assert f"{row.name}: {' '.join(told)}." in made.alternative


def test_a_range_beyond_a_hundred_says_that_a_child_can_have_it_twice_and_fills_the_array() -> None:
    beyond = drawn(IconRow("x", 32.0, 7.0, 131.9, harm=True))
    assert marks(beyond) == {f"square {INK}": 32, f"square {RULE}": 68}
    assert "More than 100: a child can have this more than once." in beyond.texts
    assert not any("more than once" in text for text in drawn(STIFF).texts)


def test_what_is_hoped_for_comes_first_whatever_the_order_of_the_rows() -> None:
    shown = drawn(STIFF, NEAR).texts
    order = [shown.index(text) for text in ("What we hope for", "56 of 100", "What may go wrong", "12 of 100")]
    assert order == sorted(order)


def test_arrays_stand_side_by_side_on_paper_and_below_each_other_on_a_phone() -> None:
    rows = tuple(IconRow(name, 20.0, 5.0, 40.0, harm=True) for name in "abc")
    assert drawn(*rows, width=NARROW_MM).height_mm > drawn(*rows).height_mm + 40


def test_numbers_that_are_no_range_are_refused() -> None:
    for low, best, high in ((50.0, 40.0, 60.0), (10.0, 40.0, 30.0), (-1.0, 2.0, 3.0)):
        with pytest.raises(ValueError, match="no range"):
            IconRow("x", best, low, high, harm=True)
    with pytest.raises(ValueError, match="nothing to draw"):
        icon_array((), wording())


@pytest.mark.parametrize("name", NAMES)
def test_chances_and_harms_of_an_example_fit_their_sheet(name: str) -> None:
    course = plan(name).recommended
    if course is None or course.expected is None:
        return
    rows = [IconRow(HARM_WORDS[one.id], one.per_100, one.low, one.high, harm=True) for one in course.expected.harms]
    chances = (course.expected.chance_within_10_mm, course.expected.chance_within_20_mm)
    rows += [IconRow("The legs end nearly equal", 100 * chance, None, None, harm=False) for chance in chances]
    for width in (WIDE_MM, NARROW_MM):
        made = drawn(*rows, width=width)
        assert overlaps(made) == []
        assert outside(made) == []
        for row in rows:
            assert f"{row.name}: " in made.alternative
