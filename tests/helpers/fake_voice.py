"""A voice without sound: each text has a length and an onset that follow from the text alone."""

from __future__ import annotations

from collections.abc import Mapping
from zlib import crc32

from cuetrack.conform.arrangement import Arrangement
from cuetrack.conform.fit import arranged
from cuetrack.plan.model import Session
from cuetrack.speech.length import SpokenLength
from cuetrack.speech.phrases.wording import phrase_text
from cuetrack.timeline.compile import Timeline, compiled
from cuetrack.timeline.cues import Phrase


def wording(phrase: Phrase) -> str:
    """The English text of a phrase."""
    return phrase_text(phrase.key, phrase.slots)


class FakeVoice(dict[str, SpokenLength]):
    """Lengths by text: those given, else as many milliseconds a letter, at least 150 ms in all."""

    def __init__(
        self,
        rate_hz: int,
        milliseconds: Mapping[str, int] | None = None,
        *,
        pace_ms: int = 55,
        onset_ms: int | None = None,
    ) -> None:
        super().__init__()
        self._rate_hz, self._pace_ms, self._onset_ms = rate_hz, pace_ms, onset_ms
        for text, length in (milliseconds or {}).items():
            self[text] = self._length(text, length)

    def __missing__(self, text: str) -> SpokenLength:
        return self._length(text, max(150, self._pace_ms * len(text)))

    def _length(self, text: str, milliseconds: int) -> SpokenLength:
        frames = milliseconds * self._rate_hz // 1000
        # Words differ in where they are heard to begin: after up to 80 ms, but never behind their end.
        onset_ms = crc32(text.encode()) % 9 * 10 if self._onset_ms is None else self._onset_ms
        return SpokenLength(frames, min(onset_ms * self._rate_hz // 1000, frames - 1))


def spoken(
    session: Session | Timeline, rate_hz: int, voice: FakeVoice | None = None, *, estimated: bool = False
) -> Arrangement:
    """The arrangement of a session as the fake voice speaks it."""
    timeline = session if isinstance(session, Timeline) else compiled(session)
    voice = FakeVoice(rate_hz) if voice is None else voice  # one that knows no text yet is empty
    return arranged(timeline, wording, voice, rate_hz, estimated=estimated)
