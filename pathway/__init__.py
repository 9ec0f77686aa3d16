"""Planner of multi-stage limb-deficiency treatment pathways: a planning aid, the treating surgeon decides.

`pathway.api` is the interface for other programs.
"""

__version__ = "0.1.0"
