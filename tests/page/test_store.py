"""Job folders: history, files under our own names, two hands at one job."""

from __future__ import annotations

from pathlib import Path

import pytest

from cutout.errors import JobError
from cutout.job.file import load_job
from cutout.job.schema import Job
from cutout.page.changes import Change, changed
from cutout.page.start import empty, with_picture
from cutout.page.store import NoSuchJobError, StaleError, State, Store


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "jobs")


def set_width(store: Store, state: State, mm: float, gesture: str | None = None) -> State:
    job = changed(state.job, [Change(path="panel.width", value=mm)])
    return store.change(state.id, state.revision, job, gesture)


def test_a_job_is_there_again_in_a_new_store(tmp_path: Path) -> None:
    state = set_width(Store(tmp_path), Store(tmp_path).new(empty("in")), 321.0625)
    again = Store(tmp_path).state(state.id)
    assert again == state
    assert again.job.panel.width == 321.0625
    assert again.job.units == "in"


def test_history_is_job_files_that_the_command_line_reads(store: Store, tmp_path: Path) -> None:
    state = set_width(store, store.new(empty("mm")), 432.1)
    newest = tmp_path / "jobs" / state.id / "history" / f"{state.entries[-1]}.toml"
    assert load_job(newest) == state.job


def test_undo_and_redo_walk_the_history(store: Store) -> None:
    state = store.new(empty("mm"))
    widths: list[float | None] = [state.job.panel.width]
    for mm in (100.0, 200.0, 300.0):
        state = set_width(store, state, mm)
        widths.append(mm)
    for width in reversed(widths[:-1]):
        state = store.step(state.id, state.revision, -1)
        assert state.job.panel.width == width
    assert not state.can_undo
    assert store.step(state.id, state.revision, -1) == state
    for width in widths[1:]:
        state = store.step(state.id, state.revision, 1)
        assert state.job.panel.width == width
    assert not state.can_redo


def test_a_change_after_undo_drops_what_was_undone(store: Store, tmp_path: Path) -> None:
    state = set_width(store, set_width(store, store.new(empty("mm")), 100.0), 200.0)
    state = store.step(state.id, state.revision, -1)
    state = set_width(store, state, 333.0)
    assert not state.can_redo
    assert store.step(state.id, state.revision, -1).job.panel.width == 100.0
    kept = {int(p.stem) for p in (tmp_path / "jobs" / state.id / "history").iterdir()}
    assert kept == set(state.entries)


def test_one_gesture_is_one_step(store: Store) -> None:
    state = store.new(empty("mm"))
    for mm in range(100, 150):
        state = set_width(store, state, float(mm), "drag 1")
    state = set_width(store, state, 400.0, "drag 2")
    assert len(state.entries) == 3
    state = store.step(state.id, state.revision, -1)
    assert state.job.panel.width == 149.0


def test_the_history_does_not_grow_without_end(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    most = 5
    monkeypatch.setattr("cutout.page.store.MOST_STEPS", most)
    state = store.new(empty("mm"))
    for n in range(most + 4):
        state = set_width(store, state, 100.0 + n)
    assert len(state.entries) == most + 1
    assert len(list((tmp_path / "jobs" / state.id / "history").iterdir())) == most + 1


def test_no_change_is_no_step(store: Store) -> None:
    state = store.new(empty("mm"))
    assert store.change(state.id, state.revision, state.job) == state


def test_an_older_revision_is_refused(store: Store) -> None:
    old = store.new(empty("mm"))
    set_width(store, old, 100.0)
    with pytest.raises(StaleError):
        set_width(store, old, 200.0)
    with pytest.raises(StaleError):
        store.step(old.id, old.revision, -1)


def test_sources_get_names_of_our_own(store: Store, tmp_path: Path) -> None:
    state = store.new(empty("mm"))
    name = store.add_file(state.id, b"data", "../../evil name.png")
    assert name == "source-1"
    assert store.add_file(state.id, b"more", "b.png") == "source-2"
    assert store.read_file(state.id, name) == b"data"
    written = {p.name for p in (tmp_path / "jobs" / state.id / "files").iterdir()}
    assert written == {"source-1", "source-2"}


@pytest.mark.parametrize("name", ["../state.json", "/etc/passwd", "other.png", "source-77", "source-1/../x"])
def test_a_job_can_only_name_sources_that_were_put_there(store: Store, name: str) -> None:
    state = store.new(empty("mm"))
    store.add_file(state.id, b"data", "a.png")
    job = with_picture(state.job, name, "a.png", (10.0, None), None)
    with pytest.raises(JobError, match="chosen on this page"):
        store.change(state.id, store.state(state.id).revision, job)


@pytest.mark.parametrize("id", ["", "..", "../x", "a" * 15, "a" * 17, "a/b" + "c" * 13, "AAAAAAAAAAAAAAAA"])
def test_other_ids_are_no_jobs(store: Store, id: str) -> None:
    with pytest.raises(NoSuchJobError):
        store.state(id)
    with pytest.raises(NoSuchJobError):
        store.remove(id)


def test_earlier_jobs_are_those_with_a_figure_and_removing_deletes(store: Store, tmp_path: Path) -> None:
    store.new(empty("mm"))
    state = store.new(Job())
    name = store.add_file(state.id, b"data", "leaf.png")
    job = with_picture(state.job, name, "leaf.png", (10.0, None), None)
    state = store.change(state.id, store.state(state.id).revision, job)
    assert [earlier.id for earlier in store.earlier()] == [state.id]
    store.remove(state.id)
    assert store.earlier() == ()
    assert not (tmp_path / "jobs" / state.id).exists()
