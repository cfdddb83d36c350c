"""The store: modes, pragmas, locks, refusals in plain words, and a schema that the migrations really make."""

from __future__ import annotations

import re
import resource
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from sourcing.errors import Busy, Refused
from sourcing.storage import earlier, migrate, open_store
from sourcing.storage import store as store_module
from sourcing.storage.schema import metadata
from sourcing.storage.store import Store

INSERT = "INSERT INTO code VALUES (?, 1)"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(str(tmp_path / "made" / "data.db"))


def test_migrated_schema_equals_the_declared_one(store: Store) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with store.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
    made = dict(store.read("SELECT name, sql FROM sqlite_master WHERE type = 'table'"))
    for table in metadata.tables.values():  # compare_metadata does not look at this option
        without = not table.dialect_options["sqlite"]["with_rowid"]
        assert ("WITHOUT ROWID" in made[table.name]) == without, table.name


def test_head_is_the_newest_version_file() -> None:
    versions = Path(migrate.__file__).parent / "migrations" / "versions"
    assert max(re.match(r"(\d+)_", path.name)[1] for path in versions.glob("[0-9]*.py")) == migrate.HEAD


def test_migration_does_not_read_the_schema_module() -> None:
    for path in (Path(migrate.__file__).parent / "migrations" / "versions").glob("[0-9]*.py"):
        assert "schema" not in re.sub(r'""".*?"""', "", path.read_text(), flags=re.S), path.name


def test_opening_a_current_file_does_not_import_alembic(store: Store) -> None:
    path = store.engine.url.database
    script = (
        f"import sys; from sourcing.storage import open_store; open_store({path!r}); print('alembic' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_opening_a_current_file_reading_and_bulk_writing_do_without_sqlalchemy(store: Store) -> None:
    script = f"""
import sys
from sourcing.storage import open_store
store = open_store({store.engine.url.database!r})
with store.write_rows() as raw:
    raw.executemany({INSERT!r}, [(1,), (2,)])
print(store.read("SELECT count(*) FROM code"), "sqlalchemy" in sys.modules)
store.close()
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[(2,)] False"
    assert store.read("SELECT count(*) FROM code") == [(2,)]


@pytest.mark.parametrize("name", ["data.db", "50%41 off?.db", "späte #1 + zwei.db"])
def test_the_url_of_a_file_leads_to_that_file_both_ways(tmp_path: Path, name: str) -> None:
    store = open_store(str(tmp_path / name))
    with store.write() as connection:
        connection.exec_driver_sql(INSERT, (1,))
    again = Store(store.url)
    assert again.read("SELECT count(*) FROM code") == [(1,)]
    assert again.engine.url.database == str(tmp_path / name)
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_file_and_directory_are_private(store: Store) -> None:
    path = Path(store.engine.url.database)
    assert path.stat().st_mode & 0o777 == 0o600
    assert path.parent.stat().st_mode & 0o777 == 0o700
    path.chmod(0o644)
    open_store(str(path))
    assert path.stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize(
    ("pragma", "value"),
    [
        ("synchronous", 2),
        ("foreign_keys", 1),
        ("trusted_schema", 0),
        ("busy_timeout", 5000),
        ("mmap_size", 0),
    ],
)
def test_pragmas_hold_on_every_connection(store: Store, pragma: str, value: int) -> None:
    with store.engine.connect() as one, store.engine.connect() as two:
        for connection in (one, two):
            assert connection.exec_driver_sql(f"PRAGMA {pragma}").scalar() == value
    assert store.read(f"PRAGMA {pragma}") == [(value,)]


def test_no_write_ahead_log_on_a_library_with_the_reset_race(store: Store) -> None:
    if sqlite3.sqlite_version_info < (3, 51, 3):
        assert store.read("PRAGMA journal_mode") == [("delete",)]


def test_a_reader_takes_no_write_lock_and_a_writer_does(store: Store) -> None:
    path = store.engine.url.database
    other = sqlite3.connect(path, timeout=0, isolation_level=None)
    with store.engine.connect() as connection:
        connection.exec_driver_sql("SELECT count(*) FROM code").scalar()
        other.execute("BEGIN IMMEDIATE")
        other.execute("ROLLBACK")
    with store.write(), pytest.raises(sqlite3.OperationalError, match="locked"):
        other.execute("BEGIN IMMEDIATE")


def test_read_keeps_one_connection_a_thread(store: Store) -> None:
    kept = store._kept()
    assert store._kept() is kept
    others: list[object] = []
    thread = threading.Thread(target=lambda: others.append(store._kept()))
    thread.start()
    thread.join()
    assert others[0] is not kept
    store.close()
    assert store.read("SELECT 1") == [(1,)]


def test_error_inside_write_leaves_nothing(store: Store) -> None:
    with pytest.raises(ZeroDivisionError), store.write() as connection:  # noqa: PT012
        connection.exec_driver_sql(INSERT, (1,))
        1 / 0  # noqa: B018
    assert store.read("SELECT count(*) FROM code") == [(0,)]


@pytest.mark.parametrize("url", ["file", "sqlite://"])
def test_bulk_write_is_all_or_nothing_and_seen_at_once(store: Store, url: str) -> None:
    store = store if url == "file" else open_store(url)
    with pytest.raises(ZeroDivisionError), store.write_rows() as raw:  # noqa: PT012
        raw.execute(INSERT, (1,))
        assert store.read("SELECT count(*) FROM code") == [(1,)]
        1 / 0  # noqa: B018
    assert store.read("SELECT count(*) FROM code") == [(0,)]
    with store.write_rows() as raw:
        raw.execute(INSERT, (1,))
    with store.write() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM code").scalar() == 1


def test_bulk_write_in_plain_words(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(Refused, match="full; nothing was changed"), store.write_rows() as raw:  # noqa: PT012
        raw.execute(f"PRAGMA max_page_count={raw.execute('PRAGMA page_count').fetchone()[0] + 2}")
        raw.executemany(INSERT, ((n,) for n in range(100_000)))
    assert store.read("SELECT count(*) FROM code") == [(0,)]
    monkeypatch.setattr(store_module, "BUSY_MS", 50)
    quick = Store(store.url)
    with store.write_rows(), pytest.raises(Busy), quick.write_rows():
        pass
    with quick.write_rows(), pytest.raises(Busy), quick.write():
        pass


def test_busy_in_plain_words(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store_module, "BUSY_MS", 50)
    quick = Store(store.url)
    holder = sqlite3.connect(store.engine.url.database, isolation_level=None)
    holder.execute("BEGIN EXCLUSIVE")
    with pytest.raises(Busy, match="writing just now"), quick.write():
        pass
    with pytest.raises(Busy, match="writing just now"):
        quick.read("SELECT count(*) FROM code")
    holder.execute("ROLLBACK")
    with quick.write(), pytest.raises(Busy), quick.write():
        pass


def test_read_only_in_plain_words(store: Store) -> None:
    read_only = Store(f"sqlite:///file:{store.engine.url.database}?mode=ro&uri=true")
    assert read_only.read("SELECT count(*) FROM code") == [(0,)]
    with pytest.raises(Refused, match="read-only"), read_only.write() as connection:
        connection.exec_driver_sql(INSERT, (1,))


def test_full_database_in_plain_words_and_usable_afterwards(store: Store) -> None:
    with pytest.raises(Refused, match="full; nothing was changed"), store.write() as connection:  # noqa: PT012
        raw = connection.connection.driver_connection
        raw.execute(f"PRAGMA max_page_count={raw.execute('PRAGMA page_count').fetchone()[0] + 2}")
        raw.executemany(INSERT, ((n,) for n in range(100_000)))
    assert store.read("SELECT count(*) FROM code") == [(0,)]
    store.close()  # the limit belonged to that connection
    with store.write() as connection:
        connection.exec_driver_sql(INSERT, (1,))
    assert store.read("SELECT count(*) FROM code") == [(1,)]


def test_file_size_limit_in_plain_words(store: Store) -> None:
    script = f"""
import resource, signal
from sourcing.storage import open_store
from sourcing.errors import Refused
store = open_store({store.engine.url.database!r})
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (300_000, 300_000))
try:
    with store.write() as connection:
        connection.connection.driver_connection.executemany({INSERT!r}, ((n,) for n in range(100_000)))
except Refused as error:
    print(error.wrong)
print(store.read("SELECT count(*) FROM code"))
"""
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == ["The disk is full or failing; nothing was changed.", "[(0,)]"]
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] != 300_000


def test_another_programs_file_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE theirs (a)")
    path.chmod(0o644)
    before = path.read_bytes()
    with pytest.raises(Refused, match="another program"):
        open_store(str(path))
    assert path.read_bytes() == before
    assert path.stat().st_mode & 0o777 == 0o644


def test_newer_schema_is_left_alone(store: Store) -> None:
    with store.write() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    path = Path(store.engine.url.database)
    store.close()
    before = path.read_bytes()
    with pytest.raises(Refused, match="newer version"):
        open_store(str(path))
    assert path.read_bytes() == before


def test_a_file_that_is_no_database(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_bytes(b"not a database at all, " * 100)
    with pytest.raises(Refused, match="not a readable database"):
        open_store(str(path))


def test_a_path_that_cannot_be_used(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(Refused, match="cannot be made"):
        open_store(str(tmp_path / "file" / "data.db"))
    with pytest.raises(Refused, match="is a directory"):
        open_store(str(tmp_path))


def test_our_own_mistakes_are_seen_whole(store: Store) -> None:
    with pytest.raises(sqlite3.OperationalError, match="no such table"):
        store.read("SELECT * FROM nowhere")
    with pytest.raises(sa.exc.OperationalError, match="no such table"), store.write() as connection:
        connection.exec_driver_sql("SELECT * FROM nowhere")


def in_another_thread(call: Callable[[], object]) -> object:
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(call).result()


def fill_the_cache(raw: Any) -> None:
    """Write so much that the file is shut to readers before the end."""
    raw.execute("PRAGMA cache_size=10")
    raw.executemany("INSERT INTO code VALUES (?, 2)", ((n,) for n in range(10, 20_000)))
    raw.execute("PRAGMA cache_size=-65536")


def test_what_was_there_before_is_read_while_much_is_written(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store_module, "BUSY_MS", 50)
    count = "SELECT count(*) FROM code"
    file = store._file
    assert file is not None
    with store.write_rows() as raw:
        raw.execute(INSERT, (1,))
    assert in_another_thread(lambda: store.read(count)) == [(1,)]
    with store.write_rows() as raw:
        raw.execute(INSERT, (2,))
        store.keep_readable()
        fill_the_cache(raw)
        with closing(sqlite3.connect(file, timeout=0)) as other, pytest.raises(sqlite3.OperationalError):
            other.execute(count).fetchall()  # nobody can read the file itself
        assert in_another_thread(lambda: store.read(count)) == [(1,)]
        script = f"from sourcing.storage import open_store; print(open_store({file!r}).read({count!r})[0][0])"
        assert (
            subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True).stdout == "1\n"
        )
        assert store.read(count)[0][0] > 2  # the writer sees what it writes
        assert earlier.path_of(file).stat().st_mode & 0o077 == 0
        with pytest.raises(Busy):
            in_another_thread(lambda: store.write_rows().__enter__())
    assert not earlier.path_of(file).exists()
    assert in_another_thread(lambda: store.read(count)) == store.read(count)
    assert store.read(count)[0][0] > 2


def test_a_long_write_that_fails_leaves_no_copy_and_what_was_there(store: Store) -> None:
    def fail() -> None:
        with store.write_rows() as raw:
            store.keep_readable()
            fill_the_cache(raw)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert store._file is not None
    assert not earlier.path_of(store._file).exists()
    assert store.read("SELECT count(*) FROM code") == [(0,)]
    assert store.read("PRAGMA integrity_check") == [("ok",)]


def test_a_reader_that_came_just_before_the_copy_is_answered_by_it(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_module, "BUSY_MS", 50)
    looked: list[object] = []

    def late(reader: Any, prepare: Any, connection: Any = earlier.Reader.connection) -> Any:
        looked.append(None)
        return connection(reader, prepare) if len(looked) > 1 else None

    with store.write_rows() as raw:
        store.keep_readable()
        fill_the_cache(raw)
        monkeypatch.setattr(earlier.Reader, "connection", late)
        assert in_another_thread(lambda: store.read("SELECT count(*) FROM code")) == [(0,)]
    assert len(looked) == 2


def test_a_copy_that_a_crash_left_is_not_read_and_goes(store: Store) -> None:
    assert store._file is not None
    with store.write_rows() as raw:
        raw.execute(INSERT, (1,))
    left = earlier.path_of(store._file)
    script = (
        "import os; from sourcing.storage import open_store\n"
        f"store = open_store({store._file!r})\n"
        "with store.write_rows() as raw:\n    store.keep_readable()\n    os._exit(9)\n"
    )
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == 9
    assert left.exists()
    with store.write_rows() as raw:
        raw.execute(INSERT, (2,))
    assert in_another_thread(lambda: store.read("SELECT count(*) FROM code")) == [(2,)]
    open_store(store._file)
    assert not left.exists()


def test_without_room_for_a_copy_all_goes_on_as_without_it(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(earlier, "_SPARE", 10**12)
    assert store._file is not None
    with store.write_rows() as raw:
        store.keep_readable()
        assert not earlier.path_of(store._file).exists()
        raw.execute(INSERT, (1,))
    assert store.read("SELECT count(*) FROM code") == [(1,)]


def test_what_is_read_once_is_read_again_after_any_write(store: Store) -> None:
    count = "SELECT count(*) FROM code"
    expected = 0

    def holds() -> None:
        assert store.read_once(count) == store.read_once(count) == [(expected,)]

    holds()
    with store.write_rows() as raw:  # by this thread, on the connection that reads
        raw.execute(INSERT, (1,))
        assert store.read_once(count) == [(1,)]
        raw.execute(INSERT, (2,))
        assert store.read_once(count) == [(2,)]
    expected = 2
    holds()
    with pytest.raises(ZeroDivisionError), store.write_rows() as raw:  # noqa: PT012
        raw.execute(INSERT, (3,))
        assert store.read_once(count) == [(3,)]
        raise ZeroDivisionError
    holds()
    with store.write() as connection:  # by this thread, on another connection
        connection.exec_driver_sql(INSERT, (4,))
    expected = 3
    holds()

    def other() -> None:
        with store.write_rows() as raw:
            raw.execute(INSERT, (5,))

    thread = threading.Thread(target=other)
    thread.start()
    thread.join()
    expected = 4
    holds()
    with closing(sqlite3.connect(store.url.removeprefix("sqlite:///"))) as elsewhere:  # by another program
        elsewhere.execute(INSERT, (6,))
        elsewhere.commit()
    expected = 5
    holds()
