"""Where a programme runs in a recording → plain values for JSON, and a table of when each move began."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from cuetrack.tables.csv_writing import csv_bytes
from cuetrack.take.actual import ActualMove, Heard
from cuetrack.take.align import Alignment, Stretch
from cuetrack.take.expected import ExpectedCue

_HEADINGS = (
    *("move", "part", "round", "planned_start", "heard_start", "start_known_to", "late_by", "early_by"),
    *("planned_end", "heard_end", "end_known_to"),
)


def alignment_values(
    alignment: Alignment, recording: str, moves: Sequence[ActualMove] | None = None
) -> dict[str, Any]:
    """The whole answer; times in seconds, of the recording where nothing else is said."""
    expected = alignment.expected
    values: dict[str, Any] = {
        "passed": bool(alignment.stretches),
        "recording": recording,
        "session": expected.session,
        "sample_rate": alignment.rate_hz,
        "frames": alignment.frames,
        "reason": alignment.why,
        "stretches": [_stretch(one) for one in alignment.stretches],
        "not_heard_seconds": [[round(start, 3), round(end, 3)] for start, end in alignment.gaps()],
        "cues": [
            _cue(expected.cues[number], stretch, number in stretch.heard, expected.rate_hz)
            for stretch in alignment.stretches
            for number in stretch.cues
        ],
        "notes": list(alignment.notes),
    }
    if moves is not None:
        values["moves"] = [_move(one) for one in moves]
    return values


def _stretch(one: Stretch) -> dict[str, Any]:
    return {
        "recording_start_seconds": round(one.recording_start_seconds, 6),
        "recording_end_seconds": round(one.recording_end_seconds, 6),
        "programme_start_seconds": round(one.programme_start_seconds, 6),
        "rate_ppm": round(one.rate_ppm, 4),
        "confidence": round(one.confidence, 3),
    }


def _cue(cue: ExpectedCue, stretch: Stretch, is_heard: bool, rate_hz: int) -> dict[str, Any]:
    return {
        "kind": cue.kind,
        "text": cue.text,
        "name": cue.name,
        "phase": cue.phase,
        "line": cue.line,
        "recording_seconds": round(stretch.line.recording_at(cue.start_frame / rate_hz), 6),
        "mark_recording_seconds": round(stretch.line.recording_at(cue.mark_frame / rate_hz), 6),
        "heard": is_heard,
    }


def _move(one: ActualMove) -> dict[str, Any]:
    late = one.late_seconds
    return {
        "move": one.called,
        "part": one.part,
        "round": one.round,
        "planned_start_seconds": round(one.planned_start_seconds, 3),
        "planned_end_seconds": round(one.planned_end_seconds, 3),
        "start": _heard(one.start),
        "end": _heard(one.end),
        "late_seconds": None if late is None else round(late, 2),
    }


def _heard(one: Heard | None) -> dict[str, float] | None:
    if one is None:
        return None
    return {"seconds": round(one.seconds, 2), "within_seconds": round(one.within_seconds, 2)}


def actual_csv(moves: Sequence[ActualMove]) -> bytes:
    """A line a move: seconds of the recording; empty where the coach is not heard."""
    return csv_bytes([_HEADINGS, *(_row(one) for one in moves)])


def _row(one: ActualMove) -> tuple[str, ...]:
    late = one.late_seconds
    return (
        *(one.called, one.part or "", str(one.round or "")),
        *(f"{one.planned_start_seconds:.2f}", *_cells(one.start)),
        # Apart, since a spreadsheet takes what begins with a minus for a formula.
        *(
            "" if late is None or late < 0 else f"{late:.2f}",
            "" if late is None or late >= 0 else f"{-late:.2f}",
        ),
        *(f"{one.planned_end_seconds:.2f}", *_cells(one.end)),
    )


def _cells(one: Heard | None) -> tuple[str, str]:
    return ("", "") if one is None else (f"{one.seconds:.2f}", f"{one.within_seconds:.2f}")
