"""Courses: which lengthenings and growth arrests, when and how much; searched, compared and ranked."""
