"""Who may see and answer: the pass phrase, and the sessions and tokens given out for it.

Nothing here can be turned back into what a person typed or a browser holds: the store keeps a salted
scrypt of the phrase and plain hashes of random tokens. Many gardens may share a store: every key ends with
the garden's name, or begins with it.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import secrets
from dataclasses import dataclass

from sqlalchemy import ColumnElement, Connection, delete, select, update

from propstick.edges import schema
from propstick.edges.store import Store
from propstick.errors import InputError

SHORTEST, LONGEST = 8, 200
"""Signs of a pass phrase."""
_N, _R, _P = 2**14, 8, 1
"""Cost of scrypt (RFC 7914): 16 MiB and some 30 ms here, a fifth of a second on a small Pi."""
_PHRASE, _TRIES = "passphrase", "tries"
_SEEN_EVERY_S = 3600
"""A session's last sight is written down this often, not at every request."""


@dataclass(frozen=True)
class Tries:
    """Wrong phrases in a row, and until when no other is looked at, UTC seconds."""

    failed: int = 0
    wait_until_s: int = 0


def token_hash(token: str) -> str:
    """What the store keeps of a random token. It has 256 bits of its own, so it needs no salt."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


class AccessBook:
    """Pass phrase, sessions and tries of one site: they open none of its neighbours on the same store."""

    def __init__(self, store: Store, site: str) -> None:
        self._store = store
        self._name = site

    def set_passphrase(self, phrase: str, *, now_s: int) -> None:
        """Sets the phrase anew; whoever was signed in with the old one is signed out.

        Raises:
            InputError: too short or too long.
        """
        if not SHORTEST <= len(phrase) <= LONGEST:
            raise InputError(
                f"pass phrase: got {len(phrase)} signs, expected {SHORTEST} to {LONGEST}",
                hint="three or four words that do not belong together",
            )
        salt = secrets.token_bytes(16)
        kept = "$".join(
            ["scrypt", f"{_N},{_R},{_P}", _text(salt), _text(_digest(phrase, salt, (_N, _R, _P)))]
        )
        keys, tries = self._keys(_PHRASE), self._keys(_TRIES)
        with self._store.write() as connection:
            connection.execute(delete(schema.settings).where(schema.settings.c.name.in_([*keys, *tries])))
            self._put(connection, keys[0], kept, now_s)
            connection.execute(delete(schema.sessions).where(self._mine))

    def remove_passphrase(self) -> bool:
        """Takes the phrase and every session away; False if there was none."""
        keys = self._keys(_PHRASE)
        with self._store.write() as connection:
            gone = connection.execute(delete(schema.settings).where(schema.settings.c.name.in_(keys)))
            connection.execute(delete(schema.sessions).where(self._mine))
        return bool(gone.rowcount)

    def has_passphrase(self) -> bool:
        """Whether one is set."""
        return self._get(_PHRASE) is not None

    def matches(self, phrase: str) -> bool:
        """Whether it is the phrase. Slow on purpose; one at a time, or a small Pi runs out of memory."""
        kept = self._get(_PHRASE)
        if kept is None or len(phrase) > LONGEST:
            return False
        _, cost, salt, digest = kept.split("$")
        n, r, p = (int(part) for part in cost.split(","))
        return hmac.compare_digest(_digest(phrase, _bytes(salt), (n, r, p)), _bytes(digest))

    def tries(self) -> Tries:
        """How the last tries went."""
        kept = self._get(_TRIES)
        return Tries(**json.loads(kept)) if kept else Tries()

    def note_tries(self, tries: Tries, *, now_s: int) -> None:
        """Remembers it, so that a restart is no way around waiting."""
        with self._store.write() as connection:
            self._put(connection, self._key(_TRIES), json.dumps(vars(tries)), now_s)

    def open_session(self, label: str, *, now_s: int, lasts_s: int) -> str:
        """A new random token, shown once; `label` says what holds it."""
        token = secrets.token_urlsafe(32)
        row = {
            "token_hash": self._session(token_hash(token)),
            "label": label[:80],
            "created_s": now_s,
            "last_seen_s": now_s,
            "expires_s": now_s + lasts_s,
        }
        table = schema.sessions
        with self._store.write() as connection:
            connection.execute(delete(table).where(table.c.expires_s <= now_s))
            connection.execute(table.insert().values(**row))
        return token

    def session_until(self, hashed: str, *, now_s: int) -> int | None:
        """When the session of a token's hash ends, UTC seconds; None if there is none."""
        table = schema.sessions
        mine = table.c.token_hash == self._session(hashed)
        with self._store.read() as connection:
            found = connection.execute(select(table).where(mine)).first()
        if found is None or found.expires_s <= now_s:
            return None
        if now_s - found.last_seen_s > _SEEN_EVERY_S:
            with self._store.write() as connection:
                connection.execute(update(table).where(mine).values(last_seen_s=now_s))
        return int(found.expires_s)

    def close_session(self, token: str) -> None:
        """Signs out."""
        mine = schema.sessions.c.token_hash == self._session(token_hash(token))
        with self._store.write() as connection:
            connection.execute(delete(schema.sessions).where(mine))

    def _get(self, name: str) -> str | None:
        table = schema.settings.c
        query = select(table.name, table.value).where(table.name.in_([self._key(name), name]))
        with self._store.read() as connection:
            values = {row.name: str(row.value) for row in connection.execute(query)}
        mine = values.get(self._key(name))
        return mine if mine is not None or name not in values or not self._is_alone() else values[name]

    def _put(self, connection: Connection, key: str, value: str, now_s: int) -> None:
        values = {"value": value, "changed_s": now_s}
        insert = self._store.insert(schema.settings).values(name=key, **values)
        connection.execute(insert.on_conflict_do_update(index_elements=["name"], set_=values))

    def _key(self, name: str) -> str:
        return f"{name}/{self._name}"

    def _keys(self, name: str) -> list[str]:
        """Where a setting stands: under the garden's name; in a store of one garden also under none, as
        releases before had it. Among several such a key would open all of them."""
        return [self._key(name), *([name] if self._is_alone() else [])]

    def _is_alone(self) -> bool:
        return len(self._store.site_names()) <= 1

    def _session(self, hashed: str) -> str:
        return f"{self._name}/{hashed}"

    @property
    def _mine(self) -> ColumnElement[bool]:
        """All sessions of this garden."""
        return schema.sessions.c.token_hash.startswith(f"{self._name}/", autoescape=True)


def _digest(phrase: str, salt: bytes, cost: tuple[int, int, int]) -> bytes:
    n, r, p = cost
    return hashlib.scrypt(phrase.encode("utf-8", "surrogatepass"), salt=salt, n=n, r=r, p=p, dklen=32)


def _text(data: bytes) -> str:
    return base64.b64encode(data).decode()


def _bytes(text: str) -> bytes:
    return base64.b64decode(text)
