"""How far lists look ahead; a module of its own, so that the help of a verb names it without loading a plan."""

DUE_MONTHS = 3
"""How far ahead what is due is listed item by item, where nothing else is asked for."""
