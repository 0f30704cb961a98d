from __future__ import annotations

from pathlib import Path

import pytest

from specc.publish import MARKER, PublishError, publish

FIRST = {"packet.html": b"one", "one-line.svg": b"<svg/>"}
SECOND = {"packet.html": b"two"}


def content(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.name != MARKER}


def test_a_new_folder_holds_exactly_the_files(tmp_path: Path) -> None:
    publish(tmp_path / "deep" / "out", FIRST)
    assert content(tmp_path / "deep" / "out") == FIRST
    assert [path.name for path in (tmp_path / "deep").iterdir()] == ["out"]


def test_a_second_build_replaces_the_whole_folder(tmp_path: Path) -> None:
    publish(tmp_path / "out", FIRST)
    publish(tmp_path / "out", SECOND)
    assert content(tmp_path / "out") == SECOND
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_an_empty_folder_may_be_used(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    publish(tmp_path / "out", FIRST)
    assert content(tmp_path / "out") == FIRST


def test_a_folder_of_somebody_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(PublishError, match="did not write"):
        publish(tmp_path, FIRST)
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_a_file_added_by_hand_is_never_lost(tmp_path: Path) -> None:
    publish(tmp_path / "out", FIRST)
    (tmp_path / "out" / "site-photo.jpg").write_bytes(b"photo")
    with pytest.raises(PublishError, match=r"site-photo\.jpg"):
        publish(tmp_path / "out", SECOND)
    assert content(tmp_path / "out") == FIRST | {"site-photo.jpg": b"photo"}


def test_a_folder_in_place_of_a_file_of_ours_is_never_lost(tmp_path: Path) -> None:
    publish(tmp_path / "out", FIRST)
    (tmp_path / "out" / "packet.html").unlink()
    (tmp_path / "out" / "packet.html").mkdir()
    with pytest.raises(PublishError, match=r"packet\.html"):
        publish(tmp_path / "out", SECOND)


def test_a_file_where_the_folder_should_be_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    with pytest.raises(PublishError, match="not a folder"):
        publish(tmp_path / "out", FIRST)
    assert (tmp_path / "out").read_text() == "a file"


@pytest.mark.parametrize(
    "name", ["../up.txt", "a/b.txt", "a\\b.txt", "", ".", "..", " ", MARKER, "a\nb", "c:d"]
)
def test_a_name_that_is_not_a_plain_file_name_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(PublishError, match="plain file name"):
        publish(tmp_path / "out", {"packet.html": b"x", name: b"y"})
    assert list(tmp_path.iterdir()) == []


def test_a_failure_while_writing_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    publish(tmp_path / "out", FIRST)
    original = Path.write_bytes

    def full_disk(path: Path, data: bytes) -> int:
        if path.name == "z-last.csv":
            raise OSError(28, "No space left on device")
        return original(path, data)

    monkeypatch.setattr(Path, "write_bytes", full_disk)
    with pytest.raises(PublishError, match="No space left"):
        publish(tmp_path / "out", SECOND | {"z-last.csv": b"z"})
    assert content(tmp_path / "out") == FIRST
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("failing", [1, 2])
def test_a_failure_of_either_rename_puts_the_old_folder_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: int
) -> None:
    publish(tmp_path / "out", FIRST)
    original = Path.rename
    calls: list[Path] = []

    def unsteady(path: Path, target: Path) -> Path:
        calls.append(path)
        if len(calls) == failing:
            raise OSError(13, "Permission denied")
        return original(path, target)

    monkeypatch.setattr(Path, "rename", unsteady)
    with pytest.raises(PublishError, match="Permission denied"):
        publish(tmp_path / "out", SECOND)
    assert content(tmp_path / "out") == FIRST
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_the_old_content_survives_even_if_it_cannot_be_put_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    publish(tmp_path / "out", FIRST)
    original = Path.rename
    calls: list[Path] = []

    def broken_after_the_first(path: Path, target: Path) -> Path:
        calls.append(path)
        if len(calls) > 1:
            raise OSError(5, "Input/output error")
        return original(path, target)

    monkeypatch.setattr(Path, "rename", broken_after_the_first)
    with pytest.raises(PublishError, match="old content is now in"):
        publish(tmp_path / "out", SECOND)
    (work,) = tmp_path.iterdir()
    assert content(work / "old") == FIRST
