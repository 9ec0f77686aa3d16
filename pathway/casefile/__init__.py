"""Case files: TOML text to a `Record` and back, checked against the protocol, all faults at once."""

from pathway.casefile.read import PREFERENCES, read_case
from pathway.casefile.write import case_text, in_order

__all__ = ["PREFERENCES", "case_text", "in_order", "read_case"]
