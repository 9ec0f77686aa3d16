"""What a registry knows as tidy tables: one row an observation, with a dictionary of the columns. Pure."""
