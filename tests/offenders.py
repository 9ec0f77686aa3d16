"""Many checks in one test: a loop over rules, rows or seeds that goes on after a failure and names every offender."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import pytest

Name = Callable[..., str]


def assert_none(offenders: Iterable[str]) -> None:
    """Fail with every offender on its own lines; pass where there is none."""
    listed = list(offenders)
    if listed:
        pytest.fail(f"{len(listed)} found:\n" + "\n".join(listed), pytrace=False)


def id_of(case: Any) -> str:
    """Return what a case is called: its id or name, or how it is written where it has neither."""
    if isinstance(case, Mapping):
        return str(case.get("id") or case.get("name") or dict(case))
    return str(getattr(case, "id", None) or getattr(case, "name", None) or case)


def ids_of(*case: Any) -> str:
    """Return what the arguments of one case are called together, cut where it is long."""
    said = ", ".join(map(id_of, case))
    return said if len(said) <= 120 else f"{said[:119]}…"


def for_each(cases: Iterable[Any], *, name: Name = ids_of, parts: int = 1) -> Callable[[Any], Any]:
    """Make one test of a test of one case: it takes all `cases`, one after the other, and names all that fail.

    The test's first arguments are the case (a tuple is spread over several); the others are fixtures, which every
    case shares. `name` is given the same arguments as the test and says what to call a case. A long loop is cut
    into `parts`, so that several workers share it. No cases at all are an error: nothing would be checked.
    """
    listed = list(cases)
    if not listed:
        raise ValueError("no case to check")

    def made(check: Callable[..., None]) -> Callable[..., None]:
        signature = inspect.signature(check)
        width = len(listed[0]) if isinstance(listed[0], tuple) else 1
        own, fixtures = _cut(list(signature.parameters.values()), width, method=_is_method(signature))

        def looped(*bound: Any, **given: Any) -> None:
            part = given.pop("part", 0)
            assert_none(_offenders(check, bound, given, listed[part::parts], name))

        shown = [*own, *fixtures]
        if parts > 1:
            shown.append(inspect.Parameter("part", inspect.Parameter.KEYWORD_ONLY))
        looped.__name__, looped.__qualname__, looped.__doc__ = check.__name__, check.__qualname__, check.__doc__
        looped.__module__, looped.__wrapped__ = check.__module__, check  # type: ignore[attr-defined]
        looped.__signature__ = signature.replace(parameters=shown)  # type: ignore[attr-defined]
        return pytest.mark.parametrize("part", range(parts))(looped) if parts > 1 else looped

    return made


def _is_method(signature: inspect.Signature) -> bool:
    return next(iter(signature.parameters), "") == "self"


def _cut(parameters: list[Any], width: int, *, method: bool) -> tuple[list[Any], list[Any]]:
    """Return `self` where there is one, and the fixtures after the arguments that a case fills."""
    at = 1 if method else 0
    return parameters[:at], parameters[at + width :]


def _offenders(
    check: Callable[..., None], bound: Sequence[Any], fixtures: Mapping[str, Any], cases: Iterable[Any], name: Name
) -> Iterable[str]:
    for case in cases:
        arguments = case if isinstance(case, tuple) else (case,)
        try:
            check(*bound, *arguments, **fixtures)
        # A skip would leave a case out without a word, so it counts as an offender too.
        except (Exception, pytest.fail.Exception, pytest.skip.Exception) as wrong:
            said = str(wrong).strip() or "failed"
            kind = "" if isinstance(wrong, AssertionError) else f"{type(wrong).__name__}: "
            yield f"- {name(*arguments)}: {kind}{said}"
