"""Arrangement → markers for the edit: every phase and every cue, as CSV and as OpenTimelineIO.

Both count in samples of the cue track, so nothing is rounded to a video's frames; the CSV has a clock in
milliseconds beside them.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from typing import TYPE_CHECKING
from urllib.parse import quote

from cuetrack.conform.arrangement import Arrangement, Placed
from cuetrack.errors import MediaMissingError, how_to_add
from cuetrack.tables.csv_writing import csv_bytes
from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.cues import kind_of
from cuetrack.writers.page_words import page_words
from cuetrack.writers.scenes import Scene, scene_title, scenes_of
from cuetrack.writers.stamps import frame_milliseconds, stamp_text

if TYPE_CHECKING:
    from opentimelineio.schema import Marker as EditMarker

_HEADINGS = (
    *("kind", "name", "clock", "start_frame", "frames", "mark_frame", "sample_rate"),
    *("part", "round", "move", "stage", "side", "plan_line"),
)


@dataclass(frozen=True, slots=True)
class Marker:
    """One phase or one cue, and the scene it belongs to; `mark_frame` is the instant it is about."""

    kind: str
    name: str
    start_frame: int
    frames: int
    mark_frame: int
    scene: Scene
    line: int | None


def markers_of(arrangement: Arrangement) -> tuple[Marker, ...]:
    """All phases and cues by their starts, a phase before the cues that begin with it."""
    scenes, timeline = scenes_of(arrangement), arrangement.timeline
    words = page_words(timeline.session.language)
    phases = (
        Marker(one.kind, scene_title(one, words), one.start_frame, one.frames, one.start_frame, one, one.line)
        for one in scenes
    )
    cues = (_of_cue(placed, scenes, timeline) for placed in arrangement.placed)
    return tuple(sorted((*phases, *cues), key=lambda one: one.start_frame))


def _of_cue(placed: Placed, scenes: Sequence[Scene], timeline: Timeline) -> Marker:
    scene, line = scenes[placed.cue.phase_index], timeline.plan_line(placed.cue.place)
    name = " ".join((placed.text or placed.tone or "").split())
    kind = kind_of(placed.cue)
    return Marker(kind, name, placed.start_frame, placed.frames, placed.mark_frame, scene, line)


def markers_csv(markers: Sequence[Marker], rate_hz: int) -> bytes:
    """A line a marker; a spreadsheet opens it as it is."""
    rows = [_row(marker, rate_hz) for marker in markers]
    return csv_bytes([_HEADINGS, *rows])


def _row(marker: Marker, rate_hz: int) -> tuple[str, ...]:
    scene, clock = marker.scene, stamp_text(frame_milliseconds(marker.start_frame, rate_hz))
    numbers = (marker.start_frame, marker.frames, marker.mark_frame, rate_hz)
    texts = (scene.part, scene.round, scene.move, scene.stage, scene.side, marker.line)
    return (
        *(marker.kind, marker.name, clock, *map(str, numbers)),
        *("" if text is None else str(text) for text in texts),
    )


def refuse_without_otio() -> None:
    """Tells before any work is done that a file for editors cannot be written here.

    Raises:
        MediaMissingError: the extra `editor` is not installed.
    """
    if find_spec("opentimelineio") is None:
        needs = "a file for editors (OpenTimelineIO) needs opentimelineio, which is not here"
        raise MediaMissingError(f"{needs}; {how_to_add('editor')}")


def markers_otio(markers: Sequence[Marker], arrangement: Arrangement, sound: str) -> str:
    """An OpenTimelineIO file: one audio track with one clip, the file `sound`, and all markers on it.

    Times have the programme's sample rate as their rate.
    """
    import opentimelineio as otio
    from opentimelineio.opentime import RationalTime, TimeRange

    rate_hz, title = arrangement.rate_hz, arrangement.timeline.session.session
    whole = TimeRange(RationalTime(0, rate_hz), RationalTime(arrangement.frames, rate_hz))
    media = otio.schema.ExternalReference(target_url=quote(os.fsencode(sound)), available_range=whole)
    clip = otio.schema.Clip(name=title, media_reference=media, source_range=whole)
    clip.markers.extend(_edit_marker(marker, rate_hz) for marker in markers)
    track = otio.schema.Track(name="cue track", kind=otio.schema.TrackKind.Audio, children=[clip])
    edit = otio.schema.Timeline(name=title, tracks=[track])
    return str(otio.adapters.write_to_string(edit, "otio_json")) + "\n"


def _edit_marker(marker: Marker, rate_hz: int) -> EditMarker:
    from opentimelineio.opentime import RationalTime, TimeRange
    from opentimelineio.schema import Marker as EditMarker

    marked = TimeRange(RationalTime(marker.start_frame, rate_hz), RationalTime(marker.frames, rate_hz))
    about = {"kind": marker.kind, "mark_frame": marker.mark_frame, "phase": marker.scene.index}
    return EditMarker(name=marker.name, marked_range=marked, metadata={"cuetrack": about})
