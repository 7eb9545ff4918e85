"""Kept clips: come back as they were, or not at all."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import cuetrack
from cuetrack.speech.cache import ClipCache, clip_key, default_cache_folder
from cuetrack.speech.clip import SpeechClip

KEY = clip_key("a clip")


def a_clip(frames: int = 1000) -> SpeechClip:
    samples = np.linspace(-1, 1, frames, dtype=np.float32)
    return SpeechClip(samples, 22_050, frames // 3)


def same(one: SpeechClip, other: SpeechClip) -> bool:
    return (
        np.array_equal(one.samples, other.samples)
        and one.samples.dtype == other.samples.dtype
        and (one.rate_hz, one.onset_frames) == (other.rate_hz, other.onset_frames)
    )


def test_a_kept_clip_comes_back_bit_by_bit(tmp_path):
    ClipCache(tmp_path).put(KEY, a_clip())
    assert same(ClipCache(tmp_path).get(KEY), a_clip())


def test_nothing_is_left_beside_the_clips(tmp_path):
    cache = ClipCache(tmp_path)
    cache.put(KEY, a_clip())
    cache.put(KEY, a_clip(2000))
    assert [path.name for path in cache.folder.iterdir()] == [f"{KEY}.clip"]
    assert same(cache.get(KEY), a_clip(2000))


def test_what_was_never_kept_is_absent(tmp_path):
    assert ClipCache(tmp_path / "nowhere").get(KEY) is None


def _cut(data: bytes, at: int) -> bytes:
    return data[:at]


def _flipped(data: bytes, at: int) -> bytes:
    return data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]


@pytest.mark.parametrize("damaged", [_cut, _flipped])
@pytest.mark.parametrize("at", [0, 5, 20, 50, 60, -1])
def test_a_damaged_file_is_absent(tmp_path, damaged, at):
    cache = ClipCache(tmp_path)
    cache.put(KEY, a_clip())
    (file,) = cache.folder.iterdir()
    data = file.read_bytes()
    file.write_bytes(damaged(data, at % len(data)))
    assert cache.get(KEY) is None
    cache.put(KEY, a_clip())
    assert same(cache.get(KEY), a_clip())


def test_a_folder_in_the_place_of_a_clip_is_absent(tmp_path):
    cache = ClipCache(tmp_path)
    (cache.folder / f"{KEY}.clip").mkdir(parents=True)
    assert cache.get(KEY) is None
    cache.put(KEY, a_clip())
    assert cache.warning is not None
    assert len(list(cache.folder.iterdir())) == 1


def test_a_folder_that_cannot_be_written_is_a_warning(tmp_path):
    (tmp_path / "taken").write_text("a file, not a folder")
    cache = ClipCache(tmp_path / "taken")
    assert cache.warning is None
    cache.put(KEY, a_clip())
    assert "cannot be kept" in cache.warning
    assert "CUETRACK_CACHE_DIR" in cache.warning
    assert cache.get(KEY) is None


KEEP_OFTEN = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
import numpy as np
from cuetrack.speech.cache import ClipCache
from cuetrack.speech.clip import SpeechClip
cache = ClipCache(Path(sys.argv[2]))
clip = SpeechClip(np.linspace(-1, 1, 20_000, dtype=np.float32), 22_050, 7)
for _ in range(100):
    cache.put(sys.argv[3], clip)
    found = cache.get(sys.argv[3])
    assert found is not None and np.array_equal(found.samples, clip.samples)
assert cache.warning is None, cache.warning
"""


def test_two_processes_may_keep_the_same_clip(tmp_path):
    root = Path(cuetrack.__file__).parents[1]
    command = [sys.executable, "-c", KEEP_OFTEN, str(root), str(tmp_path), KEY]
    racing = [subprocess.Popen(command) for _ in range(2)]
    assert [process.wait() for process in racing] == [0, 0]
    assert [path.name for path in ClipCache(tmp_path).folder.iterdir()] == [f"{KEY}.clip"]


def test_the_folder_can_be_chosen(tmp_path, monkeypatch):
    monkeypatch.setenv("CUETRACK_CACHE_DIR", str(tmp_path / "elsewhere"))
    assert ClipCache().folder == tmp_path / "elsewhere" / "speech"
    monkeypatch.delenv("CUETRACK_CACHE_DIR")
    assert default_cache_folder().name == "cuetrack"


@given(st.lists(st.text(), max_size=4), st.lists(st.text(), max_size=4))
def test_different_parts_give_different_keys(one, other):
    assert (clip_key(*one) == clip_key(*other)) == (one == other)
