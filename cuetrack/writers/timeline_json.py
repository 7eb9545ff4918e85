"""Arrangement → the text of NAME.timeline.json: integer frames for every phase and cue.

Phases tile the whole file. `mark_frame` is the instant a cue is about; `start_frame` and `frames` are
where its sound lies. Captions, chapters, sheets and checks all read these numbers.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from math import isfinite
from typing import TYPE_CHECKING, Any

from cuetrack.conform.arrangement import Arrangement, Placed
from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.cues import kind_of
from cuetrack.timeline.phases import Phase

if TYPE_CHECKING:
    from cuetrack.mix.audible import Heard
    from cuetrack.mix.mastering import Loudness

CONTRACT_VERSION = 1
# What a timeline's name ends with, behind the track's.
TIMELINE_ENDING = ".timeline.json"


def timeline_document(
    arrangement: Arrangement,
    mix: str = "class",
    heard: Sequence[Heard] = (),
    loudness: Loudness | None = None,
    speech: Mapping[str, Any] | None = None,
    has_bed: bool | None = None,
) -> dict[str, Any]:
    """The contract's fields as plain values, ready for JSON.

    Args:
        arrangement: what lies where in this mix.
        mix: its name.
        heard: how each cue is heard over the bed, for those that have one under them.
        loudness: of the whole, where it was measured.
        speech: who speaks and how, so that the words can be spoken again; None where nobody did.
        has_bed: whether music lies under the cues; None where nothing was mixed.
    """
    session, over = arrangement.timeline.session, {id(one.placed): one for one in heard}
    return {
        "cuetrack": CONTRACT_VERSION,
        "session": session.session,
        "sample_rate": arrangement.rate_hz,
        "frames": arrangement.frames,
        "mix": mix,
        "level": session.level,
        **(loudness_values(loudness) if loudness else {}),
        **({} if has_bed is None else {"bed": has_bed}),
        **({} if speech is None else {"speech": dict(speech)}),
        "phases": [_phase(phase, arrangement.rate_hz) for phase in arrangement.timeline.phases],
        "cues": [_cue(placed, over.get(id(placed)), arrangement.timeline) for placed in arrangement.placed],
    }


def timeline_text(
    arrangement: Arrangement,
    mix: str = "class",
    heard: Sequence[Heard] = (),
    loudness: Loudness | None = None,
    speech: Mapping[str, Any] | None = None,
    has_bed: bool | None = None,
) -> str:
    """The file's text: one line a phase and one a cue, so that two versions compare line by line."""
    document = timeline_document(arrangement, mix, heard, loudness, speech, has_bed)
    rows = {key: document.pop(key) for key in ("phases", "cues")}
    head = [f"{_json(key)}: {_json(value)}" for key, value in document.items()]
    lists = [f"{_json(key)}: [\n{_lines(values)}\n]" for key, values in rows.items()]
    return "{" + ",\n".join([", ".join(head), *lists]) + "}\n"


def _lines(values: list[dict[str, Any]]) -> str:
    return ",\n".join(f" {_json(value)}" for value in values)


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def _phase(phase: Phase, rate_hz: int) -> dict[str, Any]:
    start = phase.start.to_frame(rate_hz)
    return {
        "index": phase.index,
        "kind": phase.kind,
        "part": phase.part.part if phase.part else None,
        "round": phase.round,
        "move": phase.move.move if phase.move else None,
        "stage": phase.stage.stage if phase.stage else None,
        "side": phase.side,
        "start_frame": start,
        "frames": phase.end.to_frame(rate_hz) - start,
        "line": phase.place.line if phase.place else None,
    }


def loudness_values(loudness: Loudness) -> dict[str, float | None]:
    """The mastered loudness and the gain that led to it; null where there is no sound."""
    known = isfinite(loudness.integrated_lufs)
    return {
        "loudness_lufs": round(loudness.mastered_lufs, 2) if known else None,
        "gain_db": round(loudness.gain_db, 4),
    }


def _cue(placed: Placed, heard: Heard | None, timeline: Timeline) -> dict[str, Any]:
    cue, has_bed = placed.cue, heard is not None and isfinite(heard.over_bed_db)
    return {
        "kind": kind_of(cue),
        "text": placed.text,
        "name": placed.tone,
        "mark_frame": placed.mark_frame,
        "start_frame": placed.start_frame,
        "frames": placed.frames,
        "phase": cue.phase_index,
        "line": timeline.plan_line(cue.place),
        "tempo": str(placed.tempo) if placed.text is not None else None,
        "gain_db": placed.gain_db,
        "over_bed_db": round(heard.over_bed_db, 1) if heard and has_bed else None,
        "bed_lowered_db": round(heard.bed_lowered_db, 1) if heard and has_bed else None,
    }
