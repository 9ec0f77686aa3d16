"""The form for a new child without a screen: its fields, and what was typed as a record or as sentences."""
