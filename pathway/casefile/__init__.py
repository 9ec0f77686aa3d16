"""Case files: TOML text to a `Record` and back, checked against the protocol, all faults at once."""

from pathway.casefile.amend import amended
from pathway.casefile.fragments import filled, values_of, visit_table
from pathway.casefile.read import read_case, read_child, read_events, read_fragment
from pathway.casefile.write import case_text
from pathway.preferences import PREFERENCES
from pathway.record import in_order

__all__ = [
    "PREFERENCES",
    "amended",
    "case_text",
    "filled",
    "in_order",
    "read_case",
    "read_child",
    "read_events",
    "read_fragment",
    "values_of",
    "visit_table",
]
