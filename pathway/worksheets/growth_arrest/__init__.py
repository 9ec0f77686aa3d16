"""The worksheet of a growth arrest of the long leg, and the classical methods of timing it."""
