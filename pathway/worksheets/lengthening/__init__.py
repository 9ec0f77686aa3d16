"""The worksheet of one lengthening: phases, calendar of turns, what the record says, axis of the leg."""
