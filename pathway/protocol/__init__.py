"""The protocol: rules kept as readable data, their shape, their loading and their checks."""
