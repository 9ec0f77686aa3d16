"""Invented children of the imaginary Fernbrook clinic. No real patient is described here."""
