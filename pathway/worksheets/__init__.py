"""Worksheets: the arithmetic and geometry of each operation, one file a kind, as frozen values."""
