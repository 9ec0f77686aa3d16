"""The durable registry: an append-only journal of entries for each child, in SQLite or PostgreSQL. An edge.

`journal/` holds plain values and functions; `db/` is the database, which only the modules here open.
"""
