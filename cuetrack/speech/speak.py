"""The door of the room: texts and a voice → clips at the programme's rate, each spoken once ever.

A clip is trimmed to what is audible and levelled for speech before it is kept; only the rate is
changed afterwards, so one kept clip serves every programme. A faster clip is made from the kept one:
engines do not keep to a factor, a stretch does to the frame.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from fractions import Fraction

from cuetrack.cores import usable_cores
from cuetrack.errors import SpeechError
from cuetrack.sound.loudness import levelled
from cuetrack.sound.trim import audible_span
from cuetrack.speech.cache import ClipCache, clip_key
from cuetrack.speech.clip import SpeechClip, resampled_to
from cuetrack.speech.engines.engine import Engine, Utterance, engine_of
from cuetrack.speech.engines.recorded_engine import RecordedEngine
from cuetrack.speech.installed import default_voice, installed_voice
from cuetrack.speech.onset import perceived_onset
from cuetrack.speech.phrases.wording import quoted, text_key
from cuetrack.speech.said import said_for
from cuetrack.speech.stretch import hastened
from cuetrack.speech.voices import PEAK_CEILING_DBFS, Voice, refuse_language

# Enters the key of every kept clip: raise it when trimming, levelling, stretching or the onset changes.
_PROCESSING_VERSION = "4"

_MOST_AT_ONCE = 8
_MOST_NAMED = 5

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class _Job:
    """One clip to come: what is said, by whom, and how much faster."""

    utterance: Utterance
    voice: Voice
    engine: Engine
    tempo: Fraction


def speak(
    texts: Iterable[str],
    voice: Voice,
    rate_hz: int,
    *,
    cache: ClipCache,
    language: str = "en",
    faster: Mapping[str, Fraction] | None = None,
    lexicon: Mapping[str, str] | None = None,
    engine: Engine | None = None,
    progress: Progress | None = None,
    warn: Callable[[str], None] | None = None,
) -> dict[str, SpeechClip]:
    """Each distinct text as a clip at `rate_hz`.

    Args:
        texts: what to say, as it is written; repeated ones are spoken once.
        voice: who speaks.
        rate_hz: rate of the programme.
        cache: where clips are kept; what it holds is not spoken again.
        language: of the texts.
        faster: how many times as fast a text is spoken, 1 if it is not there.
        lexicon: the plan's own pronunciations, see `spoken_form`.
        engine: speaks what the cache lacks; the voice's own if None.
        progress: told the number of clips done and of all, after each.
        warn: told which phrases another voice speaks, because there is no clip for them.

    Returns:
        The clips by text as given, in that order.

    Raises:
        VoiceMissingError: the engine is not on this machine.
        SpeechError: the voice does not speak the language, or a text has no sound or is too long; the
            first such text is named.
    """
    texts = tuple(dict.fromkeys(texts))
    if not texts:
        return {}
    refuse_language(voice, language)
    utterances = [_utterance(text, language, lexicon or {}) for text in texts]
    speakers = _speakers(utterances, voice, engine or engine_of(voice, language), language, warn)
    tempos = [Fraction((faster or {}).get(text, 1)) for text in texts]
    jobs = [
        _Job(utterance, *speaker, tempo)
        for utterance, speaker, tempo in zip(utterances, speakers, tempos, strict=True)
    ]
    distinct = tuple(dict.fromkeys(jobs))
    clips: dict[_Job, SpeechClip] = {}
    for clip in _clips(distinct, cache):
        clips[distinct[len(clips)]] = resampled_to(clip, rate_hz)
        if progress is not None:
            progress(len(clips), len(distinct))
    cache.prune()
    return {text: clips[job] for text, job in zip(texts, jobs, strict=True)}


def _utterance(text: str, language: str, lexicon: Mapping[str, str]) -> Utterance:
    """`text` as it goes to the engine; white space and controls make no difference."""
    return Utterance(text_key(text), said_for(text, language, lexicon))


def _speakers(
    utterances: Sequence[Utterance],
    voice: Voice,
    engine: Engine,
    language: str,
    warn: Callable[[str], None] | None,
) -> list[tuple[Voice, Engine]]:
    """Who speaks each utterance: the voice, or its fallback for what it has no clip of."""
    if not isinstance(engine, RecordedEngine):
        return [(voice, engine)] * len(utterances)
    without = [utterance.written for utterance in utterances if not engine.has(utterance.written)]
    if not without:
        return [(voice, engine)] * len(utterances)
    other = fallback_voice(voice, language)
    if warn is not None:
        warn(f"spoken by {other.name!r} instead, there is no clip in {voice.folder}: {_named(without)}")
    stand_in, lacking = (other, engine_of(other, language)), frozenset(without)
    return [stand_in if utterance.written in lacking else (voice, engine) for utterance in utterances]


def fallback_voice(voice: Voice, language: str) -> Voice:
    """Who speaks what a recorded `voice` has no clip of.

    Raises:
        VoiceMissingError: the fallback that it names is not installed.
        SpeechError: it is recorded as well, or does not speak `language`.
    """
    if voice.fallback is None:
        return default_voice(language)[0]
    other = installed_voice(voice.fallback, within=voice.within)
    if other.engine == "recorded":
        raise SpeechError(
            f"voice {voice.name!r} falls back to {other.name!r}, which is recorded as well; "
            "name one that can say everything"
        )
    refuse_language(other, language)
    return other


def _named(texts: Sequence[str]) -> str:
    more = len(texts) - _MOST_NAMED
    named = ", ".join(quoted(text) for text in texts[:_MOST_NAMED])
    return f"{named} and {more} more" if more > 0 else named


def _clips(jobs: Sequence[_Job], cache: ClipCache) -> Iterator[SpeechClip]:
    """The clip of each job in turn, at its engine's rate; several are made at once."""
    pool = ThreadPoolExecutor(min(usable_cores(), _MOST_AT_ONCE, len(jobs)))
    try:
        yield from pool.map(lambda job: _clip(job, cache), jobs)
    finally:
        pool.shutdown(cancel_futures=True)


def _clip(job: _Job, cache: ClipCache) -> SpeechClip:
    """The clip of `job` as it was kept, or made and kept."""
    key = _key(job)
    kept = cache.get(key)
    if kept is not None:
        return kept
    made = (
        _spoken(job) if job.tempo == 1 else _faster(_clip(replace(job, tempo=Fraction(1)), cache), job.tempo)
    )
    cache.put(key, made)
    return made


def _key(job: _Job) -> str:
    voice, identity = job.voice, job.engine.identity(job.utterance)
    loudness, tempo = repr(voice.loudness_lufs), str(job.tempo)
    return clip_key(_PROCESSING_VERSION, voice.engine, identity, loudness, tempo, job.utterance.said)


def _spoken(job: _Job) -> SpeechClip:
    """The finished clip at the engine's rate and pace."""
    raw = job.engine.spoken(job.utterance)
    start, end = audible_span(raw.samples, raw.rate_hz)
    if start == end:
        raise SpeechError(f"{quoted(job.utterance.written)} has no sound when spoken; write it in words")
    samples = levelled(
        raw.samples[start:end],
        raw.rate_hz,
        target_lufs=job.voice.loudness_lufs,
        peak_ceiling_dbfs=PEAK_CEILING_DBFS,
    )
    return SpeechClip(samples, raw.rate_hz, perceived_onset(samples, raw.rate_hz))


def _faster(clip: SpeechClip, tempo: Fraction) -> SpeechClip:
    samples = hastened(clip.samples, clip.rate_hz, tempo)
    return SpeechClip(samples, clip.rate_hz, perceived_onset(samples, clip.rate_hz))
