"""The logbook's file: what it holds, how it is made, proved whole, copied and brought up to date.

One SQLite file. Rows are only ever added: a correction is a row with the same key
(`columns.KEYS`) and the next revision number, and triggers refuse any change to what stands. A
column that came later (`Column.since`) is added to a logbook of before when it is opened.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any, NoReturn

from runpredict.errors import printable, refuse_file
from runpredict.logbook.integrity import DAMAGED, what_is_wrong
from runpredict.tables.columns import COLUMNS, KEYS, KINDS, Column, TableKind
from runpredict.tables.files import draft_in, reason_of, replace_file

FILE_NAME = "logbook.sqlite3"
BACKUP_NAME = "logbook-backup.sqlite3"
APPLICATION_ID = 0x52554E50
"""Marks the file as a logbook ("RUNP"); SQLite keeps it in the header."""
BUSY_TIMEOUT_S = 60.0
"""How long to wait for another process that is writing."""


class Connection(sqlite3.Connection):
    """A connection to a logbook, and what was read through it."""

    def __init__(self, *args: Any, **given: Any) -> None:
        super().__init__(*args, **given)
        self.read: dict[TableKind, tuple[int, int, dict[Any, Any]]] = {}
        """As `store.newest_rows` keeps it: by whom written, the last row's number, and the rows."""


def version() -> int:
    """The version this program writes: the newest of any column."""
    return max(column.since for columns in COLUMNS.values() for column in columns)


def _column_sql(kind: TableKind, column: Column) -> str:
    """What a cell may be: of one kind, as what else is allowed is checked where it is read."""
    if column.is_text:
        named = f" CHECK ({column.name} != '')" if column.needed else ""
        known = column.name == "glaze" and kind in ("glazes", "layers")
        points = " REFERENCES glaze_names (glaze)" if known else ""
        return f"{column.name} TEXT NOT NULL DEFAULT ''{named}{points}"
    whole = "INTEGER" if column.form == "count" else "REAL"
    return f"{column.name} {whole}{' NOT NULL' if column.needed == 'yes' else ''}"


def _keep(table: str) -> list[str]:
    """Triggers that keep the rows of a table as they are."""
    return [
        f"CREATE TRIGGER {table}_{verb.lower()} BEFORE {verb} ON {table} "
        "BEGIN SELECT RAISE(ABORT, 'what the logbook holds is never changed'); END"
        for verb in ("UPDATE", "DELETE")
    ]


def _table(kind: TableKind) -> list[str]:
    """A table of the first version, its key, and what keeps its rows from being replaced."""
    columns = ", ".join(_column_sql(kind, one) for one in COLUMNS[kind] if one.since == 1)
    # A firing without a name goes by its date.
    dated = ["CASE firing WHEN '' THEN fired_on ELSE '' END"] if kind == "layers" else []
    key = ", ".join([*KEYS[kind], *dated, "revision"])
    same = " AND ".join(f"{column} = NEW.{column}" for column in (*KEYS[kind], "revision"))
    if kind == "layers":
        same += " AND (firing != '' OR fired_on = NEW.fired_on)"
    return [
        f"""CREATE TABLE {kind} (
            id INTEGER PRIMARY KEY, entry INTEGER NOT NULL REFERENCES entries (id),
            revision INTEGER NOT NULL CHECK (revision >= 1),
            retired INTEGER NOT NULL CHECK (retired IN (0, 1)),
            extra TEXT NOT NULL, checksum INTEGER NOT NULL, {columns}) STRICT""",
        f"CREATE UNIQUE INDEX {kind}_key ON {kind} ({key})",
        f"CREATE TRIGGER {kind}_insert BEFORE INSERT ON {kind} "
        f"WHEN EXISTS (SELECT 1 FROM {kind} WHERE id = NEW.id OR ({same})) "
        "BEGIN SELECT RAISE(ABORT, 'what the logbook holds is never replaced'); END",
        *_keep(kind),
    ]


def _first_version() -> list[str]:
    """All tables; seals, by which rows that another program added or removed are known."""
    return [
        """CREATE TABLE entries (
            id INTEGER PRIMARY KEY, made_at TEXT NOT NULL,
            action TEXT NOT NULL CHECK (action IN ('import', 'record', 'remove')),
            source TEXT NOT NULL) STRICT""",
        "CREATE TABLE glaze_names (glaze TEXT PRIMARY KEY CHECK (glaze != '')) STRICT",
        """CREATE TABLE extra_columns (
            id INTEGER PRIMARY KEY, kind TEXT NOT NULL, heading TEXT NOT NULL,
            UNIQUE (kind, heading)) STRICT""",
        """CREATE TABLE seals (
            entry INTEGER PRIMARY KEY, rows INTEGER NOT NULL, checksum INTEGER NOT NULL) STRICT""",
        "INSERT INTO seals VALUES (0, 0, 0)",
        """CREATE TRIGGER entries_sealed AFTER INSERT ON entries
            WHEN NEW.id != (SELECT max(entry) FROM seals)
            BEGIN SELECT RAISE(ABORT, 'another version of this program has changed it'); END""",
        *(line for table in ("entries", "glaze_names", "extra_columns", "seals")
          for line in _keep(table)),
        *(line for kind in KINDS for line in _table(kind)),
    ]  # fmt: skip


def _step(number: int) -> list[str]:
    """What brings a logbook to a version: the columns that are new in it."""
    if number == 1:
        return _first_version()
    return [
        f"ALTER TABLE {kind} ADD COLUMN {_column_sql(kind, column)}"
        for kind in KINDS
        for column in COLUMNS[kind]
        if column.since == number
    ]


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """All of the block or nothing of it, alone among the processes that write."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        # After a disk error SQLite leaves the undoing to the next reader; be that reader.
        with suppress(sqlite3.DatabaseError):
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        raise


@contextmanager
def reading(connection: sqlite3.Connection) -> Iterator[None]:
    """All reads of the block see the same moment."""
    connection.execute("BEGIN")
    try:
        yield
    finally:
        if connection.in_transaction:  # an error may have ended it
            connection.execute("ROLLBACK")


_REASONS = {
    sqlite3.SQLITE_FULL: "cannot be written (the disk is full); nothing was changed, free some "
    "space and do it again.",
    sqlite3.SQLITE_READONLY: "cannot be written (the file or its folder is read-only); nothing was "
    "changed, give a folder you may write to with --logbook.",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened or written; nothing was changed, check that the "
    "folder is there and that you may write to it.",
    sqlite3.SQLITE_BUSY: "is in use by another program; nothing was changed, close that program "
    "and do it again.",
    sqlite3.SQLITE_IOERR: "cannot be written or read (the disk reports an error or is full); "
    "nothing was changed, check the disk and do it again.",
}

GONE = (
    "was moved away or deleted while it was open here, so nothing can be read or kept; put it back "
    "to go on."
)
REPLACED = (
    "was replaced by another file while it was open here, so nothing can be read or kept; stop "
    "this program and start it again to go on with the file that is there now."
)


def _code(fault: sqlite3.DatabaseError) -> int:
    return int(getattr(fault, "sqlite_errorcode", sqlite3.SQLITE_ERROR)) & 0xFF


@contextmanager
def telling(file: Path) -> Iterator[None]:
    """Turn what SQLite raises into one sentence.

    Raises
    ------
    BadInput
    """
    try:
        yield
    except sqlite3.DatabaseError as fault:
        code = _code(fault)
        if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
            _refuse(file, DAMAGED)
        if getattr(fault, "sqlite_errorcode", None) == sqlite3.SQLITE_READONLY_DBMOVED:
            refuse_file(file.name, GONE)
        message = _REASONS.get(code, f"cannot be used ({fault}); nothing was changed.")
        refuse_file(file.name, message)
    except UnicodeEncodeError as fault:  # bytes of a command line that are no text
        refuse_file(
            file.name,
            f'cannot hold "{printable(str(fault.object))[:40]}"; give a name in plain letters.',
        )


def _refuse(file: Path, wrong: str) -> NoReturn:
    backups = sorted(
        (path for path in file.parent.glob("logbook-*.sqlite3") if path.is_file()),
        key=lambda path: path.stat().st_mtime,
    )
    remedy = (
        f'move it away, copy the backup "{backups[-1].name}" beside it to "{file.name}", and '
        "import or record again what came after."
        if backups
        else "put a copy of your own in its place, or move it away and import your tables again."
    )
    refuse_file(file.name, f"{wrong}; {remedy}")


def _settle(connection: sqlite3.Connection) -> None:
    # A rollback journal keeps the logbook one file that can be read from a read-only folder;
    # EXTRA makes a confirmed entry outlive a power cut as well as a kill.
    for setting in (
        "journal_mode = DELETE",
        "synchronous = EXTRA",
        "foreign_keys = ON",
        "temp_store = MEMORY",
    ):
        connection.execute(f"PRAGMA {setting}")


def _pragma(connection: sqlite3.Connection, name: str) -> Any:
    return connection.execute(f"PRAGMA {name}").fetchone()[0]


def _bring_to(connection: sqlite3.Connection, newest: int) -> None:
    for number in range(_pragma(connection, "user_version") + 1, newest + 1):
        for statement in _step(number):
            connection.execute(statement)
        connection.execute(f"PRAGMA user_version = {number}")


def new_in_memory(of_version: int | None = None) -> Connection:
    """An empty logbook that is nowhere on disk, of the newest version or another."""
    connection = sqlite3.connect(":memory:", isolation_level=None, factory=Connection)
    _settle(connection)
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    with transaction(connection):
        _bring_to(connection, of_version or version())
    return connection


def make_file(file: Path) -> None:
    """Make an empty logbook, whole or not at all; one that is there already is left alone.

    Raises
    ------
    BadInput : if the folder cannot be written.
    """
    with closing(new_in_memory()) as connection:
        content = connection.serialize()
    temporary = None
    try:
        file.parent.mkdir(0o700, parents=True, exist_ok=True)
        temporary = draft_in(file.parent, private=True)
        with temporary.open("wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        _publish(temporary, file)
    except OSError as fault:
        where = f"cannot be made in {file.parent} ({reason_of(fault)})"
        refuse_file(file.name, f"{where}; nothing was changed.")
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def _publish(temporary: Path, file: Path) -> None:
    """Give the file its name unless another process was first."""
    try:
        os.link(temporary, file)
    except FileExistsError:
        return
    except OSError:
        # Some sticks and cards know no hard links; there the name is only looked at first.
        if not file.exists():
            os.rename(temporary, file)


def connect(file: Path) -> Connection:
    """Open a logbook that is there, prove it whole and bring it up to date.

    Returns
    -------
    Connection
        In autocommit; write inside `transaction`.

    Raises
    ------
    BadInput
        If it is damaged, no logbook, of a newer version, or cannot be read. It is left as it is.
    """
    with telling(file):
        connection = sqlite3.connect(
            f"{file.absolute().as_uri()}?mode=rw",
            uri=True,
            timeout=BUSY_TIMEOUT_S,
            isolation_level=None,
            factory=Connection,
        )
        try:
            prove_or_refuse(connection, file)
            _settle(connection)
            if _pragma(connection, "user_version") < version():
                with transaction(connection):
                    _bring_to(connection, version())
        except BaseException:
            connection.close()
            raise
    return connection


def prove_or_refuse(connection: sqlite3.Connection, file: Path) -> None:
    """Prove an open logbook whole.

    Raises
    ------
    BadInput : if it is damaged, no logbook, or of a newer version.
    """
    try:
        with reading(connection):  # or an entry made meanwhile looks like a stranger's
            _prove_whole(connection, file)
    except sqlite3.DatabaseError as fault:
        # A table that is gone or text that cannot be decoded has no code of its own.
        if _code(fault) in _REASONS:
            raise
        _refuse(file, DAMAGED)
    except UnicodeDecodeError:  # sqlite3 could not even read what is wrong
        _refuse(file, DAMAGED)


def refuse_newer(connection: sqlite3.Connection, file: Path) -> int:
    """The version of a logbook, which may have risen since it was opened.

    Raises
    ------
    BadInput : if a newer program wrote it.
    """
    found = int(_pragma(connection, "user_version"))
    if found > version():
        message = f"is of version {found}, newer than this program; install a newer one."
        refuse_file(file.name, message)
    return found


def _prove_whole(connection: sqlite3.Connection, file: Path) -> None:
    if file.stat().st_size == 0 or _pragma(connection, "application_id") != APPLICATION_ID:
        _refuse(file, DAMAGED)
    found = refuse_newer(connection, file)
    if found < 1:
        _refuse(file, DAMAGED)
    with closing(new_in_memory(found)) as model:
        wrong = what_is_wrong(connection, model)
    if wrong:
        _refuse(file, wrong)


def back_up(file: Path, copy: Path) -> None:
    """Copy a logbook, whole or not at all, over an earlier copy.

    Raises
    ------
    BadInput : if the copy cannot be written.
    """
    with (
        telling(copy),
        replace_file(copy, private=True) as temporary,
        closing(sqlite3.connect(file.absolute().as_uri() + "?mode=ro", uri=True)) as source,
        closing(sqlite3.connect(temporary, isolation_level=None)) as target,
    ):
        target.execute("PRAGMA journal_mode = OFF")  # it has its name only when it is whole
        source.execute(f"PRAGMA busy_timeout = {int(1000 * BUSY_TIMEOUT_S)}")
        source.backup(target)
