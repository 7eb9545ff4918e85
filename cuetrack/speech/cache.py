"""Processed clips kept between runs, one file a clip, found by what decides their samples.

A file is a line of magic, the SHA-256 of what follows, and then the rate, the onset and the samples,
little-endian. A file that is damaged in any way counts as absent. Files appear whole or not at all,
so several runs may share a folder. When it grows over its limit, the clips that were not used for the
longest time go; a file's time of change says when it was last used.
"""

from __future__ import annotations

import os
import struct
import time
from collections.abc import Iterator
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple

import numpy as np

from cuetrack.speech.clip import SpeechClip
from cuetrack.speech.whole_file import HALF_WRITTEN, write_whole

_MAGIC = b"cuetrack clip 1\n"
_HEAD = struct.Struct("<II")
_DIGEST_BYTES = sha256().digest_size
_ENDING = ".clip"

DEFAULT_LIMIT_MB = 500
BYTES_PER_MB = 1_000_000
# A file that is still half written after this was left behind by a run that was killed.
_ABANDONED_SECONDS = 3600


def default_cache_folder() -> Path:
    """`CUETRACK_CACHE_DIR` if it is set, else the user's cache folder on this system."""
    chosen = os.environ.get("CUETRACK_CACHE_DIR")
    if chosen:
        return Path(chosen)
    import platformdirs

    return platformdirs.user_cache_path("cuetrack", appauthor=False)


def cache_limit_mb() -> tuple[int, str | None]:
    """`CUETRACK_CACHE_MB`, or the default; and a warning if it is set to what is no number."""
    chosen = os.environ.get("CUETRACK_CACHE_MB", "").strip() or str(DEFAULT_LIMIT_MB)
    if chosen.isascii() and chosen.isdigit():
        return int(chosen), None
    warning = f"CUETRACK_CACHE_MB is {chosen!r}, which is no whole number of megabytes"
    return DEFAULT_LIMIT_MB, f"{warning}; the limit is the usual one, {DEFAULT_LIMIT_MB} MB"


class CacheSummary(NamedTuple):
    """What is kept: where, how many clips, their size, and how large they may become in all."""

    folder: Path
    clips: int
    bytes: int
    limit_bytes: int


class _File(NamedTuple):
    path: Path
    used_ns: int
    bytes: int


def clip_key(*parts: str) -> str:
    """The name of the clip that `parts` decide; no two lists of parts share one.

    >>> clip_key("ab", "c") == clip_key("a", "bc")
    False
    """
    digest = sha256(_MAGIC)
    for part in parts:
        data = part.encode("utf-8", errors="backslashreplace")
        digest.update(struct.pack("<Q", len(data)) + data)
    return digest.hexdigest()


class ClipCache:
    """Clips in a folder; it makes runs faster and never stops one.

    `warning` is the first reason why clips could not be kept, or None.
    """

    def __init__(self, folder: Path | None = None, *, limit_bytes: int | None = None) -> None:
        self.folder = (folder or default_cache_folder()) / "speech"
        self.warning: str | None = None
        if limit_bytes is None:
            limit_mb, self.warning = cache_limit_mb()
            limit_bytes = limit_mb * BYTES_PER_MB
        self._limit_bytes = limit_bytes
        self._used: set[Path] = set()
        self._grown = False

    def get(self, key: str) -> SpeechClip | None:
        """The clip kept under `key`; None if there is none that can be trusted, which is thrown away."""
        path = self._path(key)
        self._used.add(path)
        try:
            clip = _unpacked(path.read_bytes())
        except OSError:
            return None
        # Neither has to succeed: another run may have removed it, the folder may be write-protected.
        with suppress(OSError):
            os.utime(path) if clip is not None else path.unlink()
        return clip

    def put(self, key: str, clip: SpeechClip) -> None:
        """Keep `clip` under `key`; a folder that cannot be written leaves a `warning`."""
        path = self._path(key)
        self._used.add(path)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            write_whole(path, _packed(clip))
            self._grown = True
        except OSError as error:
            reason = error.strerror or str(error)
            self._warn(
                f"spoken phrases cannot be kept in {self.folder} ({reason}); the next run speaks "
                "them again. CUETRACK_CACHE_DIR names another folder"
            )

    def prune(self) -> None:
        """Bring the folder under its limit, the longest unused clips first.

        What this cache has given or taken stays, even over the limit. Nothing is looked at unless
        something was put since the last time.
        """
        if not self._grown:
            return
        self._grown = False
        self._remove_abandoned()
        kept = sorted(self._files(_ENDING), key=lambda file: (file.used_ns, file.path.name))
        over = sum(file.bytes for file in kept) - self._limit_bytes
        for file in kept:
            if over <= 0:
                return
            if file.path not in self._used and _removed(file.path):
                over -= file.bytes

    def summary(self) -> CacheSummary:
        """What is kept now."""
        sizes = [file.bytes for file in self._files(_ENDING)]
        return CacheSummary(self.folder, len(sizes), sum(sizes), self._limit_bytes)

    def clear(self) -> int:
        """Throw all clips away; says how many there were."""
        self._remove_abandoned()
        return sum(_removed(file.path) for file in self._files(_ENDING))

    def _warn(self, warning: str) -> None:
        self.warning = self.warning or warning

    def _files(self, mark: str) -> Iterator[_File]:
        """The files of ours, those whose names begin or end with `mark`; others may be removing them."""
        with suppress(OSError), os.scandir(self.folder) as entries:
            for entry in entries:
                if not (entry.name.startswith(mark) or entry.name.endswith(mark)):
                    continue
                with suppress(OSError):
                    if entry.is_file(follow_symlinks=False):
                        known = entry.stat(follow_symlinks=False)
                        yield _File(self.folder / entry.name, known.st_mtime_ns, known.st_size)

    def _remove_abandoned(self) -> None:
        long_ago_ns = time.time_ns() - _ABANDONED_SECONDS * 1_000_000_000
        for file in self._files(HALF_WRITTEN):
            if file.used_ns < long_ago_ns:
                _removed(file.path)

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}{_ENDING}"


def _removed(path: Path) -> bool:
    """Whether it was us who removed the file: another run may have been first, or have it open."""
    try:
        path.unlink()
    except OSError:
        return False
    return True


def _packed(clip: SpeechClip) -> bytes:
    body = _HEAD.pack(clip.rate_hz, clip.onset_frames) + clip.samples.astype("<f4").tobytes()
    return _MAGIC + sha256(body).digest() + body


def _unpacked(data: bytes) -> SpeechClip | None:
    start = len(_MAGIC) + _DIGEST_BYTES
    body = data[start:]
    if data[:start] != _MAGIC + sha256(body).digest():
        return None
    rate_hz, onset_frames = _HEAD.unpack_from(body)
    samples = np.frombuffer(body, dtype="<f4", offset=_HEAD.size).astype(np.float32)
    return SpeechClip(samples, rate_hz, onset_frames)
