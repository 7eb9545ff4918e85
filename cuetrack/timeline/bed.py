"""Phases → where which music plays: spans at exact instants, silence between them.

The built-in pulse puts count one of a phrase on the first work of each part. Files run on through the
parts, also unheard; a part that names files of its own begins with them. A step with music of its own
begins with it each time that it is done.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from cuetrack.errors import Place
from cuetrack.plan.model import Session
from cuetrack.timebase import Duration, Instant
from cuetrack.timeline.bed_settings import JOIN, BedSettings, bed_settings
from cuetrack.timeline.phases import Phase


@dataclass(frozen=True, slots=True)
class PulseSource:
    """The built-in bed; count one of a phrase falls on `anchor`, before which it may be heard too."""

    bpm: Fraction
    mood: str
    anchor: Instant


@dataclass(frozen=True, slots=True)
class FilesSource:
    """Files that follow each other, as the plan at `place` names them.

    The point `start` of the first sounds at `anchor`. Where one fades into the next, or the last into
    the first, lies a `crossfade` (None: the usual one, or less); with `bpm` it keeps the beat.
    """

    files: tuple[str, ...]
    start: Duration
    bpm: Fraction | None
    crossfade: Duration | None
    loop: bool
    anchor: Instant
    place: Place | None


@dataclass(frozen=True, slots=True)
class BedSpan:
    """A stretch with music, half-open on the programme axis; spans are in order and never overlap.

    Fades lie inside it. `gain_db` is beside the level that every source is brought to,
    `under_speech_db` the music's level against a voice.
    """

    start: Instant
    end: Instant
    source: PulseSource | FilesSource
    gain_db: Fraction
    fade_in: Duration
    fade_out: Duration
    under_speech_db: Fraction


def bed_spans(session: Session, phases: tuple[Phase, ...]) -> tuple[BedSpan, ...]:
    """The spans of the session's bed, in order; neighbours that play alike are one span."""
    spans = _joined(session, phases)
    neighbours = zip((None, *spans), spans, (*spans[1:], None), strict=False)
    return tuple(_with_fades(span, before, after) for before, span, after in neighbours)


def _joined(session: Session, phases: tuple[Phase, ...]) -> list[BedSpan]:
    """The spans before their fades fit each other; neighbours with one music and one level made one."""
    counts_from, files_from = _first_works(phases), dict[object, Instant]()
    spans: list[BedSpan] = []
    for phase in phases:
        # The lead-in belongs to the first part and the lead-out to the last.
        part = phase.part or (session.parts[0] if phase.kind == "lead-in" else session.parts[-1])
        settings = bed_settings(session, part, phase.step)
        if settings is None:
            continue
        key = (id(settings.source), settings.start, phase.turn if settings.is_of_step else None)
        anchor = files_from.setdefault(key, phase.start)
        if settings.source.pulse is not None and not settings.is_of_step:
            anchor = counts_from.get(id(part), anchor)
        span = _span(phase, settings, anchor)
        if spans and spans[-1].end == span.start and _alike(spans[-1], span):
            spans[-1] = replace(spans[-1], end=span.end)
        else:
            spans.append(span)
    return spans


def _first_works(phases: tuple[Phase, ...]) -> dict[int, Instant]:
    """By the part's identity, where its first work begins; where the part begins if it has none."""
    begins: dict[int, Instant] = {}
    works: dict[int, Instant] = {}
    for phase in phases:
        if phase.part is not None:
            begins.setdefault(id(phase.part), phase.start)
            if phase.kind == "work":
                works.setdefault(id(phase.part), phase.start)
    return begins | works


def _span(phase: Phase, settings: BedSettings, anchor: Instant) -> BedSpan:
    written = settings.source
    source: PulseSource | FilesSource
    if written.pulse is not None:
        source = PulseSource(written.pulse, settings.mood, anchor)
    else:
        place = written.place_of("file")
        source = FilesSource(
            written.file or (),
            settings.start,
            settings.tempo_bpm,
            settings.crossfade,
            settings.loop,
            anchor,
            place,
        )
    return BedSpan(
        phase.start,
        phase.end,
        source,
        settings.gain_db,
        settings.fade_in,
        settings.fade_out,
        settings.under_speech_db,
    )


def _alike(one: BedSpan, other: BedSpan) -> bool:
    return replace(one, start=other.start, end=other.end) == other


def _with_fades(span: BedSpan, before: BedSpan | None, after: BedSpan | None) -> BedSpan:
    """No fade where the same music goes on, a join where another follows; both fades fit the span."""
    fade_in, fade_out = span.fade_in, span.fade_out
    if before is not None and before.end == span.start:
        fade_in = Duration(Fraction(0)) if before.source == span.source else JOIN
    if after is not None and after.start == span.end:
        fade_out = Duration(Fraction(0)) if after.source == span.source else JOIN
    length, both = span.end - span.start, fade_in + fade_out
    if both > length:
        share = length.seconds / both.seconds
        fade_in, fade_out = fade_in * share, fade_out * share
    return replace(span, fade_in=fade_in, fade_out=fade_out)
