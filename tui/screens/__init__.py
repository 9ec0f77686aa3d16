"""Screens: one question each."""
