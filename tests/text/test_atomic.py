"""A file is there whole, or as it was before."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from wobble.errors import InputError
from wobble.text.atomic import write_atomically


def test_text_is_written_and_replaces_what_was_there(tmp_path: Path) -> None:
    target = tmp_path / "result.txt"
    write_atomically(target, "old\n")
    write_atomically(target, "à 1 mas\n")
    assert target.read_text(encoding="utf-8") == "à 1 mas\n"
    assert os.listdir(tmp_path) == ["result.txt"]


def test_a_new_file_is_as_readable_as_any_other(tmp_path: Path) -> None:
    plain = tmp_path / "plain.txt"
    plain.write_text("x")
    write_atomically(tmp_path / "result.txt", "x")
    assert (tmp_path / "result.txt").stat().st_mode == plain.stat().st_mode


def test_a_failure_on_the_way_leaves_the_old_file_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "result.txt"
    write_atomically(target, "old\n")

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match="No space left"):
        write_atomically(target, "new\n")
    assert target.read_text() == "old\n"
    assert os.listdir(tmp_path) == ["result.txt"]


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="nowhere") as caught:
        write_atomically(tmp_path / "nowhere" / "result.txt", "x")
    assert "folder" in str(caught.value)


def test_a_folder_in_the_place_of_the_file_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "result.txt").mkdir()
    with pytest.raises(InputError, match="cannot be written"):
        write_atomically(tmp_path / "result.txt", "x")
    assert os.listdir(tmp_path) == ["result.txt"]
