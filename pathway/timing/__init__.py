"""On which days things can happen: rules as links, windows, dates on the calendar, delays."""
