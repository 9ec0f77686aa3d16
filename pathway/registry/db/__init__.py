"""The database of a registry: opening it, its tables and rows, where it lies, how it fails."""
