"""Where ffmpeg is found, what is said where it is not, and that looking for it loads nothing heavy."""

from __future__ import annotations

import subprocess
import sys

import pytest

from cuetrack.errors import ExitCode, MediaMissingError
from cuetrack.sound import ffmpeg
from cuetrack.sound.ffmpeg import SAFE_ARGUMENTS, ffmpeg_path, has_ffmpeg

MESSAGE = (
    r"^an M4A file needs ffmpeg, which is not here; "
    r"python -m pip install \"\.\[media\]\" in the folder of CueTrack brings it$"
)


def test_the_ffmpeg_of_the_extra_is_found_and_runs():
    assert has_ffmpeg()
    done = subprocess.run([ffmpeg_path(""), "-version"], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("ffmpeg version")


def test_without_the_extra_the_message_says_how_to_get_it(monkeypatch):
    monkeypatch.setattr(ffmpeg, "find_spec", lambda name: None)
    assert not has_ffmpeg()
    with pytest.raises(MediaMissingError, match=MESSAGE) as caught:
        ffmpeg_path("an M4A file")
    assert caught.value.exit_code is ExitCode.MACHINE_LACKS


@pytest.mark.parametrize("named", ["/nowhere/ffmpeg", "no-such-program-here"])
def test_a_program_that_is_named_but_not_there_is_missing(monkeypatch, named):
    monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", named)
    assert not has_ffmpeg()
    with pytest.raises(MediaMissingError, match=MESSAGE):
        ffmpeg_path("an M4A file")


def test_it_opens_no_address(tmp_path):
    """A list that names an address is read as far as that; ffmpeg then refuses to go there."""
    playlist = tmp_path / "quay.m3u8"
    playlist.write_text(
        "#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\nhttp://127.0.0.1:9/tide.ts\n#EXT-X-ENDLIST\n"
    )
    command = [ffmpeg_path(""), *SAFE_ARGUMENTS, "-f", "hls", "-i", playlist, "-f", "null", "-"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode != 0
    assert "not on whitelist 'file,pipe'" in done.stderr


def test_looking_for_it_loads_no_arrays():
    code = "import sys, cuetrack.sound.ffmpeg as f; print(f.has_ffmpeg(), 'numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "True False\n"
