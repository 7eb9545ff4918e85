"""One plan's speech: phrases into words, and words into lengths and clips, for one voice and language.

`Speaker` makes real speech and gives real lengths; `Estimator` guesses them and needs no voice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING

from cuetrack.speech.length import SpokenLength, estimated_seconds
from cuetrack.speech.phrases.language import Style, Wordings
from cuetrack.speech.phrases.wording import key_said, phrase_text
from cuetrack.speech.said import said_for
from cuetrack.speech.voices import Voice
from cuetrack.timebase import Instant

if TYPE_CHECKING:
    from cuetrack.speech.cache import ClipCache
    from cuetrack.speech.clip import SpeechClip
    from cuetrack.speech.engines.engine import Engine

_USUAL = Fraction(1)
# The mean over "one" to "ten" of the first voice; used only where lengths are estimated.
_LIKELY_ONSET_SECONDS = Fraction(19, 200)


@dataclass(frozen=True, slots=True)
class Manner:
    """How a plan wants to be spoken; `phrases` are its own wordings by key."""

    voice: Voice
    language: str
    style: Style
    lexicon: Mapping[str, str]
    phrases: Mapping[str, Wordings] = field(default_factory=dict)

    def record(self) -> dict[str, object]:
        """What a file keeps of it, so that texts which are words already can be spoken again."""
        return {"voice": self.voice.name, "language": self.language, "lexicon": dict(self.lexicon)}

    def said(self, text: str) -> str:
        """What the engine is given for `text`; raises `SpeechError` if there is nothing to say."""
        return said_for(text, self.language, self.lexicon)

    def text(self, key: str, slots: Mapping[str, str], turn: int, style: Style | None = None) -> str:
        """A phrase in words, in the plan's style or in `style`.

        Own words for it are said in both styles; `style` asks for what is terse, own words or not.
        """
        own = self.phrases.get(key_said(key, slots))
        style = style or ("full" if own is not None and not own.terse else self.style)
        return phrase_text(key, slots, self.language, style=style, turn=turn, own=self.phrases)


class Estimator:
    """Lengths by rule of thumb, at one rate."""

    def __init__(self, manner: Manner, rate_hz: int) -> None:
        self._manner = manner
        self._rate_hz = rate_hz
        self._seconds: dict[str, Fraction] = {}

    def length(self, text: str, tempo: Fraction = _USUAL) -> SpokenLength:
        """About how long `text` is, spoken `tempo` times as fast as usual."""
        manner = self._manner
        if text not in self._seconds:
            said, pace = manner.said(text), manner.voice.expected_words_per_minute
            self._seconds[text] = estimated_seconds(said, pace, manner.language)
        seconds = self._seconds[text] / tempo
        onset = Instant(_LIKELY_ONSET_SECONDS / tempo)
        return SpokenLength(Instant(seconds).to_frame(self._rate_hz), onset.to_frame(self._rate_hz))


@dataclass(slots=True)
class Speaker:
    """Real clips, at one rate, by one engine; each is made when it is first asked for.

    `warn` is told once of each text that another voice speaks, however fast that is.
    """

    manner: Manner
    rate_hz: int
    cache: ClipCache
    warn: Callable[[str], None]
    _clips: dict[tuple[str, Fraction], SpeechClip] = field(default_factory=dict)
    _engine: Engine | None = None

    def speak(
        self,
        texts: Iterable[str],
        tempo: Fraction = _USUAL,
        progress: Callable[[int, int], None] | None = None,
    ) -> None:
        """Makes the clips of `texts` that are not there yet, all at once."""
        from cuetrack.speech.engines.engine import engine_of
        from cuetrack.speech.speak import speak

        manner = self.manner
        missing = [text for text in dict.fromkeys(texts) if (text, tempo) not in self._clips]
        if not missing:
            return
        if tempo != _USUAL:
            # A faster clip is made of the usual one, with which it was told who speaks.
            self.speak(missing)
        self._engine = self._engine or engine_of(manner.voice, manner.language)
        clips = speak(
            missing,
            manner.voice,
            self.rate_hz,
            cache=self.cache,
            language=manner.language,
            faster=dict.fromkeys(missing, tempo),
            lexicon=manner.lexicon,
            engine=self._engine,
            progress=progress,
            warn=self.warn if tempo == _USUAL else None,
        )
        self._clips.update({(text, tempo): clip for text, clip in clips.items()})

    def clip(self, text: str, tempo: Fraction = _USUAL) -> SpeechClip:
        """The clip of `text`, spoken `tempo` times as fast as usual."""
        if (text, tempo) not in self._clips:
            self.speak([text], tempo)
        return self._clips[text, tempo]

    def length(self, text: str, tempo: Fraction = _USUAL) -> SpokenLength:
        """How long that clip is."""
        return self.clip(text, tempo).length
