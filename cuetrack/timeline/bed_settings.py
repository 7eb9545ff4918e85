"""The bed that holds at one place of a plan: session → part → step, the nearest word wins, key by key."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Literal, TypeGuard

from cuetrack.errors import Place
from cuetrack.plan.model import Bed, Part, Session, Step
from cuetrack.sound.pulse_moods import DEFAULT_MOOD
from cuetrack.timebase import Duration

# Music at least 10 LU under commentary; lay listeners want 4 LU more than experts (Torcoli and others,
# Journal of the Audio Engineering Society 67(12), 2019).
DEFAULT_UNDER_SPEECH_DB = Fraction(-14)
# Common practice, no source.
DEFAULT_FADE_IN, DEFAULT_FADE_OUT = Duration(Fraction(1, 2)), Duration(Fraction(2))
# Where one music follows another at once, and before a pulse: keeps a downbeat, and does not click.
JOIN = Duration(Fraction(1, 100))


@dataclass(frozen=True, slots=True)
class Fades:
    """How music begins after silence and ends before it, as the plan asks.

    `place` is the coach's line, that of the longer one where both are written; None where nothing is.
    """

    fade_in: Duration
    fade_out: Duration
    place: Place | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class BedSettings:
    """What plays at one place; `source` is the node that names it, written for a step if `is_of_step`."""

    source: Bed
    is_of_step: bool
    mood: str
    start: Duration
    tempo_bpm: Fraction | None
    crossfade: Duration | None
    loop: bool
    gain_db: Fraction
    fades: Fades
    under_speech_db: Fraction

    @property
    def bpm(self) -> Fraction | None:
        """The tempo at which `32 counts` are counted; None where nobody told it."""
        return self.source.pulse if self.source.pulse is not None else self.tempo_bpm


def bed_settings(session: Session, part: Part | None, step: Step | None) -> BedSettings | None:
    """The bed of `step` in `part`; None where there is silence."""
    written = [level.bed for level in (session, part, step) if level is not None]
    chain: list[Bed] = []
    source: Bed | None = None
    # What says how files play goes with the files: another level's files have their own.
    own: list[Bed] = []
    for bed in written:
        if bed == "off":
            source = None
        elif bed is not None:
            chain.append(bed)
            if bed.names_music:
                source, own = bed, []
            own.append(bed)
    if source is None:
        return None
    return BedSettings(
        source,
        is_of_step=step is not None and source is step.bed,
        mood=_nearest(chain, "mood", DEFAULT_MOOD),
        start=_nearest(own, "start", Duration(Fraction(0))),
        tempo_bpm=_nearest(own, "tempo", None),
        crossfade=_nearest(own, "crossfade", None),
        loop=_nearest(own, "loop", True),
        gain_db=_nearest(chain, "gain", Fraction(0)),
        fades=_fades(chain, DEFAULT_FADE_IN if source.file else JOIN),
        under_speech_db=_nearest(chain, "under_speech", DEFAULT_UNDER_SPEECH_DB),
    )


def beds_without_music(session: Session) -> Iterator[Bed]:
    """What is written about a bed where no level says which music plays."""
    places = [(part, step) for part in session.parts for step in (None, *part.steps)]
    if _lacks_music(session.bed, session, places):
        yield session.bed
    for part in session.parts:
        if _lacks_music(part.bed, session, [(part, step) for step in (None, *part.steps)]):
            yield part.bed
        for step in part.steps:
            if _lacks_music(step.bed, session, [(part, step)]):
                yield step.bed


def _lacks_music(
    bed: Bed | Literal["off"] | None, session: Session, places: Iterable[tuple[Part, Step | None]]
) -> TypeGuard[Bed]:
    """Whether `bed` names no music, and none plays at any of the places that it holds for."""
    if not isinstance(bed, Bed) or bed.names_music:
        return False
    return not any(bed_settings(session, part, step) for part, step in places)


def _fades(chain: Iterable[Bed], default_fade_in: Duration) -> Fades:
    lengths = {"fade in": default_fade_in, "fade out": DEFAULT_FADE_OUT}
    places: dict[str, Place | None] = {}
    for bed in chain:
        for key, written in (("fade in", bed.fade_in), ("fade out", bed.fade_out)):
            if written is not None:
                lengths[key], places[key] = written.length, bed.place_of(key)
    longer = max(places, key=lambda key: lengths[key], default=None)
    return Fades(lengths["fade in"], lengths["fade out"], places[longer] if longer else None)


def _nearest(chain: Iterable[Bed], key: str, default: Any) -> Any:
    """The last word on `key`; a time as its length."""
    found = default
    for bed in chain:
        value = getattr(bed, key)
        if value is not None:
            found = value
    return getattr(found, "length", found)
