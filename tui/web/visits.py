"""Who may see the page: one key for the door, and for each visit a path and a secret that belong together.

A browser sends the cookies of this machine to every port of it, also to a program of somebody else. So the cookie of
a visit belongs to a path that nobody can guess: no other port is asked for that path, and who sees the path alone, in
the address, does not have the cookie.
"""

from __future__ import annotations

import secrets

MOST = 100
"""How many visits are known; the oldest is forgotten, and its page asks for the key again."""


class Visits:
    """The key, and the visits that it has opened."""

    def __init__(self, cookie: str, key: str | None = None) -> None:
        self.cookie = cookie
        self.key = key or secrets.token_urlsafe(24)
        self._secrets: dict[str, str] = {}

    def opens(self, given: str) -> bool:
        """Return whether this is the key."""
        return _same(given, self.key)

    def begin(self) -> tuple[str, str]:
        """Return the path of a new visit and the secret that goes with it."""
        name, secret = secrets.token_urlsafe(16), secrets.token_urlsafe(24)
        if len(self._secrets) >= MOST:
            del self._secrets[next(iter(self._secrets))]
        self._secrets[name] = secret
        return f"/s/{name}/", secret

    def knows(self, name: str, given: str) -> bool:
        """Return whether a visit of that name has this secret."""
        known = self._secrets.get(name)
        return known is not None and _same(given, known)


def _same(given: str, known: str) -> bool:
    return secrets.compare_digest(given.encode(errors="replace"), known.encode())
