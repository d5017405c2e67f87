"""(key, Copy) <-> rows of a SQLite file: opening, checking, setting aside, capping. Blocking; one thread.

The file is `cache.sqlite3` (mode 0600, as its -wal and -shm are) in a folder of mode 0700, where this
module makes it; a folder that is there already keeps its mode. In WAL mode with synchronous=NORMAL a
killed process loses nothing that was committed. Every row carries digests of its body and of what is
said about it; a row that does not match them is deleted. A file that SQLite finds damaged, that is not what
this version wrote, or is no file, is set aside as `cache.sqlite3.damaged`, in place of one set aside earlier,
and begun anew, whenever that shows.

A key is a digest (see `keys`), and a row names its far server by origin only: no URL, path, query, user or
secret is on disk. The bodies are, as they came.
"""

import hashlib
import json
import logging
import os
import sqlite3
import stat
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final, TypeVar

from adapters import limits
from adapters.port import Fetched, Freshness, Validators
from gateway.service.caching.freshness import Copy
from gateway.service.damage import DAMAGED, set_aside

_log = logging.getLogger(__name__)

T = TypeVar("T")

FILE_NAME: Final = "cache.sqlite3"
_BESIDE: Final = ("-wal", "-shm")  # what SQLite keeps beside it (sqlite.org/walformat.html)
_APPLICATION: Final = 0x48524143  # "HRAC", so that another program's file is not taken for ours
_VERSION: Final = 1
_DAMAGE: Final = frozenset(
    {
        sqlite3.SQLITE_CORRUPT,
        sqlite3.SQLITE_NOTADB,
        sqlite3.SQLITE_ERROR,  # a table is not there
        sqlite3.SQLITE_CONSTRAINT,  # an index does not tell what the table holds
        sqlite3.SQLITE_MISMATCH,
        sqlite3.SQLITE_TOOBIG,  # a length that nothing has here
    }
)
"""Primary result codes that mean: this is not the file we wrote."""

_FAULTS: Final = (sqlite3.DatabaseError, UnicodeDecodeError)
"""What may mean damage; the second where SQLite's own message has a name in it that was garbled."""

_SCHEMA: Final = (
    "CREATE TABLE copies (id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, origin TEXT NOT NULL,"
    " turn INTEGER NOT NULL, size INTEGER NOT NULL, digest BLOB NOT NULL, seal BLOB NOT NULL,"
    " said TEXT NOT NULL, body BLOB NOT NULL)",
    "CREATE INDEX copies_by_turn ON copies (turn)",
    "CREATE TABLE whole (size INTEGER NOT NULL)",
    "INSERT INTO whole VALUES (0)",
    "CREATE TRIGGER copy_added AFTER INSERT ON copies BEGIN UPDATE whole SET size = size + NEW.size; END",
    "CREATE TRIGGER copy_gone AFTER DELETE ON copies BEGIN UPDATE whole SET size = size - OLD.size; END",
    "CREATE TRIGGER copy_changed AFTER UPDATE OF size ON copies"
    " BEGIN UPDATE whole SET size = size - OLD.size + NEW.size; END",
    f"PRAGMA application_id = {_APPLICATION}",
    f"PRAGMA user_version = {_VERSION}",
)
"""`whole` holds the sum of all sizes, whichever process changes them; an upsert, unlike a REPLACE, fires the
triggers. `turn` counts the writes: what is oldest hangs on no clock."""

_SAVE: Final = """
    INSERT INTO copies (key, origin, turn, size, digest, seal, said, body) VALUES (?, ?, ?, ?, ?, ?, ?, ?)
    ON CONFLICT (key) DO UPDATE SET origin = excluded.origin, turn = excluded.turn, size = excluded.size,
        digest = excluded.digest, seal = excluded.seal, said = excluded.said, body = excluded.body
"""


class StoreFile:
    """The file, opened when first needed. Methods raise sqlite3.Error or OSError where the disk fails."""

    def __init__(self, folder: Path, limit_bytes: int) -> None:
        self._folder = folder
        self._path = folder / FILE_NAME
        self._limit = limit_bytes
        self._connection: sqlite3.Connection | None = None
        self._inode: int | None = None

    def ready(self) -> bool:
        """Open the file unless it is, and is still what has its name; True."""
        if self._connection is not None and self._moved():
            self.close()
        if self._connection is None:
            try:
                self._open()
            except _FAULTS as fault:
                self._set_aside(fault)
                self._open()
        return True

    def _moved(self) -> bool:
        try:
            return self._path.stat().st_ino != self._inode
        except FileNotFoundError:
            return True

    def load(self, key: str) -> Copy | None:
        """The copy under `key`; None where there is none, or none that can be trusted."""
        row = self._guarded(
            lambda: self._rows("SELECT digest, seal, said, body FROM copies WHERE key = ?", key)
        )
        if not row:
            return None
        copy = _read(key, *row[0])
        if copy is None:
            _log.error("a damaged copy in the cache's file was deleted", extra={"file": str(self._path)})
            self.forget((key,))
        return copy

    def save(self, key: str, copy: Copy) -> bool:
        """Write the copy, and let the oldest go until all fit; True."""
        said = _said(copy)
        size = _whole_pages(len(copy.fetched.body) + len(said))
        if size > self._limit:
            return self.forget((key,))
        digest = _digest(copy.fetched.body)
        origin = copy.fetched.origin.encode("ascii", "backslashreplace").decode("ascii")

        def write() -> bool:
            turn = self._number("SELECT ifnull(max(turn), 0) + 1 FROM copies")
            row = (origin, turn, size, digest, _seal(key, digest, said), said)
            changed = self._use().execute(  # validated only: the body is there already
                "UPDATE copies SET origin = ?, turn = ?, size = ?, digest = ?, seal = ?, said = ?"
                " WHERE key = ? AND digest = ?",
                (*row, key, digest),
            )
            if not changed.rowcount:
                self._use().execute(_SAVE, (key, *row, copy.fetched.body))
            self._shrink()
            return True

        return self._guarded(lambda: self._transaction(write))

    def forget(self, prefixes: tuple[str, ...]) -> bool:
        """Delete the copies whose keys begin with one of `prefixes`, which are hex digits; True."""

        def delete() -> bool:
            self._use().executemany(
                "DELETE FROM copies WHERE key >= ? AND key < ?",
                ((prefix, prefix + "g") for prefix in prefixes),  # g comes after every hex digit
            )
            return True

        return self._guarded(lambda: self._transaction(delete))

    def close(self) -> None:
        """Close the file; it opens again when next needed."""
        connection, self._connection = self._connection, None
        if connection is not None:
            with suppress(sqlite3.Error):  # a checkpoint that fails is made up for at the next opening
                connection.close()

    def _open(self) -> None:
        self._inode = None
        self._inode = self._make()
        connection = sqlite3.connect(self._path, timeout=limits.STORE_LOCK_SECONDS, isolation_level=None)
        connection.text_factory = _text
        self._connection = connection
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("PRAGMA auto_vacuum = INCREMENTAL")  # only an empty file takes it
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = NORMAL")
        connection.execute(f"PRAGMA journal_size_limit = {limits.STORE_JOURNAL_BYTES}")
        self._transaction(self._check)
        self._transaction(self._shrink)
        connection.executescript("PRAGMA incremental_vacuum")  # execute() would free one page only

    def _make(self) -> int:
        """The file's inode; it is there from now on, for us alone."""
        if not self._folder.exists():
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._folder.chmod(0o700)  # the umask may have taken rights away
        try:
            made = os.open(self._path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600)
            try:
                os.fchmod(made, 0o600)
            finally:
                os.close(made)
        except FileExistsError:
            if not stat.S_ISREG(self._path.stat().st_mode):
                raise _NotOursError("no ordinary file") from None
            if stat.S_IMODE(self._path.stat().st_mode) != 0o600:
                with suppress(PermissionError):
                    self._path.chmod(0o600)
            if not os.access(self._path, os.R_OK | os.W_OK):
                raise _NotOursError("a file of somebody else") from None
        for suffix in _BESIDE:
            beside = Path(f"{self._path}{suffix}")
            if os.path.lexists(beside) and not beside.is_file():
                raise _NotOursError(f"no ordinary file under {beside.name}")
        return self._path.stat().st_ino

    def _says_read_only(self) -> bool:
        """Whether its header has it that only later versions of SQLite may write it, which is not true
        (sqlite.org/fileformat.html section 1.3.3).
        """
        with self._path.open("rb") as file:
            return any(version > 2 for version in file.read(20)[18:])

    def _check(self) -> None:
        """An empty file gets the schema; another's, another version's, or one whose sum is wrong, counts as
        damaged.
        """
        application = self._number("PRAGMA application_id")
        version = self._number("PRAGMA user_version")
        things = self._number("SELECT count(*) FROM sqlite_master")
        if (application, version, things) == (0, 0, 0):
            for statement in _SCHEMA:
                self._use().execute(statement)
        elif (application, version) != (_APPLICATION, _VERSION):
            raise _NotOursError("not a file of this version")
        found = {each for (each,) in self._rows("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL")}
        if found != {each for each in _SCHEMA if each.startswith("CREATE")}:
            raise _NotOursError("not the tables of this version")
        total = self._number("SELECT ifnull(sum(size), 0) FROM copies")
        if self._number("SELECT size FROM whole") != total:
            raise _NotOursError("the sizes do not add up")

    def _shrink(self) -> None:
        while self._number("SELECT size FROM whole") > self._limit:
            gone = self._use().execute(
                "DELETE FROM copies WHERE id = (SELECT id FROM copies ORDER BY turn LIMIT 1)"
            )
            if not gone.rowcount:
                raise _NotOursError("the sizes do not add up")

    def _transaction(self, work: Callable[[], T]) -> T:
        connection = self._use()
        connection.execute("BEGIN IMMEDIATE")
        try:
            result = work()
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
        return result

    def _rows(self, statement: str, *values: str) -> list[tuple[object, ...]]:
        return self._use().execute(statement, values).fetchall()

    def _number(self, statement: str) -> int:
        for (number,) in self._rows(statement):
            if isinstance(number, int):
                return number
        raise _NotOursError("not what was written")

    def _use(self) -> sqlite3.Connection:
        if self._connection is None:
            raise sqlite3.ProgrammingError("the cache's file is not open")
        return self._connection

    def _guarded(self, work: Callable[[], T]) -> T:
        """The result of `work`, on a new file if this one turns out to be damaged."""
        self.ready()
        try:
            return work()
        except _FAULTS as fault:
            self._set_aside(fault)
        self.ready()
        return work()

    def _set_aside(self, fault: Exception) -> None:
        """Rename a damaged file, with what belongs to it; other faults are raised again."""
        code = getattr(fault, "sqlite_errorcode", 0) & 0xFF
        damaged = code in _DAMAGE or (code == sqlite3.SQLITE_READONLY and self._says_read_only())
        if not damaged and not isinstance(fault, _NotOursError | UnicodeDecodeError):
            raise fault
        self.close()
        if self._inode is not None and self._moved():
            return  # another process has done it already
        aside = self._path.with_name(f"{self._path.name}{DAMAGED}")
        for suffix in (*_BESIDE, ""):  # the log first: it must never meet the new file
            with suppress(FileNotFoundError):
                _replace(Path(f"{self._path}{suffix}"), Path(f"{aside}{suffix}"))
        _log.error(
            "the cache's file is damaged: it was set aside, and a new one begun",
            extra={"file": str(self._path), "aside": str(aside), "why": str(fault)},
        )


class _NotOursError(sqlite3.DatabaseError):
    """What is there is not what this version wrote, sound as it may be."""


def _replace(path: Path, aside: Path) -> None:
    """The last file that was set aside is enough, since others can be had again; folders are all kept."""
    if path.is_file() and (aside.is_file() or not os.path.lexists(aside)):
        path.replace(aside)
    else:
        set_aside(path)


def _text(data: bytes) -> str:
    """Never an error: what is not what was written does not match its digest."""
    return data.decode("utf-8", "replace")


def _said(copy: Copy) -> str:
    fetched = copy.fetched
    says = fetched.freshness
    return json.dumps(
        (
            copy.taken,
            copy.delay,
            fetched.media_type,
            fetched.charset,
            fetched.status,
            (fetched.validators.etag, fetched.validators.last_modified),
            (says.max_age, says.no_store, says.no_cache),
            fetched.origin,
        )
    )


def _read(key: str, digest: object, seal: object, said: object, body: object) -> Copy | None:
    """The copy, or None where the row is not what was written."""
    if not (isinstance(digest, bytes) and isinstance(said, str) and isinstance(body, bytes)):
        return None
    if _digest(body) != digest or _seal(key, digest, said) != seal:
        return None
    taken, delay, media_type, charset, status, validators, freshness, origin = json.loads(said)
    fetched = Fetched(
        body=body,
        media_type=media_type,
        charset=charset,
        status=status,
        validators=Validators(*validators),
        freshness=Freshness(*freshness),
        origin=origin,
    )
    return Copy(fetched, taken, delay)


def _digest(data: bytes) -> bytes:
    return hashlib.blake2b(data, digest_size=16).digest()


def _seal(key: str, digest: bytes, said: str) -> bytes:
    return _digest(key.encode() + digest + said.encode())


def _whole_pages(size: int) -> int:
    return -(-max(1, size) // limits.STORE_PAGE_BYTES) * limits.STORE_PAGE_BYTES
