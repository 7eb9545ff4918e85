"""The ffmpeg that comes with the extra `media`: where it is, and how it is kept to files and pipes.

It reads what libsndfile does not (M4A, the sound of a video) and encodes what libsndfile cannot or does
slowly. pydub, which wraps it too, holds whole files in memory; a pipe does not.
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path
from threading import Event, Thread
from typing import Any

from cuetrack.errors import MediaMissingError, how_to_add

# No questions, no network: a file that names another place does not make it go there.
SAFE_ARGUMENTS = ("-nostdin", "-hide_banner", "-loglevel", "error", "-protocol_whitelist", "file,pipe")


# A program has surely started, or its thread never will.
_STARTED_SECONDS = 5.0


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
    raise MediaMissingError(f"{what_for} needs ffmpeg, which is not here; {how_to_add('media')}")


def started_whole(command: Sequence[str], **options: Any) -> subprocess.Popen[bytes]:
    """`subprocess.Popen`, which an interrupt (Ctrl-C) does not tear apart.

    Torn apart, the program would run on without anybody who knows it, and write its file after all has been
    cleaned up. So it is started in a thread, which no signal reaches, and ended if there was one.
    """
    made: list[subprocess.Popen[bytes]] = []
    failed: list[OSError] = []
    done = Event()

    def start() -> None:
        try:
            made.append(subprocess.Popen(command, **options))
        except OSError as error:
            failed.append(error)
        finally:
            done.set()

    thread = Thread(target=start, name="starting a program")
    try:
        thread.start()
        thread.join()
    except BaseException:
        done.wait(_STARTED_SECONDS)  # whether the thread has begun is not to be known here
        for process in made:
            process.kill()
            process.wait()
        raise
    if failed:
        raise failed[0]
    return made[0]
