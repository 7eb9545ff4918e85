"""Where a programme runs in a recording → a picture of it, as PNG.

Above, the session's time over the recording's: one line where both run together, a step where the coach
paused, went back or skipped. Below, what of the recording belongs to the session, and which cues are heard.
"""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import TYPE_CHECKING

from cuetrack.take.align import Alignment
from cuetrack.take.cuts import Cut
from cuetrack.writers.picture import BLUE, DOTS_PER_INCH, ORANGE, SKY, set_clock
from cuetrack.writers.typeface import shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_WIDTH_INCHES, _HEIGHT_INCHES = 16.0, 7.5
_GREY = "#666666"
_KINDS = ("announcement", "call", "count", "prompt", "tone", "click", "slate")


def take_picture(alignment: Alignment, cuts: Sequence[Cut]) -> bytes:
    """The picture's file; the same alignment gives the same bytes."""
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    buffer = BytesIO()
    with mpl.rc_context({"font.family": "DejaVu Sans"}):
        figure = Figure(figsize=(_WIDTH_INCHES, _HEIGHT_INCHES), layout="constrained")
        FigureCanvasAgg(figure)
        times, kept, cues = figure.subplots(3, 1, sharex=True, height_ratios=[3, 0.7, 2])
        title = f"{shown(' '.join(alignment.expected.session.split()))}: the take"
        figure.suptitle(title, fontsize=15, fontweight="bold", x=0.01, ha="left", parse_math=False)
        times.set_xlim(0, alignment.seconds)
        _draw_times(times, alignment)
        _draw_kept(kept, alignment, cuts)
        _draw_cues(cues, alignment)
        set_clock(cues.xaxis, alignment.seconds)
        set_clock(times.yaxis, alignment.expected.seconds, most=9)
        cues.set_xlabel("recording")
        figure.savefig(buffer, format="png", dpi=DOTS_PER_INCH, metadata={"Software": None})
    return buffer.getvalue()


def _draw_times(axes: Axes, alignment: Alignment) -> None:
    """A line for each stretch, with how the clocks ran."""
    for one in alignment.stretches:
        recording = [one.recording_start_seconds, one.recording_end_seconds]
        programme = [one.programme_start_seconds, one.programme_end_seconds]
        axes.plot(recording, programme, color=BLUE, linewidth=3)
        is_late = recording[0] > 0.6 * alignment.seconds
        axes.annotate(
            f"{one.rate_ppm:+.1f} ppm, {len(one.heard)} of {len(one.cues)} cues",
            (sum(recording) / 2, sum(programme) / 2),
            # Beside the middle of its line, not on it: above a late one, below the others.
            xytext=(-12, 8) if is_late else (12, -8),
            textcoords="offset points",
            ha="right" if is_late else "left",
            va="bottom" if is_late else "top",
            fontsize=10,
            rotation=0,
            bbox={"facecolor": "#ffffff", "edgecolor": "none", "pad": 1.5},
        )
    axes.set_ylim(0, alignment.expected.seconds)
    axes.set_ylabel("session")
    axes.grid(color="#cccccc", linewidth=0.6)


def _draw_kept(axes: Axes, alignment: Alignment, cuts: Sequence[Cut]) -> None:
    """What the cut list keeps, and where nothing of the session is heard."""
    for start, end in alignment.gaps():
        axes.broken_barh([(start, end - start)], (0.1, 0.8), facecolor="none", edgecolor=_GREY, hatch="///")
    for cut in cuts:
        start, end = cut.recording_start_seconds, cut.recording_end_seconds
        axes.broken_barh([(start, end - start)], (0.1, 0.8), facecolor=SKY, edgecolor="#000000")
        axes.text((start + end) / 2, 0.5, "kept", ha="center", va="center", fontsize=10, clip_on=True)
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    axes.set_ylabel("cut list")


def _draw_cues(axes: Axes, alignment: Alignment) -> None:
    """Every cue of the stretches, a line a kind: filled where it is heard, an open ring where it is not."""
    expected = alignment.expected
    held = {cue.kind for cue in expected.cues}
    kinds = [kind for kind in reversed(_KINDS) if kind in held]
    for is_heard, colour, marker in ((True, BLUE, "|"), (False, ORANGE, "o")):
        points = [
            (one.line.recording_at(cue.start_frame / expected.rate_hz), kinds.index(cue.kind))
            for one in alignment.stretches
            for number in one.cues
            if (number in one.heard) == is_heard and (cue := expected.cues[number])
        ]
        if not points:
            continue
        seconds, rows = zip(*points, strict=True)
        if is_heard:
            axes.scatter(seconds, rows, s=90, marker=marker, label="heard", color=colour)
        else:
            axes.scatter(
                seconds, rows, s=40, marker=marker, label="not heard", edgecolors=colour, facecolors="none"
            )
    axes.set_yticks(range(len(kinds)), kinds)
    axes.set_ylim(-0.6, len(kinds) - 0.4)
    axes.grid(axis="x", color="#cccccc", linewidth=0.6)
    axes.legend(loc="upper right", ncols=2, framealpha=0.9)
