"""Widgets: they show finished values and say what was asked for; none holds the state of a child."""
