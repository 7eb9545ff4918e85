"""Arrangement and levels → a picture of the session on one time axis, as PNG or SVG.

From above: parts, phases with their moves, cues by kind, and the loudness of voice, tones and bed. Colours
are those of Okabe and Ito (2008, Color Universal Design), and everything that has one is named, too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from io import BytesIO
from itertools import groupby
from math import ceil
from typing import TYPE_CHECKING, Literal

from cuetrack.conform.arrangement import Arrangement
from cuetrack.timebase import Instant, clock_text, frame_clock_text, frame_seconds
from cuetrack.timeline.cues import kind_of
from cuetrack.writers.page_words import page_words
from cuetrack.writers.scenes import Scene, scenes_of
from cuetrack.writers.typeface import shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure
    from numpy import float64
    from numpy.typing import NDArray

PictureFormat = Literal["png", "svg"]

_WIDTH_INCHES, _HEIGHT_INCHES = 16.0, 6.4
DOTS_PER_INCH = 120
BLUE, SKY, ORANGE = "#0072b2", "#56b4e9", "#e69f00"
_YELLOW, _GREEN, _PURPLE = "#f0e442", "#009e73", "#cc79a7"
# As the player has them.
_PHASE_COLOURS = {"work": BLUE, "rest": SKY, "change": _PURPLE, "talk": _YELLOW, "lead-in": ORANGE}
_NAME_COLOURS = {"work": "#ffffff"}
_HATCHES = {"rest": None, "change": "///", "lead-in": "...", "talk": None, "work": None}
_CUE_KINDS = ("announcement", "call", "count", "prompt", "tone", "click", "slate")
_LEVELS = {"voice": BLUE, "tones": ORANGE, "bed": _GREEN}
_QUIETEST_LUFS = -60.0
_MOST_POINTS = 2400
_MOST_UPRIGHT = 21
# How many times the size of a letter two lines take.
_TWO_LINES = 2.8
_TICK_SECONDS, _MOST_TICKS = (1, 5, 10, 30, 60, 120, 300, 600, 1800, 3600), 20


def picture(arrangement: Arrangement, levels: Mapping[str, NDArray[float64]], kind: PictureFormat) -> bytes:
    """The picture's file; the same session gives the same bytes.

    Args:
        arrangement: what lies where.
        levels: momentary loudness in LUFS by `voice`, `tones` and `bed`, as `mix.levels` gives it; may be
            empty.
        kind: of the file.
    """
    import matplotlib as mpl

    buffer = BytesIO()
    with mpl.rc_context({"svg.hashsalt": "cuetrack", "svg.fonttype": "path", "font.family": "DejaVu Sans"}):
        figure = _drawn(arrangement, levels)
        undated = {"Date": None} if kind == "svg" else {"Software": None}
        figure.savefig(buffer, format=kind, dpi=DOTS_PER_INCH, metadata=undated)
    return buffer.getvalue()


def _drawn(arrangement: Arrangement, levels: Mapping[str, NDArray[float64]]) -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    session, rate_hz = arrangement.timeline.session, arrangement.rate_hz
    seconds = float(frame_seconds(arrangement.frames, rate_hz))
    figure = Figure(figsize=(_WIDTH_INCHES, _HEIGHT_INCHES), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.subplots(3, 1, sharex=True, height_ratios=[1.5, 1.5, 2])
    lasts = frame_clock_text(arrangement.frames, rate_hz)
    title = f"{shown(' '.join(session.session.split()))} · {lasts}"
    figure.suptitle(title, fontsize=15, fontweight="bold", x=0.01, ha="left", parse_math=False)
    phases, cues, loudness = axes
    phases.set_xlim(0, seconds)
    _draw_phases(phases, scenes_of(arrangement), page_words(session.language), rate_hz)
    _draw_cues(cues, arrangement)
    _draw_levels(loudness, levels)
    set_clock(loudness.xaxis, seconds)
    return figure


def _draw_phases(axes: Axes, scenes: Sequence[Scene], words: Mapping[str, str], rate_hz: int) -> None:
    """Parts as a band above, phases to scale below it, each with its name if there is room."""
    axes.set_ylim(0, 4)
    axes.set_yticks([])
    for spine in axes.spines.values():
        spine.set_visible(False)
    for part, group in groupby(scenes, key=lambda scene: (scene.part, scene.rounds)):
        some = list(group)
        if part[0] is None:
            continue
        start, end = some[0].start_frame / rate_hz, some[-1].end_frame / rate_hz
        axes.broken_barh([(start, end - start)], (3.1, 0.8), facecolor="#dddddd", edgecolor="#000000")
        rounds = f" · {words['rounds'].format(part[1])}" if part[1] > 1 else ""
        _label(axes, start, end, 3.5, f"{part[0]}{rounds}", points=11, bold=True)
    for scene in scenes:
        start, length = scene.start_frame / rate_hz, scene.frames / rate_hz
        colour, hatch = _PHASE_COLOURS[scene.kind], _HATCHES[scene.kind]
        axes.broken_barh(
            [(start, length)], (0, 3), facecolor=colour, edgecolor="#000000", linewidth=0.6, hatch=hatch
        )
    for _, group in groupby(scenes, key=lambda scene: (scene.first, scene.kind)):
        some = list(group)
        name = some[0].move if some[0].kind == "work" else words[some[0].kind]
        side = words[some[0].side] if some[0].side and some[0].kind == "work" else ""
        # Behind a name neither the borders of the stages that it stands across are drawn, nor hatches.
        is_crossed = len(some) > 1 or _HATCHES[some[0].kind] is not None
        background = _PHASE_COLOURS[some[0].kind] if is_crossed else None
        start, end = some[0].start_frame / rate_hz, some[-1].end_frame / rate_hz
        colour = _NAME_COLOURS.get(some[0].kind, "#000000")
        _label(axes, start, end, 1.5, name or "", side, points=9, colour=colour, background=background)


def _label(
    axes: Axes,
    start: float,
    end: float,
    middle: float,
    name: str,
    side: str = "",
    *,
    points: int,
    bold: bool = False,
    colour: str = "#000000",
    background: str | None = None,
) -> None:
    """A name in the middle of a stretch: across if it fits, else upright, with its side if there is room."""
    name, low, high = shown(" ".join(name.split())), *axes.get_xlim()
    points_wide = (end - start) / (high - low) * _WIDTH_INCHES * 72 * 0.93
    text = f"{name} · {side}" if side else name
    across = len(text) * points * 0.62 < points_wide
    if not across and (points_wide < points * 1.1 or bold):
        return
    if not across:
        points -= 1
        name = name if len(name) <= _MOST_UPRIGHT else f"{name[: _MOST_UPRIGHT - 1]}…"
        text = f"{name}\n{side}" if side and points_wide > points * _TWO_LINES else name
    axes.text(
        (start + end) / 2,
        middle,
        text,
        ha="center",
        va="center",
        fontsize=points,
        color=colour,
        fontweight="bold" if bold else "normal",
        rotation=0 if across else 90,
        parse_math=False,
        clip_on=True,
        bbox={"facecolor": background, "edgecolor": "none", "pad": 1.0} if background else None,
    )


def _draw_cues(axes: Axes, arrangement: Arrangement) -> None:
    """Every cue where it sounds, a line a kind."""
    rate_hz = arrangement.rate_hz
    held = {kind_of(one.cue) for one in arrangement.placed}
    kinds = [kind for kind in _CUE_KINDS if kind in held] or ["call"]
    for row, kind in enumerate(reversed(kinds)):
        spans = [
            (one.start_frame / rate_hz, one.frames / rate_hz)
            for one in arrangement.placed
            if kind_of(one.cue) == kind
        ]
        axes.broken_barh(spans, (row - 0.35, 0.7), facecolor=BLUE, edgecolor=BLUE, linewidth=0.8)
    axes.set_ylim(-0.6, len(kinds) - 0.4)
    axes.set_yticks(range(len(kinds)), list(reversed(kinds)))
    axes.grid(axis="x", color="#cccccc", linewidth=0.6)


def _draw_levels(axes: Axes, levels: Mapping[str, NDArray[float64]]) -> None:
    """Momentary loudness of each kind; silence is the floor."""
    import numpy as np

    from cuetrack.mix.levels import STEP_SECONDS

    for name, values in levels.items():
        colour = _LEVELS[name]
        # As many as the picture can show: the loudest of every few.
        together = max(1, ceil(len(values) / _MOST_POINTS))
        firsts = np.arange(0, len(values), together)
        heard = np.maximum.reduceat(values, firsts)
        times = firsts * STEP_SECONDS
        if name == "bed":
            audible = np.where(heard > _QUIETEST_LUFS, heard, np.nan)
            axes.plot(times, audible, color=colour, linewidth=1.0, label=name)
        else:
            heard = np.maximum(heard, _QUIETEST_LUFS)
            axes.fill_between(times, _QUIETEST_LUFS, heard, color=colour, alpha=0.75, linewidth=0, label=name)
    axes.set_ylim(_QUIETEST_LUFS, 0)
    axes.set_ylabel("LUFS, momentary")
    axes.grid(color="#cccccc", linewidth=0.6)
    if levels:
        axes.legend(loc="upper right", ncols=len(levels), framealpha=0.9)


def set_clock(axis: Axis, seconds: float, most: int = _MOST_TICKS) -> None:
    """Clock readings at whole, round times along an axis that counts seconds; about `most` of them."""
    step = next((one for one in _TICK_SECONDS if seconds / one <= most), _TICK_SECONDS[-1])
    ticks = [*range(0, int(seconds) + 1, step)]
    axis.set_ticks(ticks, [clock_text(Instant(Fraction(tick))) for tick in ticks])
