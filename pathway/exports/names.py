"""What exports call things: lasting names made from the pseudonym."""

from __future__ import annotations

import uuid

HOME = "https://limb-pathway.invalid"
"""Where our own names live: a domain that the standards keep free, so that nobody else's names stand there."""

_SPACE = uuid.uuid5(uuid.NAMESPACE_URL, HOME)


def lasting_id(child: str, *key: str) -> str:
    """Return a UUID that is the same whenever the same thing of the same child is exported.

    `child` is the pseudonym, `key` what the thing is, from the whole to the part.
    """
    return str(uuid.uuid5(_SPACE, "/".join((child, *key))))
