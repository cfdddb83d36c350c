"""Files that wait for the user's word, and a folder that is looked after."""

from __future__ import annotations

import os
import time
from dataclasses import replace
from pathlib import Path

import pytest
from table_files import xlsx

from sourcing.comps import batches, layouts, undo_batch, waiting
from sourcing.comps.layout import Layout, Money, Use
from sourcing.comps.watch import Watch
from sourcing.errors import NotFound, Refused
from sourcing.storage import Store, open_store

OURS = "title,sold_price\nMug,9\n"
THEIRS = "Was;Preis\nMug;9,50\nPan;neun\n"


@pytest.fixture
def store() -> Store:
    return open_store("sqlite://")


@pytest.fixture
def watch(store: Store, tmp_path: Path) -> Watch:
    (tmp_path / "in").mkdir()
    return Watch(store, tmp_path / "in", tmp_path)


def became(watch: Watch) -> dict[str, str]:
    return {one.name: one.became for one in watch.look()}


def test_files_that_came_to_rest_are_taken_once(watch: Watch, store: Store) -> None:
    (watch.folder / "a.csv").write_text(OURS)
    for name in (".b.csv", "~$c.xlsx", "d.csv.part", "empty.csv"):
        (watch.folder / name).write_text("" if name == "empty.csv" else OURS)
    assert became(watch) == {}  # somebody may still be writing
    (watch.folder / "a.csv").write_text(OURS + "Pan,8\n")
    assert became(watch) == {}
    assert became(watch) == {"a.csv": "loaded"}
    assert became(watch) == {}
    assert store.read("SELECT count(*) FROM comp") == [(2,)]
    # The same again under another name, or touched: nothing new; and what was undone stays undone.
    (watch.folder / "copy.csv").write_bytes((watch.folder / "a.csv").read_bytes())
    watch.look()
    assert became(watch) == {"copy.csv": "known"}
    undo_batch(store, batches(store)[0].id)
    os.utime(watch.folder / "a.csv", (1, 1))
    watch.look()
    assert became(watch) == {"a.csv": "known"}
    assert store.read("SELECT count(*) FROM comp") == [(0,)]


def test_files_not_like_any_before_wait_and_the_next_ones_do_not(watch: Watch, store: Store) -> None:
    (watch.folder / "x.csv").write_text(THEIRS)
    watch.look()
    (one,) = watch.look()
    assert (one.became, bool(one.why)) == ("waiting", True)
    (kept,) = waiting.waiting(watch.beside)
    assert (kept.name, kept.path.read_text()) == ("x.csv", THEIRS)
    layouts.remember(store, "x.csv", Layout(("Was", "Preis"), (Use("title", 0), Use("sold_price", 1)),
                                            money={1: Money(",")}, fixed={"status": "sold"}))  # fmt: skip
    (watch.folder / "y.csv").write_text(THEIRS.replace("Mug", "Jug"))
    watch.look()
    (one,) = watch.look()
    assert one.became == "loaded"
    assert one.report is not None
    assert (one.report.new, one.report.rejected) == (1, 1)  # a bad row keeps no good one out, and can be mended


def test_a_sheet_in_our_own_format_behind_a_cover_is_the_one_that_is_loaded(watch: Watch, store: Store) -> None:
    rows = [["title", "sold_price"], ["Mug", "9"], ["Pan", "8"]]
    (watch.folder / "book.xlsx").write_bytes(xlsx([["Made by hand"], ["in March"]], sales=rows))
    watch.look()
    assert became(watch) == {"book.xlsx": "loaded"}
    assert store.read("SELECT count(*) FROM comp") == [(2,)]
    assert layouts.remembered(store) == []  # of our own format nothing is to be remembered


def test_a_file_there_is_no_room_for_is_told_once_and_taken_when_there_is(
    watch: Watch, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(waiting, "MOST", 1)
    first = waiting.keep(watch.beside, lambda path: path.write_text(THEIRS), "first")
    (watch.folder / "x.csv").write_text(THEIRS + "Jug;3\n")
    (watch.folder / "ours.csv").write_text(OURS)
    watch.look()
    found = {one.name: one for one in watch.look()}
    assert {name: one.became for name, one in found.items()} == {"x.csv": "left", "ours.csv": "loaded"}
    assert "wait already" in found["x.csv"].why
    assert became(watch) == {}
    waiting.put_aside(watch.beside, first.token)
    assert became(watch) == {"x.csv": "waiting"}
    assert became(watch) == {}


def test_files_of_no_use_are_said_and_left_alone(watch: Watch) -> None:
    (watch.folder / "a.csv").write_bytes(b"%PDF-1.7 \x00\x01 no table")
    watch.look()
    (one,) = watch.look()
    assert one.became == "refused"
    assert one.why
    assert became(watch) == {}
    with pytest.raises(NotFound):
        Watch(watch.store, watch.folder / "nowhere", watch.beside)


def test_what_was_said_about_a_waiting_file_outlives_the_process(tmp_path: Path) -> None:
    one = waiting.keep(tmp_path, lambda path: path.write_text(THEIRS), "../x.csv")
    assert one.path.parent.parent == tmp_path / waiting.FOLDER
    layout = Layout(("Was",), (Use("title", 0),))
    waiting.note(waiting.Waiting(one.token, one.path, one.name, one.at, one.sha256, sheet="second", layout=layout))
    found = waiting.take(tmp_path, one.token)
    assert (found.sheet, found.layout, found.name) == ("second", layout, "../x.csv")
    for token in ("", "..", one.token[:-1], "é"):
        with pytest.raises(NotFound):
            waiting.take(tmp_path, token)
    (one.path.parent / "state.json").write_text("{")
    assert waiting.waiting(tmp_path) == []  # half written: as if it had never come
    waiting.keep(tmp_path, lambda path: path.write_text(OURS), "y")


def test_a_dropped_file_comes_back_with_what_was_said_of_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one = waiting.keep(tmp_path, lambda path: path.write_text(THEIRS), "x.csv")
    waiting.note(replace(one, sheet="second"))
    waiting.put_aside(tmp_path, one.token)
    assert waiting.waiting(tmp_path) == []
    with pytest.raises(NotFound):
        waiting.put_aside(tmp_path, one.token)
    (dropped,) = waiting.dropped(tmp_path)
    assert dropped.name == "x.csv"
    back = waiting.bring_back(tmp_path, one.token)
    assert (back.sheet, back.path.read_text(), waiting.dropped(tmp_path)) == ("second", THEIRS, [])
    assert waiting.take(tmp_path, one.token) == back
    for token in (one.token, "", ".."):
        with pytest.raises(NotFound):
            waiting.bring_back(tmp_path, token)
    monkeypatch.setattr(waiting, "MOST", 1)
    waiting.put_aside(tmp_path, one.token)
    waiting.keep(tmp_path, lambda path: path.write_text(OURS), "y.csv")
    with pytest.raises(Refused):
        waiting.bring_back(tmp_path, one.token)
    assert [one.name for one in waiting.dropped(tmp_path)] == ["x.csv"]


def test_what_was_dropped_is_kept_a_day_and_takes_bounded_space(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def drop(name: str, text: str = OURS, days: float = 0) -> None:
        one = waiting.keep(tmp_path, lambda path: path.write_text(text), name)
        waiting.put_aside(tmp_path, one.token)
        at = time.time() - 86_400 * days - 60 + len(names())
        os.utime(tmp_path / waiting.ASIDE / one.token, (at, at))

    def names() -> list[str]:
        return sorted(one.name for one in waiting.dropped(tmp_path))

    drop("old", days=1.1)
    drop("young", days=0.9)
    waiting.sweep(tmp_path)
    assert names() == ["young"]
    monkeypatch.setattr(waiting, "MOST_ASIDE", 2)
    drop("second")
    drop("third")
    waiting.sweep(tmp_path)
    assert names() == ["second", "third"]
    monkeypatch.setattr(waiting, "_ASIDE_BYTES", len(OURS) * 2)
    drop("large", OURS * 5)
    waiting.sweep(tmp_path)
    assert names() == ["large"]  # the last one always, however large


def test_a_copy_that_fails_leaves_nothing_and_too_many_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(path: Path) -> None:
        path.write_text("half")
        raise OSError(28, "No space left on device")

    with pytest.raises(OSError, match="No space"):
        waiting.keep(tmp_path, fail, "a")
    assert list((tmp_path / waiting.FOLDER).iterdir()) == []
    monkeypatch.setattr(waiting, "MOST", 1)
    one = waiting.keep(tmp_path, lambda path: path.write_text(OURS), "a")
    with pytest.raises(Refused):
        waiting.keep(tmp_path, lambda path: path.write_text(OURS), "b")
    waiting.drop(tmp_path, one.token)
    assert waiting.waiting(tmp_path) == []
