"""What leaves for other programs: the plan as calendar entries and as a record exchange document, and back."""
