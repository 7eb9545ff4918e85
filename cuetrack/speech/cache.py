"""Processed clips kept between runs, one file a clip, found by what decides their samples.

A file is a line of magic, the SHA-256 of what follows, and then the rate, the onset and the samples,
little-endian. A file that is damaged in any way counts as absent. Files appear whole or not at all,
so several runs may share a folder.
"""

from __future__ import annotations

import os
import struct
import tempfile
from contextlib import suppress
from hashlib import sha256
from pathlib import Path

import numpy as np

from cuetrack.speech.clip import SpeechClip

_MAGIC = b"cuetrack clip 1\n"
_HEAD = struct.Struct("<II")
_DIGEST_BYTES = sha256().digest_size


def default_cache_folder() -> Path:
    """`CUETRACK_CACHE_DIR` if it is set, else the user's cache folder on this system."""
    chosen = os.environ.get("CUETRACK_CACHE_DIR")
    if chosen:
        return Path(chosen)
    import platformdirs

    return platformdirs.user_cache_path("cuetrack", appauthor=False)


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

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = (folder or default_cache_folder()) / "speech"
        self.warning: str | None = None

    def get(self, key: str) -> SpeechClip | None:
        """The clip kept under `key`; None if there is none that can be trusted."""
        try:
            return _unpacked(self._path(key).read_bytes())
        except OSError:
            return None

    def put(self, key: str, clip: SpeechClip) -> None:
        """Keep `clip` under `key`; a folder that cannot be written leaves a `warning`."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            _write_whole(self._path(key), _packed(clip))
        except OSError as error:
            reason = error.strerror or str(error)
            self.warning = self.warning or (
                f"spoken phrases cannot be kept in {self.folder} ({reason}); the next run speaks "
                "them again. CUETRACK_CACHE_DIR names another folder"
            )

    def _path(self, key: str) -> Path:
        return self.folder / f"{key}.clip"


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


def _write_whole(path: Path, data: bytes) -> None:
    handle, name = tempfile.mkstemp(prefix=".clip-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(name).replace(path)
    except BaseException:
        with suppress(OSError):
            Path(name).unlink()
        raise
