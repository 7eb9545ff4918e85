"""The ffmpeg that comes with the extra `media`: where it is, and how it is kept to files and pipes.

It reads what libsndfile does not (M4A, the sound of a video) and encodes what libsndfile cannot or does
slowly. pydub, which wraps it too, holds whole files in memory; a pipe does not.
"""

from __future__ import annotations

import shutil
from importlib.util import find_spec
from pathlib import Path

from cuetrack.errors import MediaMissingError

# No questions, no network: a file that names another place does not make it go there.
SAFE_ARGUMENTS = ("-nostdin", "-hide_banner", "-loglevel", "error", "-protocol_whitelist", "file,pipe")


def has_ffmpeg() -> bool:
    """Whether the extra is installed and brought an ffmpeg for this machine."""
    try:
        ffmpeg_path("")
    except MediaMissingError:
        return False
    return True


def ffmpeg_path(what_for: str) -> Path:
    """The program.

    Raises:
        MediaMissingError: it is not on this machine, and `what_for` needs it.
    """
    if find_spec("imageio_ffmpeg") is not None:
        from imageio_ffmpeg import get_ffmpeg_exe

        try:
            # What IMAGEIO_FFMPEG_EXE names may not be there, and a name alone is looked for as a shell would.
            found = shutil.which(get_ffmpeg_exe())
        except RuntimeError:  # no binary for this machine
            found = None
        if found is not None:
            return Path(found)
    how = 'python -m pip install ".[media]" in a checkout brings one'
    message = f"{what_for} needs ffmpeg, which is not here; {how}"
    raise MediaMissingError(message)
