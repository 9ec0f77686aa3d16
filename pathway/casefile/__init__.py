"""Case files: TOML text to a `Record` and back, checked against the protocol, all faults at once."""

from pathway.casefile.amend import amended
from pathway.casefile.fragments import table_fragment, visit_fragment, with_fragment
from pathway.casefile.read import read_case
from pathway.casefile.write import case_text, in_order
from pathway.preferences import PREFERENCES

__all__ = [
    "PREFERENCES",
    "amended",
    "case_text",
    "in_order",
    "read_case",
    "table_fragment",
    "visit_fragment",
    "with_fragment",
]
