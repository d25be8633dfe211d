"""The logbook's file: what it holds, how it is made, proved whole, copied and brought up to date.

One SQLite file. Rows are only ever added: a correction is a row with the same key
(`columns.KEYS`) and the next revision number, and triggers refuse any change to what stands.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any, NoReturn

from runpredict.errors import printable
from runpredict.logbook.proof import DAMAGED, totals, what_is_wrong
from runpredict.tables.columns import TableKind
from runpredict.tables.files import reason_of, refuse_file, replace_file
from runpredict.tables.unfinished import clear_leftovers, create_hidden, discard

FILE_NAME = "logbook.sqlite3"
BACKUP_NAME = "logbook-backup.sqlite3"
APPLICATION_ID = 0x52554E50
"""Marks the file as a logbook ("RUNP"); SQLite keeps it in the header."""
BUSY_TIMEOUT_S = 60.0
"""How long to wait for another process that is writing."""

# Frozen with version 1 of the file: a later column is a later migration.
_OXIDES_V1 = (
    "SiO2 Al2O3 B2O3 Li2O Na2O K2O MgO CaO SrO BaO ZnO PbO TiO2 ZrO2 Fe2O3 MnO P2O5 SnO2 CuO CoO "
    "Cr2O3 NiO Bi2O3 F"
)
_OXIDE_COLUMNS_V1 = ", ".join(f"{oxide} REAL CHECK ({oxide} >= 0)" for oxide in _OXIDES_V1.split())
_TEXT = "TEXT NOT NULL DEFAULT ''"
_NAME = "TEXT NOT NULL CHECK ({0} != '')"
_KEYS_V1: dict[TableKind, str] = {
    "glazes": "glaze",
    "recipes": "glaze, addition, material",
    "materials": "material",
    "schedules": "firing, segment",
    "layers": "piece, firing, layer",
}
_COLUMNS_V1: dict[TableKind, str] = {
    "glazes": f"""
        glaze TEXT NOT NULL REFERENCES glaze_names (glaze),
        source {_TEXT} CHECK (source IN ('', 'recipe', 'analysis', 'jar')),
        behaviour {_TEXT} CHECK (behaviour IN ('', 'stiff', 'stable', 'fluid', 'runny')),
        {_OXIDE_COLUMNS_V1}, note {_TEXT}""",
    "recipes": f"""
        glaze {_NAME.format("glaze")}, material {_NAME.format("material")},
        parts REAL NOT NULL CHECK (parts >= 0),
        addition {_TEXT} CHECK (addition IN ('', 'yes', 'no'))""",
    "materials": f"""
        material {_NAME.format("material")}, {_OXIDE_COLUMNS_V1},
        loss_on_ignition REAL, source {_TEXT}""",
    "schedules": f"""
        firing {_NAME.format("firing")}, segment INTEGER NOT NULL CHECK (segment >= 1),
        rate_c_per_h REAL NOT NULL CHECK (rate_c_per_h > 0), target_c REAL NOT NULL,
        hold_min REAL CHECK (hold_min >= 0)""",
    "layers": f"""
        piece {_NAME.format("piece")}, firing {_TEXT}, fired_on {_TEXT}, body {_TEXT}, cone {_TEXT},
        hold_min REAL CHECK (hold_min >= 0), ramp_c_per_h REAL CHECK (ramp_c_per_h > 0),
        wall_deg REAL CHECK (wall_deg BETWEEN 0 AND 180), foot_mm REAL CHECK (foot_mm > 0),
        layer INTEGER NOT NULL CHECK (layer >= 1),
        glaze TEXT NOT NULL REFERENCES glaze_names (glaze),
        method {_TEXT} CHECK (method IN ('', 'dip', 'pour', 'brush', 'spray')),
        coats INTEGER CHECK (coats >= 1), thickness_mm REAL CHECK (thickness_mm > 0),
        lower_edge_mm REAL NOT NULL CHECK (lower_edge_mm >= 0),
        upper_edge_mm REAL NOT NULL CHECK (upper_edge_mm > lower_edge_mm),
        run_mm REAL CHECK (run_mm >= 0),
        past_foot {_TEXT} CHECK (past_foot IN ('', 'yes', 'no')), note {_TEXT}""",
}


def _keep(table: str) -> list[str]:
    """Triggers that keep the rows of a table as they are."""
    return [
        f"CREATE TRIGGER {table}_{verb.lower()} BEFORE {verb} ON {table} "
        "BEGIN SELECT RAISE(ABORT, 'what the logbook holds is never changed'); END"
        for verb in ("UPDATE", "DELETE")
    ]


def _version_1(connection: sqlite3.Connection) -> None:
    statements = [
        """CREATE TABLE entries (
            id INTEGER PRIMARY KEY, made_at TEXT NOT NULL,
            action TEXT NOT NULL CHECK (action IN ('import', 'record')),
            source TEXT NOT NULL) STRICT""",
        "CREATE TABLE glaze_names (glaze TEXT PRIMARY KEY CHECK (glaze != '')) STRICT",
        """CREATE TABLE extra_columns (
            id INTEGER PRIMARY KEY, kind TEXT NOT NULL, heading TEXT NOT NULL,
            UNIQUE (kind, heading)) STRICT""",
    ]
    for kind, columns in _COLUMNS_V1.items():
        statements.append(
            f"""CREATE TABLE {kind} (
            id INTEGER PRIMARY KEY, entry INTEGER NOT NULL REFERENCES entries (id),
            revision INTEGER NOT NULL CHECK (revision >= 1),
            retired INTEGER NOT NULL CHECK (retired IN (0, 1)), {columns},
            extra TEXT NOT NULL, checksum INTEGER NOT NULL,
            UNIQUE ({_KEYS_V1[kind]}, revision)) STRICT"""
        )
    for table in ("entries", "glaze_names", "extra_columns", *_COLUMNS_V1):
        statements += _keep(table)
    for statement in statements:
        connection.execute(statement)


def _version_2(connection: sqlite3.Connection) -> None:
    """Forms of pots, the cone a glaze is meant for, and firings that only their date names."""
    old = [row[1] for row in connection.execute("PRAGMA table_info(layers)")]
    forms = "'', 'mug', 'bowl', 'plate', 'vase', 'bottle', 'tile'"
    for statement in (
        f"ALTER TABLE glazes ADD COLUMN matures_cone {_TEXT}",
        f"""CREATE TABLE layers_2 (
            id INTEGER PRIMARY KEY, entry INTEGER NOT NULL REFERENCES entries (id),
            revision INTEGER NOT NULL CHECK (revision >= 1),
            retired INTEGER NOT NULL CHECK (retired IN (0, 1)), {_COLUMNS_V1["layers"]},
            extra TEXT NOT NULL, checksum INTEGER NOT NULL,
            form {_TEXT} CHECK (form IN ({forms}))) STRICT""",
        f"INSERT INTO layers_2 ({', '.join(old)}) SELECT {', '.join(old)} FROM layers ORDER BY id",
        "DROP TABLE layers",
        "ALTER TABLE layers_2 RENAME TO layers",
        """CREATE UNIQUE INDEX layers_key ON layers (
            piece, firing, CASE firing WHEN '' THEN fired_on ELSE '' END, layer, revision)""",
        *_keep("layers"),
    ):
        connection.execute(statement)
    _allow_removal(connection)


def _allow_removal(connection: sqlite3.Connection) -> None:
    """A further word for what was done, by the way SQLite names for a looser CHECK.

    References
    ----------
    SQLite, "ALTER TABLE", section 7, the procedure for changes that do not touch what is stored.
    """
    version = _pragma(connection, "schema_version")
    connection.execute("PRAGMA writable_schema = ON")
    connection.execute(
        "UPDATE sqlite_master SET sql = replace(sql, ?, ?) WHERE name = 'entries'",
        ("('import', 'record')", "('import', 'record', 'remove')"),
    )
    connection.execute(f"PRAGMA schema_version = {version + 1}")
    connection.execute("PRAGMA writable_schema = OFF")


def _version_3(connection: sqlite3.Connection) -> None:
    """Seals, by which rows that another program added, replaced or removed are known."""
    for kind, key in _KEYS_V1.items():
        columns = [*key.split(", "), "revision"]
        same = " AND ".join(f"{column} = NEW.{column}" for column in columns)
        if kind == "layers":
            same += " AND (firing != '' OR fired_on = NEW.fired_on)"
        connection.execute(
            f"CREATE TRIGGER {kind}_insert BEFORE INSERT ON {kind} "
            f"WHEN EXISTS (SELECT 1 FROM {kind} WHERE id = NEW.id OR ({same})) "
            "BEGIN SELECT RAISE(ABORT, 'what the logbook holds is never replaced'); END"
        )
    for statement in (
        "CREATE TABLE seals (entry INTEGER PRIMARY KEY, rows INTEGER NOT NULL, "
        "checksum INTEGER NOT NULL) STRICT",
        *_keep("seals"),
        "CREATE TRIGGER entries_sealed AFTER INSERT ON entries "
        "WHEN NEW.id != (SELECT max(entry) FROM seals) "
        "BEGIN SELECT RAISE(ABORT, 'another version of this program has changed it'); END",
    ):
        connection.execute(statement)
    count, figure = totals(connection)
    connection.execute(
        "INSERT INTO seals SELECT coalesce(max(id), 0), ?, ? FROM entries", (count, figure)
    )


MIGRATIONS: tuple[Callable[[sqlite3.Connection], None], ...] = (_version_1, _version_2, _version_3)
"""Step n brings a file of version n to n + 1; a step that was published is never changed."""


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


def _migrate(connection: sqlite3.Connection, version: int | None = None) -> None:
    last = len(MIGRATIONS) if version is None else version
    for step in range(_pragma(connection, "user_version"), last):
        MIGRATIONS[step](connection)
        connection.execute(f"PRAGMA user_version = {step + 1}")


def new_in_memory(version: int | None = None) -> sqlite3.Connection:
    """An empty logbook that is nowhere on disk, of the newest version or another."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    _settle(connection)
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    with transaction(connection):
        _migrate(connection, version)
    return connection


def make_file(file: Path) -> None:
    """Make an empty logbook, whole or not at all; one that is there already is left alone.

    Raises
    ------
    BadInput
        If the folder cannot be written.
    """
    with closing(new_in_memory()) as connection:
        content = connection.serialize()
    temporary = None
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        clear_leftovers(file.parent)
        temporary = create_hidden(file.parent)
        with temporary.open("wb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        _publish(temporary, file)
    except OSError as fault:
        where = f"cannot be made in {file.parent} ({reason_of(fault)})"
        refuse_file(file.name, f"{where}; nothing was changed.")
    finally:
        discard(temporary)


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


def connect(file: Path) -> sqlite3.Connection:
    """Open a logbook that is there, prove it whole and bring it up to date.

    Parameters
    ----------
    file : Path

    Returns
    -------
    sqlite3.Connection
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
        )
        try:
            prove_or_refuse(connection, file)
            _settle(connection)
            _bring_up_to_date(connection, file)
        except BaseException:
            connection.close()
            raise
    return connection


def prove_or_refuse(connection: sqlite3.Connection, file: Path) -> None:
    """Prove an open logbook whole.

    Raises
    ------
    BadInput
        If it is damaged, no logbook, or of a newer version.
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
    BadInput
        If a newer program wrote it.
    """
    version = int(_pragma(connection, "user_version"))
    if version > len(MIGRATIONS):
        message = f"is of version {version}, newer than this program; install a newer one."
        refuse_file(file.name, message)
    return version


def _prove_whole(connection: sqlite3.Connection, file: Path) -> None:
    if file.stat().st_size == 0 or _pragma(connection, "application_id") != APPLICATION_ID:
        _refuse(file, DAMAGED)
    version = refuse_newer(connection, file)
    if version < 1:
        _refuse(file, DAMAGED)
    with closing(new_in_memory(version)) as model:
        wrong = what_is_wrong(connection, model)
    if wrong:
        _refuse(file, wrong)


def _bring_up_to_date(connection: sqlite3.Connection, file: Path) -> None:
    version = _pragma(connection, "user_version")
    if version == len(MIGRATIONS):
        return
    with transaction(connection):
        back_up(file, file.with_name(f"logbook-before-version-{len(MIGRATIONS)}.sqlite3"))
        _migrate(connection)


def back_up(file: Path, copy: Path) -> None:
    """Copy a logbook, whole or not at all, over an earlier copy.

    Raises
    ------
    BadInput
        If the copy cannot be written.
    """
    with (
        telling(copy),
        replace_file(copy) as temporary,
        closing(sqlite3.connect(file.absolute().as_uri() + "?mode=ro", uri=True)) as source,
        closing(sqlite3.connect(temporary, isolation_level=None)) as target,
    ):
        target.execute("PRAGMA journal_mode = OFF")  # it has its name only when it is whole
        source.execute(f"PRAGMA busy_timeout = {int(1000 * BUSY_TIMEOUT_S)}")
        source.backup(target)
