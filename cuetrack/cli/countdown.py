"""The live countdown of a preview in the terminal: now, next, seconds left, and what is being called.

It shows what holds at a frame of the programme. Which frame that is comes from the sound that is played, or
from the machine's clock at a chosen speed.
"""

from __future__ import annotations

import sys
import time
from bisect import bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

import click

from cuetrack.build_preview import Preview
from cuetrack.conform.arrangement import Arrangement, Placed
from cuetrack.timebase import frame_clock_text, frame_seconds
from cuetrack.writers.page_words import page_words
from cuetrack.writers.scenes import Scene, scene_title, scenes_of

if TYPE_CHECKING:
    from rich.console import RenderableType

# Four times a second is quick enough to read, and slow enough for a line far away.
_LOOKS_PER_SECOND = 4
# How long a call stays readable after it has been sounded.
_SHOWN_SECONDS = 1

# Where the preview is: a frame of it, or None when it is over.
Clock = Callable[[], int | None]


@dataclass(frozen=True, slots=True)
class Moment:
    """What the countdown shows at one frame; `called` is empty where nothing sounds."""

    clock: str
    now: str
    seconds_left: int
    next: str
    called: str


class Countdown:
    """The moments of an arrangement."""

    def __init__(self, arrangement: Arrangement) -> None:
        self._rate_hz, self._placed = arrangement.rate_hz, arrangement.placed
        self._scenes = scenes_of(arrangement)
        self._words = page_words(arrangement.timeline.session.language)
        self._scene_starts = [scene.start_frame for scene in self._scenes]
        self._sound_starts = [placed.start_frame for placed in arrangement.placed]

    def at(self, frame: int) -> Moment:
        """What holds at `frame` of the programme."""
        scene = self._scenes[bisect_right(self._scene_starts, frame) - 1]
        following = None if scene.following is None else self._scenes[scene.following]
        return Moment(
            clock=frame_clock_text(frame, self._rate_hz),
            now=scene_title(scene, self._words),
            seconds_left=ceil(frame_seconds(scene.end_frame - frame, self._rate_hz)),
            next=self._words["end"] if following is None else self._announced(following),
            called=self._called(frame),
        )

    def _announced(self, scene: Scene) -> str:
        needed = ", ".join(scene.equipment)
        return " — ".join(filter(None, (scene_title(scene, self._words), scene.setup, needed)))

    def _called(self, frame: int) -> str:
        """The latest sound that is heard, or was a moment ago."""
        index = bisect_right(self._sound_starts, frame) - 1
        if index < 0:
            return ""
        placed = self._placed[index]
        over = placed.start_frame + placed.frames + _SHOWN_SECONDS * self._rate_hz
        return _text(placed) if frame < over else ""


def _text(placed: Placed) -> str:
    return f"“{placed.text}”" if placed.text is not None else f"♪ {placed.tone}"


def machine_clock(
    frames: int, rate_hz: int, speed: float, now: Callable[[], float] = time.monotonic
) -> Clock:
    """A clock that begins when it is first asked, and runs `speed` times as fast as the machine's."""
    begun: list[float] = []

    def frame() -> int | None:
        if not begun:
            begun.append(now())
        at = int((now() - begun[0]) * speed * rate_hz)
        return at if at < frames else None

    return frame


def programme_frames(ready: Preview, clock: Clock) -> Iterator[int]:
    """The frames of the programme that the clock comes to; between two stretches that of the one to come."""
    while (at := clock()) is not None:
        index = max(0, bisect_right(ready.starts, at) - 1)
        inside = at - ready.starts[index]
        if inside >= ready.stretches[index].frames and index + 1 < len(ready.stretches):
            index, inside = index + 1, 0
        stretch = ready.stretches[index]
        yield stretch.start_frame + max(0, min(inside, stretch.frames - 1))


def show_countdown(ready: Preview, clock: Clock, sleep: Callable[[float], None] = time.sleep) -> None:
    """Shows the countdown until the clock is at its end: in place on a terminal, else a line a change."""
    countdown = Countdown(ready.arrangement)
    moments = (countdown.at(frame) for frame in programme_frames(ready, clock))
    if not sys.stdout.isatty():
        shown = ""
        for moment in moments:
            line = f"{moment.now} → {moment.next}"
            if line != shown:
                click.echo(f"{moment.clock:>7}  {moment.seconds_left:>4} s  {line}")
            shown = line
            sleep(1 / _LOOKS_PER_SECOND)
        return
    from rich.console import Console
    from rich.live import Live

    with Live(console=Console(), auto_refresh=False, transient=True) as live:
        for moment in moments:
            live.update(_panel(moment), refresh=True)
            sleep(1 / _LOOKS_PER_SECOND)


def _panel(moment: Moment) -> RenderableType:
    from rich.table import Table
    from rich.text import Text

    table = Table.grid(padding=(0, 2))
    table.add_row(Text("now"), Text(moment.now, style="bold"))
    table.add_row(Text("left"), Text(f"{moment.seconds_left} s", style="bold reverse"))
    table.add_row(Text("next"), Text(moment.next))
    table.add_row(Text("called"), Text(moment.called, style="italic"))
    table.add_row(Text("clock"), Text(moment.clock))
    return table
