"""A folder of recorded clips → which file is for which phrase, and the sound of a file.

Only what lies in the folder itself counts: a link that leads out of it is refused.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from cuetrack.errors import MediaMissingError, SoundError, SpeechError, VoiceMissingError
from cuetrack.sound.container import ffmpeg_container
from cuetrack.sound.decoding import opened_sound
from cuetrack.speech.clip_names import folded, names_of
from cuetrack.speech.phrases.wording import quoted

# What phones record, and ffmpeg reads; and what libsndfile reads. Films are no clips.
PHONE_ENDINGS = frozenset({".m4a", ".aac", ".3gp"})
ENDINGS = PHONE_ENDINGS | {".wav", ".flac", ".mp3", ".ogg", ".opus", ".aif", ".aiff", ".w64", ".caf"}
LONGEST_SECONDS = 120  # a phrase, not a talk; and no file can fill the memory
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 8_000, 192_000


@dataclass(frozen=True, slots=True)
class ClipFolder:
    """The sound files of a folder, sorted, and again by their folded names: two of one name are a mistake."""

    path: Path
    files: tuple[Path, ...]
    by_name: Mapping[str, tuple[Path, ...]]

    @classmethod
    def at(cls, path: Path) -> ClipFolder:
        """What lies in the folder `path` now.

        Raises:
            VoiceMissingError: there is no such folder, or it cannot be read.
        """
        try:
            found = sorted(file for file in path.iterdir() if file.suffix.casefold() in ENDINGS)
        except OSError as error:
            reason = error.strerror or str(error)
            raise VoiceMissingError(f"the clips in {path} cannot be read: {reason}; check the path") from None
        files = tuple(file for file in found if not file.name.startswith("."))
        by_name: dict[str, list[Path]] = defaultdict(list)
        for file in files:
            by_name[folded(file.stem)].append(file)
        return cls(path, files, {name: tuple(alike) for name, alike in by_name.items()})

    def file_for(self, text: str) -> Path | None:
        """The clip for `text`: its very own one, else one whose name folds alike, else None.

        Raises:
            SpeechError: two files are for the phrase, or the file leads out of the folder.
        """
        for name in names_of(text):
            files = self.by_name.get(name, ())
            if len(files) > 1:
                names = " and ".join(file.name for file in files)
                raise SpeechError(f"{names} in {self.path} are both for {quoted(text)}; keep one of them")
            if files:
                return self.inside(files[0])
        return None

    def inside(self, file: Path) -> Path:
        """`file`, which is an ordinary one and does not lead out of the folder.

        Raises:
            SpeechError: it does, or is none.
        """
        try:
            real = file.resolve(strict=True)
        except (OSError, RuntimeError) as error:
            reason = error.strerror if isinstance(error, OSError) else "a loop of links"
            raise SpeechError(f"{file} cannot be read: {reason}; put a sound file in its place") from None
        if not real.is_relative_to(self.path.resolve()):
            raise SpeechError(f"{file} leads out of its folder, to {real}; put a copy in its place")
        if not real.is_file():
            raise SpeechError(f"{file} is no ordinary file; put a sound file in its place")
        return file


def read_clip(path: Path) -> tuple[NDArray[np.float32], int]:
    """The sound in a file as `mono`, and its rate; raises like `read_channels`."""
    channels, rate_hz = read_channels(path)
    return mono(channels), rate_hz


def mono(channels: NDArray[np.float32]) -> NDArray[np.float32]:
    """The average of the channels, or the loudest of them where the average would cancel them.

    Channels that do not work against each other leave in their average at least the loudest one's energy
    divided by the square of their number. Less than half of that comes from a wrong polarity.

    Args:
        channels: float32, shape (frames, channels).

    Returns:
        float32, shape (frames,).
    """
    average = channels.mean(axis=1, dtype=np.float32)
    energies = np.square(channels, dtype=np.float64).sum(axis=0)
    left = np.square(average, dtype=np.float64).sum()
    cancelled = left < energies.max() / (2 * energies.size**2)
    return channels[:, int(energies.argmax())] if cancelled else average


def read_channels(path: Path) -> tuple[NDArray[np.float32], int]:
    """The sound in a file, float32, shape (frames, channels), and its rate.

    Raises:
        SpeechError: no sound file, one without sound, longer than a phrase can be, or of an odd rate.
        VoiceMissingError: its kind needs ffmpeg, which is not here.
    """
    try:
        samples, rate_hz = _by_ffmpeg(path) if needs_ffmpeg(path) else _by_libsndfile(path)
    except MediaMissingError as error:
        raise VoiceMissingError(str(error)) from None
    except SoundError as error:
        raise SpeechError(str(error)) from None
    except (soundfile.SoundFileError, OSError, RuntimeError) as error:
        # libsndfile's own words, without the path that soundfile puts before them.
        reason = " ".join(str(getattr(error, "error_string", error)).split()).rstrip(".")
        raise SpeechError(f"{path} cannot be read as sound: {reason}; export it as WAV again") from None
    if len(samples) > LONGEST_SECONDS * rate_hz:
        raise SpeechError(f"{path} is longer than {LONGEST_SECONDS} s; a clip holds one phrase, so cut it")
    if not np.isfinite(samples).all():
        raise SpeechError(f"{path} holds values that are no numbers; export it as 24-bit WAV again")
    return samples, rate_hz


def needs_ffmpeg(path: Path) -> bool:
    """Whether a clip is read by ffmpeg and not by libsndfile.

    An MP3 that does not tell its length is not: of a phrase libsndfile reads all of it.

    Raises:
        OSError: it cannot be read.
    """
    return ffmpeg_container(path) not in {None, "mp3"}


def _by_libsndfile(path: Path) -> tuple[NDArray[np.float32], int]:
    with soundfile.SoundFile(path) as file:
        rate_hz = int(file.samplerate)
        return file.read(_most_frames(path, rate_hz), dtype="float32", always_2d=True), rate_hz


def _by_ffmpeg(path: Path) -> tuple[NDArray[np.float32], int]:
    with opened_sound(path) as file:
        most, pieces, frames = _most_frames(path, file.rate_hz), [np.empty((0, file.channels), np.float32)], 0
        for piece in file.pieces:
            pieces.append(piece)
            frames += len(piece)
            if frames >= most:
                break
        return np.concatenate(pieces), file.rate_hz


def _most_frames(path: Path, rate_hz: int) -> int:
    """How many frames to read, one more than allowed: the length in a damaged header is not to be trusted.

    Raises:
        SpeechError: an odd rate.
    """
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        allowed = f"allowed are {LOWEST_RATE_HZ:,} to {HIGHEST_RATE_HZ:,} Hz; export it at 48,000 Hz"
        raise SpeechError(f"{path} has a sample rate of {rate_hz:,} Hz, {allowed}")
    return LONGEST_SECONDS * rate_hz + 1
