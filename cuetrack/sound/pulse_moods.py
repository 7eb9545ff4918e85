"""The moods of the built-in bed as data: what drums, bass and chords play in a phrase of 32 counts.

Our own music. A phrase is eight bars of four counts. Drums and bass are written a bar at a time, one
character for each quarter of a count: `x` is a stroke, `o` a soft one, `8` one an octave higher (bass
only), `.` none; the last bar of a phrase has its own, the fill. Notes are numbers as in MIDI (69 is A4,
440 Hz), a chord lasts two bars. No numpy here: a plan is checked against the names.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

COUNTS = 32
COUNTS_IN_BAR = 4
STEPS_IN_COUNT = 4
BARS_A_CHORD = 2
OCTAVE_ABOVE = "8"
STRENGTHS_DB: Mapping[str, float] = MappingProxyType({"x": 0.0, "o": -7.0, OCTAVE_ABOVE: -3.0})


@dataclass(frozen=True, slots=True)
class Part:
    """What a drum or the bass plays: its usual bar, and the last bar of a phrase."""

    bar: str
    fill: str


@dataclass(frozen=True, slots=True)
class Chord:
    """The note of the bass, and the notes of the chord above it."""

    bass: int
    notes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Mood:
    """One built-in bed; the levels balance its own instruments, in dB."""

    description: str
    chords: tuple[Chord, Chord, Chord, Chord]
    kick: Part
    snare: Part
    hat: Part
    # A note of the bass lasts until the next.
    bass: Part
    drums_db: float
    bass_db: float
    chords_db: float


_NONE = Part("." * 16, "." * 16)

_MOODS = {
    "steady": Mood(
        "even drums for regular work",
        (
            Chord(45, (57, 60, 64)),
            Chord(48, (55, 60, 64)),
            Chord(43, (55, 59, 62)),
            Chord(40, (55, 59, 64)),
        ),
        kick=Part("x...x...x...x...", "x...x...x...x.o."),
        snare=Part("....x.......x...", "....x.......x.xx"),
        hat=Part("..x...x...x...x.", "..x...x...x.o.x."),
        bass=Part("x.....x.x.....8.", "x.....x.x...8.x."),
        drums_db=-2.0,
        bass_db=-2.0,
        chords_db=-5.0,
    ),
    "strong": Mood(
        "driving drums for hard intervals",
        (
            Chord(40, (55, 59, 64)),
            Chord(36, (55, 60, 64)),
            Chord(43, (55, 59, 62)),
            Chord(38, (54, 57, 62)),
        ),
        kick=Part("x...x...x...x...", "x...x...x.x.x.x."),
        snare=Part("....x.......x..o", "....x...x...xxxx"),
        hat=Part("o.x.o.x.o.x.o.x.", "o.x.o.x.o.x.x.x."),
        bass=Part("x.x.8.x.x.x.8.x.", "x.x.8.x.x.8.x.8."),
        drums_db=-1.0,
        bass_db=-2.0,
        chords_db=-6.0,
    ),
    "light": Mood(
        "a light step for warming up",
        (
            Chord(43, (55, 59, 62)),
            Chord(48, (55, 60, 64)),
            Chord(45, (57, 60, 64)),
            Chord(50, (57, 62, 66)),
        ),
        kick=Part("x.......x.......", "x.......x...o..."),
        snare=Part("....o.......o...", "....o.......o.o."),
        hat=Part("o...x...o...x...", "o...x...o.o.x.o."),
        bass=Part("x.......x.....8.", "x.......x......."),
        drums_db=-3.0,
        bass_db=-3.0,
        chords_db=-3.0,
    ),
    "calm": Mood(
        "chords and no drums, for stretching and long breaths",
        (
            Chord(36, (55, 60, 64)),
            Chord(40, (55, 59, 64)),
            Chord(45, (57, 60, 64)),
            Chord(43, (55, 59, 62)),
        ),
        kick=_NONE,
        snare=_NONE,
        hat=_NONE,
        bass=Part("x...............", "x.......o......."),
        drums_db=0.0,
        bass_db=-5.0,
        chords_db=0.0,
    ),
}

MOODS: Mapping[str, Mood] = MappingProxyType(_MOODS)
DEFAULT_MOOD = "steady"
