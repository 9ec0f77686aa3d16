"""The loops of other tests: they name every offender, and cannot be empty or skip a case."""

from __future__ import annotations

import pytest

from tests.offenders import assert_none, for_each


def test_every_offender_is_named_with_what_was_found_and_expected() -> None:
    @for_each([1, 2, 3])
    def check(number: int) -> None:
        assert number == 2

    with pytest.raises(pytest.fail.Exception) as caught:
        check()
    said = str(caught.value)
    assert "2 found" in said
    assert "- 1: assert 1 == 2" in said
    assert "- 3: assert 3 == 2" in said


def test_no_offender_is_no_failure() -> None:
    assert_none([])

    @for_each([(1, 1), (2, 2)])
    def check(one: int, other: int) -> None:
        assert one == other

    check()


def test_a_loop_over_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="no case to check"):
        for_each([])


def skipped(_: int) -> None:
    pytest.skip("not today")


def erroneous(_: int) -> None:
    raise KeyError("lost")


def unraised(_: int) -> None:
    with pytest.raises(KeyError):
        pass


@pytest.mark.parametrize(("check", "said"), [(skipped, "not today"), (erroneous, "KeyError"), (unraised, "DID NOT")])
def test_a_skip_an_error_and_a_missing_error_are_offenders_too(check, said) -> None:
    with pytest.raises(pytest.fail.Exception, match=said):
        for_each([1])(check)()


class TestParts:
    """A long loop is cut in parts that together hold every case once."""

    def test_each_case_is_in_one_part(self) -> None:
        seen: list[int] = []
        check = for_each(range(7), parts=3)(seen.append)
        for part in range(3):
            check(part=part)
        assert sorted(seen) == list(range(7))

    @for_each([1, 2, 3], parts=2)
    def test_a_method_takes_fixtures_after_its_case(self, number: int, tmp_path) -> None:
        assert number > 0
        assert tmp_path.is_dir()
