"""The protocol as data: every clinical number with its source. Read by `pathway.protocol.load`."""
