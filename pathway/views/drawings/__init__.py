"""Drawings of a plan in mm as data, and their SVG."""
