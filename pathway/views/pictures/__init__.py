"""Pictures of a plan on a grid of cells: spans with a meaning, no colour, no screen."""
