"""A case file with what was entered since: never one that could not be read again."""

from __future__ import annotations

import pytest

from pathway.casefile import amended, case_text, read_case
from pathway.casefile.write import in_order
from pathway.events import diff
from pathway.protocol.model import Protocol
from tests.examples import NAMES, ON, example
from tests.sample import operation


@pytest.mark.parametrize("name", NAMES)
def test_what_was_cut_off_is_added_and_what_was_changed_is_written_anew(name: str, protocol: Protocol) -> None:
    whole = example(name)
    first = whole.model_copy(update={"visits": whole.visits[:1], "operations": (), "decisions": ()})
    text = case_text(first) + "# a note\n"
    longer, stands = amended(text, diff(first, whole), name, protocol)
    assert stands
    assert longer.startswith(text.rstrip())
    assert read_case(longer, name, protocol) == in_order(whole)
    shorter, stands = amended(longer, diff(whole, first), name, protocol)
    assert stands == (first == whole)
    assert read_case(shorter, name, protocol) == in_order(first)


def test_a_record_that_a_case_file_would_be_refused_for_is_not_written(protocol: Protocol) -> None:
    whole = example("rowan-02")
    wrong = operation("femoral_lengthening", ON, side=whole.other_side)
    with pytest.raises(ValueError, match="femoral_lengthening is done on the affected leg"):
        amended(case_text(whole), [wrong], "rowan-02", protocol)
