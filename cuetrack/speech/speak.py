"""The door of the room: texts and a voice → clips at the programme's rate, each spoken once ever.

A clip is trimmed to what is audible and levelled for speech before it is kept; only the rate is
changed afterwards, so one kept clip serves every programme.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor

from cuetrack.errors import SpeechError
from cuetrack.sound.loudness import levelled
from cuetrack.sound.trim import audible_span
from cuetrack.speech.cache import ClipCache, clip_key
from cuetrack.speech.clip import SpeechClip, resampled_to
from cuetrack.speech.engines.engine import Engine, engine_of
from cuetrack.speech.onset import perceived_onset
from cuetrack.speech.phrases.wording import quoted, text_key
from cuetrack.speech.voices import Voice

SPEECH_LOUDNESS_LUFS = -18.0  # AES TD1008 for speech
PEAK_CEILING_DBFS = -3.0
# Enters the key of every kept clip: raise it when trimming, levelling or the onset changes.
_PROCESSING_VERSION = "1"

MAX_TEXT_CHARACTERS = 2_000  # about two minutes of talk
_MOST_AT_ONCE = 8

Progress = Callable[[int, int], None]


def speak(
    texts: Iterable[str],
    voice: Voice,
    rate_hz: int,
    *,
    cache: ClipCache,
    engine: Engine | None = None,
    progress: Progress | None = None,
) -> dict[str, SpeechClip]:
    """Each distinct text as a clip at `rate_hz`.

    Args:
        texts: what to say; repeated ones are spoken once.
        voice: who speaks.
        rate_hz: rate of the programme.
        cache: where clips are kept; what it holds is not spoken again.
        engine: speaks what the cache lacks; the voice's own if None.
        progress: told the number of texts done and of all, after each.

    Returns:
        The clips by text as given, in that order.

    Raises:
        VoiceMissingError: the engine is not on this machine.
        SpeechError: a text has no sound or is too long; the first such text is named.
    """
    said_by_text = {text: _checked(text) for text in texts}
    if not said_by_text:
        return {}
    engine = engine or engine_of(voice)
    said = tuple(dict.fromkeys(said_by_text.values()))
    clips: dict[str, SpeechClip] = {}
    for clip in _clips(said, voice, engine, cache):
        clips[said[len(clips)]] = resampled_to(clip, rate_hz)
        if progress is not None:
            progress(len(clips), len(said))
    return {text: clips[key] for text, key in said_by_text.items()}


def _clips(said: Sequence[str], voice: Voice, engine: Engine, cache: ClipCache) -> Iterator[SpeechClip]:
    """The clip of each text in turn, at the engine's rate; several are spoken at once."""
    identity = engine.identity(voice)
    keys = [_key(text, voice, identity) for text in said]
    kept = [cache.get(key) for key in keys]
    pool = ThreadPoolExecutor(min(os.cpu_count() or 1, _MOST_AT_ONCE))
    try:
        coming = [
            clip or pool.submit(_made, text, voice, engine) for text, clip in zip(said, kept, strict=True)
        ]
        for key, clip in zip(keys, coming, strict=True):
            if isinstance(clip, SpeechClip):
                yield clip
            else:
                made = clip.result()
                cache.put(key, made)
                yield made
    finally:
        pool.shutdown(cancel_futures=True)


def _key(text: str, voice: Voice, identity: str) -> str:
    pace = str(voice.words_per_minute)
    return clip_key(_PROCESSING_VERSION, voice.engine, identity, voice.language, pace, text)


def _made(text: str, voice: Voice, engine: Engine) -> SpeechClip:
    """The finished clip of `text` at the engine's rate."""
    raw = engine.spoken(text, voice)
    start, end = audible_span(raw.samples, raw.rate_hz)
    if start == end:
        raise SpeechError(f"{quoted(text)} has no sound when spoken; write it in words")
    samples = levelled(
        raw.samples[start:end],
        raw.rate_hz,
        target_lufs=SPEECH_LOUDNESS_LUFS,
        peak_ceiling_dbfs=PEAK_CEILING_DBFS,
    )
    return SpeechClip(samples, raw.rate_hz, perceived_onset(samples, raw.rate_hz))


def _checked(text: str) -> str:
    """`text` as it goes to the engine."""
    said = text_key(text)
    if not said:
        raise SpeechError(f"{quoted(text)} has nothing to say; write it in words")
    if len(said) > MAX_TEXT_CHARACTERS:
        raise SpeechError(
            f"{quoted(said)} has {len(said):,} characters, allowed are {MAX_TEXT_CHARACTERS:,}; "
            "split it into several cues"
        )
    return said
