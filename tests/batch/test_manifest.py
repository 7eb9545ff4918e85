"""What the manifest keeps, whatever happens to it."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from cuetrack.batch import manifest as module
from cuetrack.batch.manifest import MANIFEST_FILE, Made, Manifest, SpokenBy, read_manifest
from cuetrack.errors import WriteError


def made(track: str, size: int = 10) -> Made:
    return Made(
        track,
        {"level": None},
        {"../quay.yaml": "ab"},
        SpokenBy(None, "en", "x"),
        "cuetrack 1",
        {track: (size, 1)},
    )


def kept(manifest: Manifest, asked: str, *tracks: Made, is_ended: bool = True) -> Manifest:
    """The manifest after a run that made these."""
    try:
        with manifest.running(asked) as keep:
            for one in tracks:
                keep(one)
            if not is_ended:
                raise KeyboardInterrupt
    except KeyboardInterrupt:
        pass
    return read_manifest(manifest.folder)


def test_an_empty_folder_has_made_nothing(tmp_path: Path) -> None:
    found = read_manifest(tmp_path)
    assert (found.made, found.unended, found.since) == ({}, None, frozenset())


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    found = kept(read_manifest(tmp_path), "all", made("a.wav"), made("ü/b.wav"))
    assert list(found.made) == ["a.wav", "ü/b.wav"]
    assert found.unended is None
    assert found.made["a.wav"].inputs == {"../quay.yaml": "ab"}
    assert tuple(found.made["a.wav"].files["a.wav"]) == (10, 1)


def test_the_last_line_of_a_track_counts_and_the_others_go_with_the_next_run(tmp_path: Path) -> None:
    found = kept(read_manifest(tmp_path), "all", made("a.wav", 1), made("a.wav", 2))
    assert tuple(found.made["a.wav"].files["a.wav"]) == (2, 1)
    kept(found, "all")
    text = (tmp_path / MANIFEST_FILE).read_text(encoding="utf-8")
    assert text.count('"track"') == 1


def test_a_run_without_its_end_is_known_with_what_it_made(tmp_path: Path) -> None:
    first = kept(read_manifest(tmp_path), "wav", made("a.wav"))
    found = kept(first, "mp3", made("b.wav"), is_ended=False)
    assert (found.unended, found.since) == ("mp3", {"b.wav"})
    assert set(found.made) == {"a.wav", "b.wav"}


def test_a_run_that_goes_on_adds_to_what_the_first_made(tmp_path: Path) -> None:
    found = kept(read_manifest(tmp_path), "mp3", made("a.wav"), is_ended=False)
    found = kept(found, "mp3", made("b.wav"), is_ended=False)
    assert found.since == {"a.wav", "b.wav"}
    found = kept(found, "other", made("c.wav"), is_ended=False)
    assert found.since == {"c.wav"}
    assert set(found.made) == {"a.wav", "b.wav", "c.wav"}


def test_wherever_the_file_is_torn_whole_lines_count(tmp_path: Path) -> None:
    kept(read_manifest(tmp_path), "all", made("a.wav"), made("b.wav"))
    path = tmp_path / MANIFEST_FILE
    whole = path.read_bytes()
    ends = {}  # where the line of each track is whole, whether or not its end was written
    at = 0
    for line in whole.splitlines(keepends=True):
        at += len(line)
        if "track" in json.loads(line):
            ends[json.loads(line)["track"]] = at - 1
    assert set(ends) == {"a.wav", "b.wav"}
    for length in range(len(whole)):
        path.write_bytes(whole[:length])
        tracks = set(read_manifest(tmp_path).made)
        assert tracks == {track for track, end in ends.items() if end <= length}


WHOLE = {"track": "a", "options": {}, "inputs": {}, "voice": {}, "versions": "", "files": {}}


@pytest.mark.parametrize(
    "line",
    [
        *("[]", "3", "null", '"run"', "{}", '{"track": 3}', '{"track": "a.wav"}', "\x00"),
        *(json.dumps({**WHOLE, key: 0}) for key in WHOLE),
        json.dumps(WHOLE),  # whose voice says nothing
        pytest.param("[" * 100_000, id="deep"),
    ],
)
def test_lines_of_something_else_do_not_count(tmp_path: Path, line: str) -> None:
    (tmp_path / MANIFEST_FILE).write_text(f"{line}\n", encoding="utf-8")
    assert read_manifest(tmp_path).made == {}


def test_a_folder_in_its_place_is_told(tmp_path: Path) -> None:
    (tmp_path / MANIFEST_FILE).mkdir()
    with pytest.raises(WriteError, match="remove it"):
        read_manifest(tmp_path)


def test_a_pipe_in_its_place_is_told_and_not_waited_for(tmp_path: Path) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("no pipes here")
    os.mkfifo(tmp_path / MANIFEST_FILE)
    with pytest.raises(WriteError, match="no ordinary file"):
        read_manifest(tmp_path)


def test_one_that_no_batch_could_have_written_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "_MOST_BYTES", 1_000)
    (tmp_path / MANIFEST_FILE).write_text("x" * 1_001, encoding="utf-8")
    with pytest.raises(WriteError, match="larger than"):
        read_manifest(tmp_path)
