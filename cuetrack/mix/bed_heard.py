"""Bed spans and the sounds that play in them → the spans as far as there is music, and what to tell of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from cuetrack.errors import Diagnostic, Place
from cuetrack.mix.bed import BedSound
from cuetrack.mix.bed_sequence import FilesSound
from cuetrack.timebase import Duration, Instant, clock_text, frame_seconds
from cuetrack.timeline.bed import BedSpan, FilesSource, PulseSource, shortened_fades, until_ends

Sources = Mapping[PulseSource | FilesSource, BedSound]
# What a clock with tenths does not show is not early.
_EARLY = Duration(frame_seconds(1, 10))


def heard_spans(
    spans: Sequence[BedSpan], sounds: Sources, rate_hz: int
) -> tuple[tuple[BedSpan, ...], tuple[Diagnostic, ...]]:
    """The spans, cut where files that do not loop are over, and warnings on the coach's lines.

    Told are music that ends early, fades that it leaves no time for, and files that are silent.
    """
    ends = _ends(sounds, rate_hz)
    heard = until_ends(spans, ends)
    known = shortened_fades(spans)
    shortened = [note for note in shortened_fades(heard) if note not in known]
    return heard, tuple(dict.fromkeys([*_ends_early(spans, ends), *shortened, *_silent_files(sounds)]))


def _ends(sounds: Sources, rate_hz: int) -> dict[PulseSource | FilesSource, Instant]:
    """Where music ends by itself, on the programme axis."""
    return {
        source: Instant(frame_seconds(source.anchor.to_frame(rate_hz) + sound.frames, rate_hz))
        for source, sound in sounds.items()
        if isinstance(sound, FilesSound) and sound.frames is not None
    }


def _ends_early(
    spans: Sequence[BedSpan], ends: Mapping[PulseSource | FilesSource, Instant]
) -> Iterator[Diagnostic]:
    """One warning a line, for the first time that its music ends before the plan lets it end."""
    early: dict[Place | None, dict[FilesSource, Instant]] = {}
    for span in spans:
        source = span.source
        if isinstance(source, FilesSource) and source in ends and span.end - ends[source] >= _EARLY:
            early.setdefault(source.place, {})[source] = span.end
    for place, wanted in early.items():
        source, until = next(iter(wanted.items()))
        message = f"the music ends with its files at {clock_text(ends[source], 1)}, and silence follows"
        message += f" until {clock_text(until, 1)}"
        if len(wanted) > 1:
            more = len(wanted) - 1
            message += f"; this happens {'once' if more == 1 else f'{more} times'} more"
        yield Diagnostic("warning", message, place, "`loop: on` begins the files again; or name more files")


def _silent_files(sounds: Sources) -> Iterator[Diagnostic]:
    for source, sound in sounds.items():
        if isinstance(source, FilesSource) and isinstance(sound, FilesSound):
            for name in sound.silent_files:
                message = f"{name} is silent as far as it can be heard"
                yield Diagnostic("warning", message, source.place, "name another file")
