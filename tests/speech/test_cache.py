"""Kept clips: come back as they were, or not at all."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import cuetrack
from cuetrack.speech.cache import ClipCache, clip_key, default_cache_folder
from cuetrack.speech.clip import SpeechClip
from cuetrack.speech.whole_file import HALF_WRITTEN

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
    assert list(cache.folder.iterdir()) == []  # thrown away
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


CLIP_BYTES = len("cuetrack clip 1\n") + 32 + 8 + 4 * 1000


def filled(folder: Path, names: str, used_at: int = 1_000_000) -> ClipCache:
    """A cache with a clip for each letter, used one second apart, long ago."""
    cache = ClipCache(folder)
    for age, name in enumerate(names):
        cache.put(clip_key(name), a_clip())
        os.utime(cache.folder / f"{clip_key(name)}.clip", (used_at + age, used_at + age))
    return cache


def kept_names(cache: ClipCache, names: str) -> str:
    there = {path.name for path in cache.folder.iterdir()}
    return "".join(name for name in names if f"{clip_key(name)}.clip" in there)


def test_what_was_not_used_for_the_longest_time_goes_first(tmp_path):
    filled(tmp_path, "abcdef")
    cache = ClipCache(tmp_path, limit_bytes=4 * CLIP_BYTES)
    assert cache.get(clip_key("a")) is not None  # used again just now
    cache.put(clip_key("g"), a_clip())
    cache.prune()
    assert kept_names(cache, "abcdefg") == "aefg"
    assert cache.summary() == (cache.folder, 4, 4 * CLIP_BYTES, 4 * CLIP_BYTES)


def test_what_a_run_uses_is_never_removed_by_it(tmp_path):
    cache = ClipCache(tmp_path, limit_bytes=0)
    filled(tmp_path, "xy")
    for name in "abc":
        cache.put(clip_key(name), a_clip())
    cache.prune()
    assert kept_names(cache, "abcxy") == "abc"


def test_without_growth_nothing_is_removed(tmp_path):
    filled(tmp_path, "abc")
    cache = ClipCache(tmp_path, limit_bytes=0)
    cache.get(clip_key("a"))
    cache.prune()
    assert kept_names(cache, "abc") == "abc"


def test_the_limit_can_be_chosen(tmp_path, monkeypatch):
    filled(tmp_path, "ab")
    monkeypatch.setenv("CUETRACK_CACHE_MB", "0")
    cache = ClipCache(tmp_path)
    cache.put(clip_key("c"), a_clip())
    cache.prune()
    assert kept_names(cache, "abc") == "c"


@pytest.mark.parametrize("chosen", ["much", "-1", "1.5", "²"])
def test_a_limit_that_is_no_number_is_a_warning(tmp_path, monkeypatch, chosen):
    monkeypatch.setenv("CUETRACK_CACHE_MB", chosen)
    cache = ClipCache(tmp_path)
    assert cache.warning == (
        f"CUETRACK_CACHE_MB is {chosen!r}, which is no whole number of megabytes; "
        "the limit is the usual one, 500 MB"
    )
    assert cache.summary().limit_bytes == 500_000_000


def test_clearing_removes_our_clips_and_nothing_else(tmp_path):
    cache = filled(tmp_path, "abc")
    (cache.folder / "notes.txt").write_text("the coach's own")
    assert cache.clear() == 3
    assert [path.name for path in cache.folder.iterdir()] == ["notes.txt"]
    assert cache.summary()[:3] == (cache.folder, 0, 0)
    assert ClipCache(tmp_path / "nowhere").summary().clips == ClipCache(tmp_path / "nowhere").clear() == 0


def test_what_a_killed_run_left_half_written_goes_after_an_hour(tmp_path):
    cache = filled(tmp_path, "a")
    old, new = cache.folder / f"{HALF_WRITTEN}old", cache.folder / f"{HALF_WRITTEN}new"
    for path, age_seconds in ((old, 4000), (new, 10)):
        path.write_bytes(b"half")
        os.utime(path, (time.time() - age_seconds,) * 2)
    cache.prune()
    assert (old.exists(), new.exists()) == (False, True)


WRITE_READ_PRUNE = """
import random, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
import numpy as np
from cuetrack.speech.cache import ClipCache, clip_key
from cuetrack.speech.clip import SpeechClip
chance = random.Random(int(sys.argv[3]))
for run in range(20):
    cache = ClipCache(Path(sys.argv[2]), limit_bytes=100_000)
    for _ in range(15):
        number = chance.randrange(40)
        clip = SpeechClip(np.full(2_000 + number, number / 40, np.float32), 22_050, number)
        found = cache.get(clip_key(str(number)))
        if found is None:
            cache.put(clip_key(str(number)), clip)
        else:
            assert np.array_equal(found.samples, clip.samples) and found.onset_frames == number
        if chance.random() < 0.3:
            cache.prune()
        if chance.random() < 0.01:
            cache.clear()
    cache.prune()
    assert cache.warning is None, cache.warning
"""


def test_many_processes_may_write_read_prune_and_clear_at_once(tmp_path):
    root = Path(cuetrack.__file__).parents[1]
    command = [sys.executable, "-c", WRITE_READ_PRUNE, str(root), str(tmp_path)]
    racing = [subprocess.Popen([*command, str(number)]) for number in range(4)]
    assert [process.wait() for process in racing] == [0] * 4
    left = ClipCache(tmp_path)
    assert all(path.suffix == ".clip" for path in left.folder.iterdir())
    # Each run may leave what it used itself: at most its own 15 clips of about 8 kB.
    assert left.summary().bytes <= 100_000 + 4 * 15 * 8_300
