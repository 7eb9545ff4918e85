"""A sound file → its samples at the programme's rate and channels, a piece at a time.

libsndfile reads what it knows; other containers (MP4 and its like, Matroska, raw AAC) go through ffmpeg,
as a pipe: pydub would hold a whole file in memory. A file is known by its first bytes, never by its name.
"""

from __future__ import annotations

import re
import struct
import subprocess
import tempfile
from collections.abc import Generator, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from io import SEEK_SET, FileIO
from pathlib import Path
from typing import IO, Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from cuetrack.errors import SoundError
from cuetrack.sound.container import ffmpeg_container
from cuetrack.sound.ffmpeg import SAFE_ARGUMENTS, ffmpeg_path
from cuetrack.sound.mix_down import MOST_CHANNELS, mix_down
from cuetrack.timebase import frame_clock_text

Piece = NDArray[np.float32]

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 8_000, 384_000
_PIECE_FRAMES = 65_536
# In libsndfile's log: a chunk that says it is longer than the rest of the file, an Ogg page cut off.
_SHORT_CHUNK = re.compile(r"(?:RIFF|RIFX|RF64|FORM|data|SSND|riff) *: (\d+) \(should be (\d+)\)")
_CUT_PAGE = "Junk after the last page"
# What writes to a pipe cannot know its length, and writes a number near one of these.
_UNKNOWN_LENGTHS, _NEAR = (0, 2**31, 2**32), 2**16
# ffmpeg's words for a file that breaks off, which is no error to it.
_BROKEN_OFF = (b"partial file", b"ended prematurely")
# And where a film or another container holds no sound, and where an MP4's index, written last, is missing or
# ends in its middle.
_NO_SOUND, _NO_INDEX = "matches no streams", ("moov atom not found", "no decoder found for: none")
# The Au file format: magic, offset of the samples, their bytes, encoding, rate, channels; big-endian.
_AU_HEADER = struct.Struct(">4s5I")


@dataclass(frozen=True, slots=True)
class OpenSound:
    """A file's own samples, piece after piece, shape (frames, channels); Ogg orders channels its own way."""

    rate_hz: int
    channels: int
    is_ogg: bool
    pieces: Iterator[Piece]

    def mixed_down(self, channels: int) -> Iterator[Piece]:
        """The pieces for 1 or 2 channels."""
        if self.channels <= 2 and self.channels == channels:
            return self.pieces
        factors = mix_down(self.channels, channels, is_ogg=self.is_ogg)
        return (piece @ factors for piece in self.pieces)


def decoded_pieces(path: Path, rate_hz: int, channels: int) -> Generator[Piece, None, None]:
    """The whole file, read as it is asked for; close the generator to stop before its end.

    Args:
        path: any file.
        rate_hz: rate asked for.
        channels: 1 or 2.

    Returns:
        Float32, shape (frames, channels); together as many frames as the file lasts at `rate_hz`.

    Raises:
        SoundError: see `opened_sound`.
        MediaMissingError: its kind needs ffmpeg, which is not here.
    """
    with opened_sound(path) as file:
        yield from resampled_pieces(file.mixed_down(channels), file.rate_hz, rate_hz, channels)


@contextmanager
def opened_sound(path: Path, *, even_cut: bool = False) -> Iterator[OpenSound]:
    """The sound in a file of any kind, to be read once, from its beginning.

    With `even_cut` one that shows at once that it was not copied whole is opened too; its pieces may end
    in an error.

    Raises:
        SoundError: it is no sound file, is damaged or breaks off, or has samples that are no numbers;
            reading its pieces raises it, too.
        MediaMissingError: its kind needs ffmpeg, which is not here.
    """
    try:
        if not path.is_file():  # a device or a pipe may never end
            problem = "is no ordinary file" if path.exists() else "is not there"
            raise SoundError(f"{path.name or path} {problem}; name a sound file")
        container = ffmpeg_container(path)
        opened = (
            _through_libsndfile(path, even_cut) if container is None else _through_ffmpeg(path, container)
        )
        with opened as file:
            _refuse_unusual(path, file)
            yield replace(file, pieces=_numbers(path, file))
    except OSError as error:
        raise SoundError(f"{path.name} cannot be read: {error.strerror or error}; check the file") from None


def _refuse_unusual(path: Path, file: OpenSound) -> None:
    if not LOWEST_RATE_HZ <= file.rate_hz <= HIGHEST_RATE_HZ:
        allowed = f"allowed are {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz"
        raise SoundError(f"{path.name} has {file.rate_hz} Hz, {allowed}; export it at 48000 Hz")
    if not 1 <= file.channels <= MOST_CHANNELS:
        allowed = f"allowed are 1 to {MOST_CHANNELS}"
        raise SoundError(f"{path.name} has {file.channels} channels, {allowed}; export it in stereo")


def _numbers(path: Path, file: OpenSound) -> Iterator[Piece]:
    """The file's pieces, refused where a sample is infinite or not a number."""
    done = 0
    for piece in file.pieces:
        finite = np.isfinite(piece)
        if not finite.all():
            bad = done + int(np.flatnonzero(~finite.all(axis=1))[0])
            at = _clock(bad, file.rate_hz)
            raise SoundError(
                f"{path.name} has samples that are no numbers, the first at {at}; export it anew"
            )
        done += len(piece)
        yield piece


def _clock(frame: int, rate_hz: int) -> str:
    return frame_clock_text(frame, rate_hz, 2)


def resampled_pieces(pieces: Iterable[Piece], from_hz: float, to_hz: float, channels: int) -> Iterator[Piece]:
    """The same at `to_hz`; the filter's delay is taken off, as for a clip (`sound/resample.py`)."""
    if from_hz == to_hz:
        yield from pieces
        return
    import soxr  # here, because most files have the programme's rate

    stream = soxr.ResampleStream(from_hz, to_hz, channels, dtype="float32")
    for piece in pieces:
        made = stream.resample_chunk(np.ascontiguousarray(piece))
        if len(made):
            yield made
    rest = stream.resample_chunk(np.zeros((0, channels), np.float32), last=True)
    if len(rest):
        yield rest


class _Unnamed(FileIO):
    """A file known by its number: by a name's ending libsndfile takes a text for MP3 or for raw samples.

    `failed` is what the system said where it could not be read. libsndfile cannot be told: it takes what is
    missing for the end, or goes on with what it has.
    """

    failed: OSError | None = None

    def readinto(self, buffer: Any, /) -> int:
        """How many bytes were read; 0 at the end, and where the system refuses."""
        try:
            return super().readinto(buffer) or 0
        except OSError as error:
            self.failed = self.failed or error
            return 0

    def seek(self, offset: int, whence: int = SEEK_SET, /) -> int:
        """The new position; the old one where a damaged file leads to one that cannot be."""
        try:
            return super().seek(offset, whence)
        except (OSError, OverflowError, ValueError):  # nobody could catch it beyond libsndfile
            return self.tell()


@contextmanager
def _through_libsndfile(path: Path, even_cut: bool) -> Iterator[OpenSound]:
    with path.open("rb") as named, _Unnamed(named.fileno(), closefd=False) as unnamed:
        try:
            file = soundfile.SoundFile(unnamed)
        except soundfile.LibsndfileError as error:
            _refuse_unread(path, unnamed)
            reason = str(error.error_string).rstrip(".").lower()
            raise SoundError(f"{path.name} cannot be read as sound: {reason}; name a sound file") from None
        with file:
            _refuse_unread(path, unnamed)
            if not even_cut:
                _refuse_cut(path, file.extra_info)
            pieces = _libsndfile_pieces(path, file, unnamed)
            yield OpenSound(file.samplerate, file.channels, file.format == "OGG", pieces)


def _refuse_unread(path: Path, unnamed: _Unnamed) -> None:
    if unnamed.failed is not None:
        reason = unnamed.failed.strerror or unnamed.failed
        raise SoundError(f"{path.name} cannot be read: {reason}; check the disk it lies on, or copy it anew")


def _refuse_cut(path: Path, log: str) -> None:
    """Refuses a file that was not copied whole: libsndfile plays what is left, and its log tells."""
    chunks = ((int(written), int(there)) for written, there in _SHORT_CHUNK.findall(log))
    known = (
        there < written and all(abs(written - unknown) > _NEAR for unknown in _UNKNOWN_LENGTHS)
        for written, there in chunks
    )
    if _CUT_PAGE in log or any(known):
        raise SoundError(f"{path.name} breaks off before its end; copy or export it anew")


def _libsndfile_pieces(path: Path, file: soundfile.SoundFile, unnamed: _Unnamed) -> Iterator[Piece]:
    done = 0
    while done < file.frames:
        try:
            piece = file.read(_PIECE_FRAMES, dtype="float32", always_2d=True)
        except soundfile.LibsndfileError:
            piece = np.empty((0, file.channels), np.float32)
        _refuse_unread(path, unnamed)
        if not len(piece):
            at = _clock(done, file.samplerate)
            raise SoundError(f"{path.name} is damaged or breaks off after {at}; copy or export it anew")
        done += len(piece)
        yield piece


@contextmanager
def _through_ffmpeg(path: Path, container: str) -> Iterator[OpenSound]:
    """The first sound in a file: mono, or mixed down to stereo after ITU-R BS.775 by ffmpeg, which knows how.

    ffmpeg is told the container, so that no file, whatever it is called, is taken for a playlist.
    """
    program = ffmpeg_path(f"reading {path.name}")
    source = ["-xerror", "-f", container, "-i", f"file:{path}", "-map", "0:a:0", "-vn"]
    # `-ac 2` would make mono into two channels that are 3 dB softer.
    result = ["-af", "aformat=channel_layouts=mono|stereo", "-f", "au", "-c:a", "pcm_f32be", "pipe:1"]
    with tempfile.TemporaryFile() as said:
        process = subprocess.Popen(
            [str(program), *SAFE_ARGUMENTS, *source, *result],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=said,
        )
        try:
            if process.stdout is None:  # pragma: no cover
                raise SoundError(f"{path.name} cannot be read; try again")
            header = process.stdout.read(_AU_HEADER.size)
            if len(header) < _AU_HEADER.size:
                process.wait()
                raise SoundError(f"{path.name} {_problem(said)}")
            _, offset, _, _, rate_hz, channels = _AU_HEADER.unpack(header)
            process.stdout.read(offset - _AU_HEADER.size)
            yield OpenSound(rate_hz, channels, False, _ffmpeg_pieces(path, process, said, rate_hz, channels))
        finally:
            process.kill()
            process.wait()
            if process.stdout is not None:
                process.stdout.close()


def _ffmpeg_pieces(
    path: Path, process: subprocess.Popen[bytes], said: IO[bytes], rate_hz: int, channels: int
) -> Iterator[Piece]:
    frame_bytes, done = 4 * channels, 0
    while process.stdout is not None:
        data = process.stdout.read(_PIECE_FRAMES * frame_bytes)
        whole = len(data) // frame_bytes * frame_bytes
        if not whole:
            break
        yield np.frombuffer(data[:whole], ">f4").astype(np.float32).reshape(-1, channels)
        done += whole // frame_bytes
    failed = process.wait() != 0
    said.seek(0)
    log = said.read()
    if failed or any(words in log for words in _BROKEN_OFF):
        at = _clock(done, rate_hz)
        raise SoundError(f"{path.name} is damaged or breaks off after {at}; copy or export it anew")


def _problem(said: IO[bytes]) -> str:
    """Why there is no sound, and what to do; by ffmpeg's first line, without the part that says it."""
    said.seek(0)
    lines = said.read(2000).decode(errors="replace").strip().splitlines()
    if any(_NO_SOUND in line for line in lines):
        return "has no sound in it; name a file that has"
    if any(words in line for words in _NO_INDEX for line in lines):
        return "cannot be read as sound: it breaks off before the end of its index; copy or export it anew"
    reason = re.sub(r"^\[[^]]*] ", "", lines[0]).rstrip(".").lower() if lines else "no reason given"
    return f"cannot be read as sound: {reason}; name a sound file"
