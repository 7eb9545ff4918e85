"""A sound file that has been written → whether all of it is there.

libsndfile does not tell when its last writes fail, as it closes a file on a disk that is full.
"""

from __future__ import annotations

from pathlib import Path

from cuetrack.writers.formats import AudioFormat
from cuetrack.writers.mp3_tag import has_all_bytes


def is_whole(path: Path, frames: int, audio_format: AudioFormat, rate_hz: int) -> bool:
    """Whether the file holds `frames` frames, one or more, to the last of them.

    That one is read back, except from an M4A, which libsndfile does not read: there the list of all packets
    has to be whole, which is written last. And from an MP3, whose last frame can need bytes of many before
    it; libsndfile's decoder goes back too few and complains on the user's terminal (measured at 22,050 Hz
    and less). Its tag tells how many bytes there have to be.

    Raises:
        soundfile.SoundFileError, mutagen.MutagenError: it is no sound file, or has lost its end.
    """
    # Only where it is needed, since every import costs a start-up.
    import soundfile
    from mutagen.mp4 import MP4

    if audio_format.container == "M4A":
        info = MP4(path).info
        return info is not None and round(info.length * rate_hz) >= frames
    with soundfile.SoundFile(path) as file:
        if file.frames != frames:
            return False
        if audio_format.container == "MP3":
            return has_all_bytes(path)
        file.seek(frames - 1)
        return len(file.read(1)) == 1
