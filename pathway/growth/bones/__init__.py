"""The bones of both legs in the growth model: what was measured, the unknowns, and the lengths they give."""
