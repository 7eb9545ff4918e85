"""The tones as data: what each one is made of, and the names by which plans ask for them.

Our own sounds, held to published figures: MIL-STD-1472E 5.3 (200-5000 Hz, better 500-3000; a
warning lasts 0.5 s or more; at most four signals to tell apart), IEC 60601-1-8 (count tones:
fundamental 150-1000 Hz, four or more harmonics in 300-4000 Hz within 15 dB of it), the Greenwich
time signal (pips). Ramps of 5-10 ms are common practice, no source; none is longer than the 50 ms
of a pulsed test tone (ANSI S3.6).

Levels go with speech at -18 LUFS (AES TD1008), by the momentary loudness of each tone on two channels
(EBU Tech 3341: 400 ms, so a short one counts for less). What tells people something lies within 5 LU of
speech (common practice, no source). The click and the tones of a lifting tempo, which go on under the
coach's words, lie 10 to 12 LU under them: as far as music has to (Torcoli and others, Journal of the
Audio Engineering Society 67(12), 2019); an accented click is 3 to 4 LU louder (common practice, no
source). All together stay under full scale. No numpy here: checking a plan needs lengths, not samples.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from cuetrack.errors import SoundError, did_you_mean
from cuetrack.timebase import Instant


@dataclass(frozen=True, slots=True)
class Partial:
    """One cosine of a tone; its level is relative to the tone's other partials.

    Inverting some partials flattens the wave: more loudness under the same peak.
    """

    frequency_hz: int
    level_db: float = 0.0
    inverted: bool = False


@dataclass(frozen=True, slots=True)
class Sweep:
    """A cosine whose frequency moves evenly from one end to the other (a linear chirp)."""

    from_hz: int
    to_hz: int


@dataclass(frozen=True, slots=True)
class ToneSpec:
    """One tone; `peak_dbfs` is its largest sample, `source` says where the figures come from.

    The length holds whole periods of everything in `waveform`: `tones.py` counts on it.
    """

    name: str
    waveform: tuple[Partial, ...] | Sweep
    length_seconds: Fraction
    peak_dbfs: float
    attack_seconds: Fraction
    release_seconds: Fraction
    source: str


@dataclass(frozen=True, slots=True)
class Countdown:
    """The shape of a count by tones: `short` before the mark, `long` starting on it."""

    short: str
    long: str
    source: str


_MS = Fraction(1, 1000)
_OWN_COUNT = "our own; pitch and timbre after MIL-STD-1472E 5.3 and IEC 60601-1-8"
_OWN_CALL = "our own; pitch after MIL-STD-1472E 5.3"
_GREENWICH = "Greenwich time signal: 1 kHz, five pips of 0.1 s, the sixth of 0.5 s is the mark"


def _count_tone(fundamental_hz: int) -> tuple[Partial, ...]:
    """A fundamental and harmonics 2 to 5, phased for a crest factor of 4.2 dB instead of 7.8."""
    return (
        Partial(fundamental_hz),
        Partial(2 * fundamental_hz, -6.0),
        Partial(3 * fundamental_hz, -9.0, inverted=True),
        Partial(4 * fundamental_hz, -12.0),
        Partial(5 * fundamental_hz, -14.0, inverted=True),
    )


_TONES = (
    ToneSpec("count-short", _count_tone(600), 120 * _MS, -15.0, 5 * _MS, 10 * _MS, _OWN_COUNT),
    ToneSpec("count-long", _count_tone(800), 500 * _MS, -15.0, 5 * _MS, 10 * _MS, _OWN_COUNT),
    ToneSpec(
        name="call-soft",
        waveform=(Partial(500), Partial(1000, -18.0)),
        length_seconds=400 * _MS,
        peak_dbfs=-21.0,
        attack_seconds=20 * _MS,
        release_seconds=50 * _MS,
        source=_OWN_CALL,
    ),
    ToneSpec(
        name="call-bright",
        waveform=(Partial(1500), Partial(3000, -4.0), Partial(4500, -8.0, inverted=True)),
        length_seconds=200 * _MS,
        peak_dbfs=-17.0,
        attack_seconds=5 * _MS,
        release_seconds=10 * _MS,
        source=_OWN_CALL,
    ),
    # A bandwidth of 2.5 kHz makes its correlation peak 0.4 ms wide; 3 kHz still pass at 8 kHz.
    ToneSpec(
        name="slate",
        waveform=Sweep(3000, 500),
        length_seconds=320 * _MS,
        peak_dbfs=-15.0,
        attack_seconds=5 * _MS,
        release_seconds=5 * _MS,
        source="our own; range after MIL-STD-1472E 5.3",
    ),
    ToneSpec(
        name="click",
        waveform=(Partial(2000),),
        length_seconds=40 * _MS,
        peak_dbfs=-19.5,
        attack_seconds=5 * _MS,
        release_seconds=10 * _MS,
        source=_OWN_CALL,
    ),
    # The first of some beats: a third above the click, and longer.
    ToneSpec(
        name="click-accent",
        waveform=(Partial(2500),),
        length_seconds=60 * _MS,
        peak_dbfs=-19.0,
        attack_seconds=5 * _MS,
        release_seconds=10 * _MS,
        source=_OWN_CALL,
    ),
    # A lifting tempo is heard as it is done: falling, level, rising.
    ToneSpec("tempo-down", Sweep(1000, 500), 200 * _MS, -24.5, 10 * _MS, 20 * _MS, _OWN_CALL),
    ToneSpec("tempo-hold", (Partial(750),), 200 * _MS, -24.5, 10 * _MS, 20 * _MS, _OWN_CALL),
    ToneSpec("tempo-up", Sweep(500, 1000), 200 * _MS, -24.5, 10 * _MS, 20 * _MS, _OWN_CALL),
    ToneSpec("pip-short", (Partial(1000),), 100 * _MS, -16.0, 5 * _MS, 5 * _MS, _GREENWICH),
    ToneSpec("pip-long", (Partial(1000),), 500 * _MS, -16.0, 5 * _MS, 5 * _MS, _GREENWICH),
)

TONES: Mapping[str, ToneSpec] = MappingProxyType({tone.name: tone for tone in _TONES})

COUNTDOWNS: Mapping[str, Countdown] = MappingProxyType(
    {
        "plain": Countdown("count-short", "count-long", _OWN_COUNT),
        "pips": Countdown("pip-short", "pip-long", _GREENWICH),
    }
)

# What a coach writes in a plan (`tone: soft`), and the tone it stands for.
PLAN_TONES: Mapping[str, str] = MappingProxyType(
    {
        "soft": "call-soft",
        "bright": "call-bright",
        "short": "count-short",
        "long": "count-long",
        "slate": "slate",
    }
)

# How much softer a tone is that a counted word lies over. Common practice, no source; with it a speech
# recogniser tells the words apart (`tests/reports/heard.py`).
UNDER_WORDS_DB = -12.0

# How much softer the words of a tempo are than all others. They go on through a whole set: half the amplitude
# keeps them behind the coach's own voice and the calls that tell something new. Common practice, no source.
TEMPO_WORDS_DB = -6.0


def tone_spec(name: str) -> ToneSpec:
    """The table's entry for `name`.

    Raises:
        SoundError: there is no such tone; the message names the nearest.
    """
    if name not in TONES:
        raise SoundError(f"there is no tone {name!r}; {did_you_mean(name, TONES)}")
    return TONES[name]


def tone_frames(name: str, rate_hz: int) -> int:
    """Length of a tone in frames: rounded once, an exact half up.

    Raises:
        SoundError: there is no such tone.

    >>> tone_frames("count-long", 48_000), tone_frames("pip-short", 11_025)  # 1102.5
    (24000, 1103)
    """
    return Instant(tone_spec(name).length_seconds).to_frame(rate_hz)
