"""Case files: TOML text to a `Record` and back, checked against the protocol, all faults at once."""

from pathway.casefile.read import read_case
from pathway.casefile.write import case_text, in_order
from pathway.wishes import PREFERENCES

__all__ = ["PREFERENCES", "case_text", "in_order", "read_case"]
