"""The journal of a child: entries, the hashes that tie them, what they hold and what they add up to. Pure."""
