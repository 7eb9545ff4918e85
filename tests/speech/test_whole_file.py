"""Kept and imported clips appear whole or not at all, and whoever may read any new file may read them."""

from __future__ import annotations

from pathlib import Path

import pytest

from cuetrack.speech.whole_file import write_whole


def test_it_may_be_read_by_whom_any_new_file_may(tmp_path: Path) -> None:
    """A club shares its clips; a temporary file would be its maker's alone."""
    (tmp_path / "any").write_bytes(b"row")
    write_whole(tmp_path / "row.wav", b"row")
    assert (tmp_path / "row.wav").read_bytes() == b"row"
    assert (tmp_path / "row.wav").stat().st_mode == (tmp_path / "any").stat().st_mode


def test_what_cannot_be_written_leaves_all_as_it_was(tmp_path: Path) -> None:
    (tmp_path / "row.wav").mkdir()
    with pytest.raises(OSError, match=r"row\.wav"):
        write_whole(tmp_path / "row.wav", b"row")
    assert [path.name for path in tmp_path.iterdir()] == ["row.wav"]
