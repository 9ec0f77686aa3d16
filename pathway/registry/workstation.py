"""What belongs to this workstation alone: the key that it signs with, and what it saw last of each registry. An edge.

All lies in one folder of the user (`LIMB_PATHWAY_WORKSTATION` names another), apart from the registry: who alters the
registry does not alter it with the same stroke.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)

from pathway.files.writing import PRIVATE, put
from pathway.registry.address import new_file
from pathway.registry.default import workstation_folder
from pathway.registry.journal.signed import KnownHead, public_hex
from pathway.registry.problem import RegistryProblem, problem

KEY_FILE = "signing_key.pem"


@dataclass(frozen=True, slots=True)
class Seen:
    """The head of a registry that this workstation saw last, and which registry that was (by its first key)."""

    place: str
    origin: str
    size: int
    root: str

    @property
    def known(self) -> KnownHead:
        """Return it as a head to hold the registry against."""
        return KnownHead(self.size, self.root, "the head that this machine saw last")


class Workstation:
    """The workstation by its folder. Reading never makes anything; the key is made when it is first signed with."""

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = workstation_folder() if folder is None else folder
        self._key: Ed25519PrivateKey | None = None

    @property
    def key(self) -> Ed25519PrivateKey:
        """Return the key, made with mode 0600 where there is none. Raises `RegistryProblem` where it cannot be had."""
        if self._key is None:
            file = self.folder / KEY_FILE
            try:
                if not file.exists():
                    new_file(file, _write_key)
            except FileExistsError:
                pass  # another process of this workstation was quicker: its key is ours
            except OSError as error:
                found = f"that no key to sign with can be made ({error.strerror})"
                do = "make the folder writable, or name another in LIMB_PATHWAY_WORKSTATION"
                raise problem(str(file), found, "one; nothing was saved", do) from error
            self._key = self._read(file)
        return self._key

    @property
    def public_if_any(self) -> str | None:
        """Return the public half of the key, None where there is no key yet, or none that can be read."""
        try:
            if self._key is None and not (self.folder / KEY_FILE).exists():
                return None
            return public_hex(self._key or self._read(self.folder / KEY_FILE))
        except (OSError, RegistryProblem):
            return None

    def seen(self, place: str) -> Seen | None:
        """Return what this workstation saw last of the registry at a place, None where it knows nothing of it."""
        data = _read_json(self._seen_file(place))
        try:
            return Seen(str(data["place"]), str(data["origin"]), int(data["size"]), str(data["root"]))  # type: ignore[call-overload]
        except (KeyError, TypeError, ValueError):
            return None

    def see(self, seen: Seen) -> None:
        """Keep what was seen; that it cannot be kept hinders nobody: the registry itself is what counts."""
        _write_json(self._seen_file(seen.place), asdict(seen))

    def confirmed(self, origin: str) -> frozenset[str] | None:
        """Return the keys that this machine trusts in a registry, None where it has never been asked."""
        keys = _read_json(self._keys_file(origin)).get("keys")
        return frozenset(map(str, keys)) if isinstance(keys, list) else None

    def confirm(self, origin: str, keys: Iterable[str]) -> None:
        """Trust keys in a registry from now on, beside those trusted already."""
        known = self.confirmed(origin) or frozenset()
        wanted = known | set(keys)
        if wanted != known:
            _write_json(self._keys_file(origin), {"origin": origin, "keys": sorted(wanted)})

    def _seen_file(self, place: str) -> Path:
        return self.folder / "seen" / f"{hashlib.sha256(place.encode()).hexdigest()[:32]}.json"

    def _keys_file(self, origin: str) -> Path:
        return self.folder / "keys" / f"{origin[:32]}.json"

    def _read(self, file: Path) -> Ed25519PrivateKey:
        try:
            key = load_pem_private_key(file.read_bytes(), None)
            if isinstance(key, Ed25519PrivateKey):
                return key
            what = "a key of another kind"
        except OSError as error:
            what = f"a key that cannot be read ({error.strerror})"
        except (ValueError, TypeError):
            what = "something else than a key"
        do = "restore it from your own copy, or move it aside: the next save makes a new one"
        raise problem(str(file), what, "the key that this workstation signs with", do)


def _write_key(draft: Path) -> None:
    key = Ed25519PrivateKey.generate()
    draft.write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))


def _read_json(file: Path) -> dict[str, object]:
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return data if isinstance(data, dict) else {}


def _write_json(file: Path, data: object) -> None:
    with suppress(OSError):
        for folder in (file.parent.parent, file.parent):
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        put(file, json.dumps(data).encode(), PRIVATE)
