"""The screens in a browser of the same machine: one process a visitor, no other host is asked for anything."""
