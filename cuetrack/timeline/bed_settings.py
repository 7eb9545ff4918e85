"""The bed that holds at one place of a plan: session → part → step, the nearest word wins, key by key."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from cuetrack.plan.model import Bed, Part, Session, Step
from cuetrack.sound.pulse_moods import DEFAULT_MOOD
from cuetrack.timebase import Duration

# Music at least 10 LU under commentary; lay listeners want 4 LU more than experts (Torcoli and others,
# Journal of the Audio Engineering Society 67(12), 2019).
DEFAULT_UNDER_SPEECH_DB = Fraction(-14)
# Common practice, no source.
DEFAULT_CROSSFADE = Duration(Fraction(2))
DEFAULT_FADE_IN, DEFAULT_FADE_OUT = Duration(Fraction(1, 2)), Duration(Fraction(2))
# Where one music follows another at once, and before a pulse: keeps a downbeat, and does not click.
JOIN = Duration(Fraction(1, 100))


@dataclass(frozen=True, slots=True)
class BedSettings:
    """What plays at one place; `source` is the node that names it, `mood` and the rest go with it."""

    source: Bed
    mood: str
    start: Duration
    crossfade: Duration
    loop: bool
    gain_db: Fraction
    fade_in: Duration
    fade_out: Duration
    under_speech_db: Fraction

    @property
    def bpm(self) -> Fraction | None:
        """The tempo at which `32 counts` are counted; None where nobody told it."""
        return self.source.pulse if self.source.pulse is not None else self.source.tempo


def bed_settings(session: Session, part: Part | None, step: Step | None) -> BedSettings | None:
    """The bed of `step` in `part`; None where there is silence."""
    written = (level.bed for level in (session, part, step) if level is not None)
    chain: list[Bed] = []
    source: Bed | None = None
    for bed in written:
        if bed == "off":
            source = None
        elif bed is not None:
            chain.append(bed)
            source = bed if bed.pulse is not None or bed.file is not None else source
    if source is None:
        return None
    # What says how files play goes with the files: another level's files have their own.
    own = chain[chain.index(source) :]
    return BedSettings(
        source,
        mood=_nearest(chain, "mood", DEFAULT_MOOD),
        start=_nearest(own, "start", Duration(Fraction(0))),
        crossfade=_nearest(own, "crossfade", DEFAULT_CROSSFADE),
        loop=_nearest(own, "loop", True),
        gain_db=_nearest(chain, "gain", Fraction(0)),
        fade_in=_nearest(chain, "fade_in", DEFAULT_FADE_IN if source.file else JOIN),
        fade_out=_nearest(chain, "fade_out", DEFAULT_FADE_OUT),
        under_speech_db=_nearest(chain, "under_speech", DEFAULT_UNDER_SPEECH_DB),
    )


def beds_without_music(session: Session) -> Iterator[Bed]:
    """What is written about a bed where no level says which music plays."""
    if isinstance(session.bed, Bed) and not any(
        bed_settings(session, part, step) for part in session.parts for step in (None, *part.steps)
    ):
        yield session.bed
    for part in session.parts:
        if isinstance(part.bed, Bed) and not any(
            bed_settings(session, part, step) for step in (None, *part.steps)
        ):
            yield part.bed
        for step in part.steps:
            if isinstance(step.bed, Bed) and bed_settings(session, part, step) is None:
                yield step.bed


def _nearest(chain: Iterable[Bed], key: str, default: Any) -> Any:
    found = default
    for bed in chain:
        value = getattr(bed, key)
        if value is not None:
            found = value
    return getattr(found, "length", found)
