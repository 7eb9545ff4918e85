"""Arrangement → what the player page knows of its session: whole frames and distinct texts, as plain values.

Scenes come as columns and their starts as lengths, so that even ten thousand of them stay small. What a
scene shows is a row of `states`, and every text stands once in `texts` and is named by its number there.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Any

from cuetrack.conform.arrangement import Arrangement
from cuetrack.timeline.cues import kind_of
from cuetrack.writers.scenes import Scene, scenes_of


def player_data(arrangement: Arrangement) -> dict[str, Any]:
    """The session as JSON values.

    Returns:
        `rate_hz` and `frames`; `texts`; `states`, each `[kind, part, rounds, move, stage, side, setup,
        equipment, easier, harder]` with numbers of texts, null where there is none; `scenes` with a column
        each for `frames`, `state`, `round` (0 outside of parts), `since` (how many scenes ago this began)
        and `ahead` (how many scenes until the next work that is another, 0 if there is none); `spoken` with
        columns `after` (frames since the start of the one before), `frames` and `text` (null for an
        announcement: the page shows in its time what it says); `tones`, each as frames since the one before.
        Clicks and slates are left out: they are no calls.
    """
    scenes, texts, states = scenes_of(arrangement), _Numbers(), _Numbers()
    spoken = [one for one in arrangement.placed if one.text is not None]
    tones = sorted({one.start_frame for one in arrangement.placed if kind_of(one.cue) == "tone"})
    return {
        "rate_hz": arrangement.rate_hz,
        "frames": arrangement.frames,
        "scenes": {
            "frames": [scene.frames for scene in scenes],
            "state": [states[_state(scene, texts)] for scene in scenes],
            "round": [scene.round or 0 for scene in scenes],
            "since": [scene.index - scene.first for scene in scenes],
            "ahead": [0 if scene.following is None else scene.following - scene.index for scene in scenes],
        },
        "spoken": {
            "after": list(_steps(one.start_frame for one in spoken)),
            "frames": [one.frames for one in spoken],
            "text": [None if kind_of(one.cue) == "announcement" else texts[one.text] for one in spoken],
        },
        "tones": list(_steps(tones)),
        "states": list(states),
        "texts": list(texts),
    }


class _Numbers(dict[Any, int]):
    """Values in the order of first use, each with its number."""

    def __missing__(self, value: Any) -> int:
        self[value] = len(self)
        return self[value]


def _state(scene: Scene, texts: _Numbers) -> tuple[Any, ...]:
    def number(text: str | None) -> int | None:
        return None if text is None else texts[text]

    return (
        scene.kind,
        number(scene.part),
        scene.rounds,
        *(number(text) for text in (scene.move, scene.stage, scene.side, scene.setup)),
        tuple(texts[name] for name in scene.equipment),
        *(number(text) for text in (scene.easier, scene.harder)),
    )


def _steps(positions: Iterable[int]) -> Iterator[int]:
    return (after - before for before, after in pairwise((0, *positions)))
