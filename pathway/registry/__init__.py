"""The durable registry: an append-only journal of entries for each child, in SQLite or PostgreSQL. An edge.

`entry`, `chain`, `payloads` and `fold` are plain values and functions; the others read and write a database.
"""
