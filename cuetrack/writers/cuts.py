"""What of a recording to keep → a cut list, as CSV and as OpenTimelineIO.

The parts stand in the order of the session; one after the other they are the session without pauses.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from cuetrack.tables.csv_writing import csv_bytes
from cuetrack.take.align import Alignment
from cuetrack.take.cuts import Cut
from cuetrack.writers.stamps import stamp_text

if TYPE_CHECKING:
    from opentimelineio.schema import Clip

_HEADINGS = (
    *("part", "recording_in", "recording_out", "in_frame", "out_frame", "sample_rate"),
    *("session_in", "session_out", "begins_in", "session_seconds_per_second", "session_missing_before"),
)
_VIDEO_ENDINGS = {".mov", ".mp4", ".m4v", ".mkv", ".avi", ".webm", ".mts", ".wmv"}


def cuts_csv(cuts: Sequence[Cut], alignment: Alignment) -> bytes:
    """A line a part to keep; frames are samples of the recording."""
    rows = [_row(number, cut, alignment) for number, cut in enumerate(cuts, 1)]
    return csv_bytes([_HEADINGS, *rows])


def _row(number: int, cut: Cut, alignment: Alignment) -> tuple[str, ...]:
    rate_hz, expected = alignment.rate_hz, alignment.expected
    opens, closes = cut.recording_start_seconds, cut.recording_end_seconds
    begins_in = expected.phase_at(round(cut.programme_start_seconds * expected.rate_hz)).called
    return (
        *(
            str(number),
            _clock(opens),
            _clock(closes),
            str(round(opens * rate_hz)),
            str(round(closes * rate_hz)),
        ),
        *(str(rate_hz), _clock(cut.programme_start_seconds), _clock(cut.programme_end_seconds), begins_in),
        *(
            f"{1 + cut.rate_ppm / 1e6:.8f}",
            _clock(cut.missing_before_seconds) if cut.missing_before_seconds else "",
        ),
    )


def _clock(seconds: float) -> str:
    return stamp_text(round(1000 * max(0.0, seconds)))


def cuts_otio(cuts: Sequence[Cut], alignment: Alignment, recording: str) -> str:
    """An OpenTimelineIO file: the parts one after the other, from the file `recording`.

    A video has a track of each kind. Times have the recording's sample rate as their rate.
    """
    import opentimelineio as otio

    kinds = [otio.schema.TrackKind.Audio]
    if Path(recording).suffix.lower() in _VIDEO_ENDINGS:
        kinds.insert(0, otio.schema.TrackKind.Video)
    tracks = [
        otio.schema.Track(
            name=kind.lower(), kind=kind, children=[_clip(cut, alignment, recording) for cut in cuts]
        )
        for kind in kinds
    ]
    edit = otio.schema.Timeline(name=alignment.expected.session, tracks=tracks)
    return str(otio.adapters.write_to_string(edit, "otio_json")) + "\n"


def _clip(cut: Cut, alignment: Alignment, recording: str) -> Clip:
    import opentimelineio as otio
    from opentimelineio.opentime import RationalTime, TimeRange

    rate_hz, expected = alignment.rate_hz, alignment.expected
    start, end = (round(at * rate_hz) for at in (cut.recording_start_seconds, cut.recording_end_seconds))
    whole = TimeRange(RationalTime(0, rate_hz), RationalTime(alignment.frames, rate_hz))
    media = otio.schema.ExternalReference(target_url=quote(os.fsencode(recording)), available_range=whole)
    name = expected.phase_at(round(cut.programme_start_seconds * expected.rate_hz)).called
    source = TimeRange(RationalTime(start, rate_hz), RationalTime(end - start, rate_hz))
    return otio.schema.Clip(name=name, media_reference=media, source_range=source)
