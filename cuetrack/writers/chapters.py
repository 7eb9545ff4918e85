"""Arrangement → chapters: one a move, beginning where it is announced; and their text for a video.

A listener who goes to a chapter hears what comes and the count into it, so a move's chapter begins with
the rest or the lead-in before it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, pairwise

from cuetrack.conform.arrangement import Arrangement
from cuetrack.timebase import frame_clock_text
from cuetrack.writers.page_words import page_words
from cuetrack.writers.scenes import Scene, scenes_of
from cuetrack.writers.stamps import frame_milliseconds

# ID3v2 Chapter Frame Addendum 1.0, section 3.2: the number of a table's entries has one byte.
MOST_CHAPTERS = 255
_PAUSES = {"lead-in", "rest", "change"}


@dataclass(frozen=True, slots=True)
class Chapter:
    """A named stretch, half-open in frames; chapters tile the programme, and the milliseconds do too."""

    title: str
    start_frame: int
    end_frame: int
    start_milliseconds: int
    end_milliseconds: int


def chapters_of(arrangement: Arrangement) -> tuple[Chapter, ...]:
    """One chapter a move in every round; one a round, or a part, where a file cannot hold so many."""
    scenes = scenes_of(arrangement)
    belonging = [_announced_in(scene, scenes) for scene in scenes]
    words = page_words(arrangement.timeline.session.language)

    def titled(name: str | None, scene: Scene) -> str:
        in_round = f" · {words['round'].format(scene.round, scene.rounds)}" if scene.rounds > 1 else ""
        return f"{name or scene.part or words['lead-in']}{in_round}"

    def by_move(scene: Scene) -> tuple[str, object]:
        return titled(scene.move, scene), scene.turn if scene.move else (scene.part, scene.round)

    def by_round(scene: Scene) -> tuple[str, object]:
        return titled(None, scene), (scene.part, scene.round)

    def by_part(scene: Scene) -> tuple[str, object]:
        return scene.part or words["lead-in"], scene.part

    found: list[tuple[str, int]] = []
    for naming in (by_move, by_round, by_part):
        found = list(_starts(scenes, belonging, naming))
        if len(found) <= MOST_CHAPTERS:
            break
    return tuple(_chapters(found[:MOST_CHAPTERS], arrangement.frames, arrangement.rate_hz))


def _announced_in(scene: Scene, scenes: Sequence[Scene]) -> Scene:
    """What a scene belongs to: a pause to what comes after it, at the end to what was before."""
    if scene.kind not in _PAUSES:
        return scene
    after = (one for one in scenes[scene.index :] if one.kind not in _PAUSES)
    before = (one for one in reversed(scenes[: scene.index]) if one.kind not in _PAUSES)
    return next(chain(after, before), scene)


def _starts(
    scenes: Sequence[Scene], belonging: Sequence[Scene], naming: Callable[[Scene], tuple[str, object]]
) -> Iterator[tuple[str, int]]:
    """The title and the first frame of each stretch of scenes that belong to one thing."""
    before: object = None
    for scene, about in zip(scenes, belonging, strict=True):
        name = naming(about)
        if name != before:
            yield name[0], scene.start_frame
        before = name


def _chapters(starts: Sequence[tuple[str, int]], frames: int, rate_hz: int) -> Iterator[Chapter]:
    for (title, start), (_, end) in pairwise([*starts, ("", frames)]):
        yield Chapter(title, start, end, frame_milliseconds(start, rate_hz), frame_milliseconds(end, rate_hz))


def chapters_text(chapters: Sequence[Chapter], rate_hz: int) -> str:
    """A line a chapter, `1:05 Title`, as a video's description has them, cut to whole seconds."""
    clocks = (frame_clock_text(one.start_frame, rate_hz) for one in chapters)
    titles = (" ".join(one.title.split()) for one in chapters)
    return "".join(f"{clock} {title}\n" for clock, title in zip(clocks, titles, strict=True))
