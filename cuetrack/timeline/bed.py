"""Phases → where which music plays: spans at exact instants, silence between them.

The built-in pulse puts count one of a phrase on the first work of each part. Files run on through the
parts, also unheard; a part that names files of its own begins with them. A step with music of its own
begins with it each time that it is done.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor

from cuetrack.errors import Diagnostic, Place
from cuetrack.plan.model import Session
from cuetrack.timebase import Duration, Instant, clock_text, duration_text
from cuetrack.timeline.bed_settings import JOIN, BedSettings, Fades, bed_settings
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

    Fades lie inside it, `asked` being those of the plan. `gain_db` is beside the level that every source
    is brought to, `under_speech_db` the music's level against a voice.
    """

    start: Instant
    end: Instant
    source: PulseSource | FilesSource
    gain_db: Fraction
    fade_in: Duration
    fade_out: Duration
    under_speech_db: Fraction
    asked: Fades


def bed_spans(session: Session, phases: tuple[Phase, ...]) -> tuple[BedSpan, ...]:
    """The spans of the session's bed, in order; neighbours that play alike are one span."""
    return _with_fades(_joined(session, phases))


def until_ends(
    spans: Sequence[BedSpan], ends: Mapping[PulseSource | FilesSource, Instant]
) -> tuple[BedSpan, ...]:
    """The spans as far as there is music: `ends` says where it is over that ends by itself.

    What is cut ends with the fade out that the plan asks for.
    """
    heard = (span for span in spans if ends.get(span.source, span.end) > span.start)
    cut = [replace(span, end=min(span.end, ends.get(span.source, span.end))) for span in heard]
    return _with_fades(cut)


def shortened_fades(spans: Sequence[BedSpan]) -> tuple[Diagnostic, ...]:
    """A warning on each line of the plan that asks for longer fades than there is music, where least is."""
    tightest: dict[Place, tuple[BedSpan, Duration]] = {}
    for span, *wanted in _wanted_fades(spans):
        both, place = wanted[0] + wanted[1], span.asked.place
        if place is None or both <= _length(span):
            continue
        if place not in tightest or _length(span) < _length(tightest[place][0]):
            tightest[place] = span, both
    return tuple(_shortened(place, span, both) for place, (span, both) in tightest.items())


def _shortened(place: Place, span: BedSpan, both: Duration) -> Diagnostic:
    lasts = duration_text(Duration(Fraction(floor(_length(span).seconds * 10), 10)))
    message = f"the music at {clock_text(span.start)} lasts {lasts}, too little for fades of "
    message += f"{duration_text(both)}; they are shortened to fit"
    return Diagnostic("warning", message, place, f"write shorter ones, at most {lasts} in and out together")


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
        settings.fades.fade_in,
        settings.fades.fade_out,
        settings.under_speech_db,
        settings.fades,
    )


def _alike(one: BedSpan, other: BedSpan) -> bool:
    return replace(one, start=other.start, end=other.end) == other


def _length(span: BedSpan) -> Duration:
    return span.end - span.start


def _with_fades(spans: Sequence[BedSpan]) -> tuple[BedSpan, ...]:
    """The spans with fades that fit each other and the span; both give way in proportion."""
    fitted = []
    for span, fade_in, fade_out in _wanted_fades(spans):
        both = fade_in + fade_out
        share = min(Fraction(1), _length(span).seconds / both.seconds) if both else Fraction(1)
        fitted.append(replace(span, fade_in=fade_in * share, fade_out=fade_out * share))
    return tuple(fitted)


def _wanted_fades(spans: Sequence[BedSpan]) -> Iterator[tuple[BedSpan, Duration, Duration]]:
    """Each span with its fades: none where the same music goes on, a join where another follows at once."""
    for before, span, after in zip((None, *spans), spans, (*spans[1:], None), strict=False):
        fade_in, fade_out = span.asked.fade_in, span.asked.fade_out
        if before is not None and before.end == span.start:
            fade_in = Duration(Fraction(0)) if before.source == span.source else JOIN
        if after is not None and after.start == span.end:
            fade_out = Duration(Fraction(0)) if after.source == span.source else JOIN
        yield span, fade_in, fade_out
