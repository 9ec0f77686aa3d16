"""The plan as entries of a calendar (RFC 5545)."""
