"""Phrase → the coach's own recording of it, found in a folder by its name."""

from __future__ import annotations

from functools import cached_property
from hashlib import file_digest
from pathlib import Path

import soundfile

from cuetrack.errors import SpeechError, VoiceMissingError
from cuetrack.speech.clip_folder import ClipFolder, needs_ffmpeg, read_clip
from cuetrack.speech.engines.engine import RawSpeech, Utterance
from cuetrack.speech.phrases.wording import quoted
from cuetrack.speech.voice_state import versions_of
from cuetrack.speech.voices import Voice


class RecordedEngine:
    """The engine `recorded`, with one folder of clips."""

    def __init__(self, voice: Voice) -> None:
        self.voice = voice

    def has(self, written: str) -> bool:
        """Whether there is a clip for a phrase as it is written in the plan."""
        return self._folder.file_for(written) is not None

    def identity(self, utterance: Utterance) -> str:
        """What is in the file, and what decodes it."""
        file = self._file(utterance)
        try:
            with file.open("rb") as opened:  # what is no clip may be as large as a film
                digest = file_digest(opened, "sha256").hexdigest()
            decoders = versions_of(["imageio-ffmpeg"] if needs_ffmpeg(file) else [])
        except OSError as error:
            raise SpeechError(f"{file} cannot be read: {error.strerror or error}; check the file") from None
        return ", ".join((soundfile.__libsndfile_version__, *decoders, digest))

    def spoken(self, utterance: Utterance) -> RawSpeech:
        """The clip of `utterance`, as it was recorded; see `Engine.spoken`."""
        return RawSpeech(*read_clip(self._file(utterance)))

    @cached_property
    def _folder(self) -> ClipFolder:
        if self.voice.folder is None:
            raise VoiceMissingError(f"voice {self.voice.name!r} has no folder of clips")
        return ClipFolder.at(self.voice.folder)

    def _file(self, utterance: Utterance) -> Path:
        file = self._folder.file_for(utterance.written)
        if file is None:
            raise SpeechError(f"there is no clip for {quoted(utterance.written)} in {self.voice.folder}")
        return file
