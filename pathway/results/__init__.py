"""A clinic's own results: what its accepted plans said would happen, and what happened. Pure."""
