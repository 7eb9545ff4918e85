"""Plan file → a preview: the changeovers as a short sound file, and what a countdown on the screen shows."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from cuetrack import build
from cuetrack.conform.arrangement import Arrangement
from cuetrack.conform.stretches import Stretch, changeovers, where, within
from cuetrack.errors import Diagnostic, UsageError, did_you_mean
from cuetrack.plan.fields import MixName
from cuetrack.plan.series import Day
from cuetrack.timebase import Duration, Instant, duration_text
from cuetrack.timeline.phases import Phase

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from cuetrack.build_mixes import Balanced

NameOf = Callable[[Phase], str | None]

# Half an hour is then heard in about three minutes.
DEFAULT_AROUND = Duration(Fraction(1))


@dataclass(frozen=True, slots=True)
class Choice:
    """What of a session is previewed: names in any letters, times from the start; None for no limit.

    `around` is what is heard before and after each changeover; None hears everything.
    """

    around: Duration | None = DEFAULT_AROUND
    part: str | None = None
    move: str | None = None
    start: Duration | None = None
    end: Duration | None = None


@dataclass(frozen=True, slots=True)
class Preview:
    """A session that is ready to be heard and seen: `stretches` of it, one after the other."""

    compiled: build.Compiled
    arrangement: Arrangement
    stretches: tuple[Stretch, ...]
    starts: tuple[int, ...]
    frames: int
    balanced: Balanced
    warnings: tuple[Diagnostic, ...]

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """The sound of the preview: inside the stretches sample for sample that of the whole."""
        from cuetrack.mix.excerpt import excerpt

        programme, arrangement = self.balanced.programme, self.arrangement
        return excerpt(
            self.balanced.mastered(),
            self.stretches,
            rate_hz=arrangement.rate_hz,
            frames=arrangement.frames,
            width=programme.width,
        )


def preview(
    plan: Path,
    choice: Choice,
    *,
    mix: MixName = "class",
    rate_hz: int = build.DEFAULT_RATE_HZ,
    channels: int = 2,
    level: str | None = None,
    voice: str | None = None,
    day: Day | None = None,
    allow_outside: bool = False,
    progress: build.Progress | None = None,
) -> Preview:
    """The preview of a plan: spoken and mixed as a render would be.

    Raises:
        PlanError: mistakes in the plan, or speech that does not fit.
        SpeechError: a phrase cannot be spoken.
        UsageError: nothing is left by what `choice` says, or it names what is not there.
    """
    from cuetrack.mix.excerpt import excerpt_starts

    tell = progress or build.silent
    known = build.compile_plan(
        plan, level=level, voice=voice, mixes=(mix,), day=day, allow_outside=allow_outside
    )
    notes: list[Diagnostic] = []
    arrangement, sounds = build.sounded(known, rate_hz, notes, tell)
    (one,) = build.balanced_mixes(known, arrangement, sounds, (mix,), channels, tell)
    own = one.programme.arrangement
    stretches = chosen_stretches(own, choice)
    starts, frames = excerpt_starts(stretches, rate_hz, own.frames)
    warnings = (*known.warnings, *arrangement.warnings, *notes, *one.notes)
    return Preview(known, own, stretches, starts, frames, one, tuple(dict.fromkeys(warnings)))


def chosen_stretches(arrangement: Arrangement, choice: Choice) -> tuple[Stretch, ...]:
    """What of an arrangement is heard.

    Raises:
        UsageError: see `preview`.
    """
    whole, rate_hz = Stretch(0, arrangement.frames), arrangement.rate_hz
    around = choice.around
    found = (
        (whole,) if around is None else changeovers(arrangement, Instant(around.seconds).to_frame(rate_hz))
    )
    in_part = _called(arrangement, "part", choice.part, lambda phase: phase.part.part if phase.part else None)
    in_move = _called(arrangement, "move", choice.move, lambda phase: phase.move.move if phase.move else None)
    for limits in (_times(arrangement, choice), in_part, in_move):
        if limits is not None:
            found = within(found, limits)
    if not found:
        raise UsageError("nothing is left to hear; widen --around, --from, --to, --part or --move")
    return found


def _times(arrangement: Arrangement, choice: Choice) -> tuple[Stretch, ...]:
    start, end = choice.start or Duration(Fraction(0)), choice.end
    first = Instant(start.seconds).to_frame(arrangement.rate_hz)
    last = arrangement.frames if end is None else Instant(end.seconds).to_frame(arrangement.rate_hz)
    if first >= min(last, arrangement.frames):
        lasts = duration_text(arrangement.timeline.end - Instant(Fraction(0)))
        raise UsageError(f"--from has to lie before --to, and before the end of the session, {lasts}")
    return (Stretch(first, min(last, arrangement.frames)),)


def _called(
    arrangement: Arrangement, what: str, name: str | None, name_of: NameOf
) -> tuple[Stretch, ...] | None:
    """The phases to which `name_of` gives this name, in any letters; None if no name is asked for."""
    if name is None:
        return None
    known = dict.fromkeys(filter(None, map(name_of, arrangement.timeline.phases)))
    if not any(_same(name, one) for one in known):
        raise UsageError(f"there is no {what} {name!r} in this plan; {did_you_mean(name, known)}")
    return where(arrangement, lambda phase: _same(name_of(phase) or "", name))


def _same(one: str, other: str) -> bool:
    return one.casefold() == other.casefold()


def refuse_target(
    plan: Path,
    target: Path,
    rate_hz: int = build.DEFAULT_RATE_HZ,
    *,
    allow_outside: bool = False,
    home: Path | None = None,
) -> None:
    """Tells before any work is done that a preview cannot be written to `target`.

    Raises:
        UsageError: its ending or the rate cannot be, or it is the plan itself.
        WriteError: it is a link that leads out of `home`, the plan's folder if None, and not `allow_outside`.
        MediaMissingError: the format needs what is not on this machine.
    """
    from cuetrack.writers.atomic import refuse_links_out
    from cuetrack.writers.encoder import refuse_unwritable
    from cuetrack.writers.formats import format_of, programme_rate_hz

    audio_format = format_of(target)
    refuse_unwritable(audio_format)
    if programme_rate_hz(audio_format, rate_hz) != rate_hz:
        raise UsageError(f"{audio_format.name} is not written at {rate_hz} Hz")
    build.refuse_own_plan(plan, target)
    if not allow_outside:
        refuse_links_out(home or plan.parent, [target])


def write_preview(ready: Preview, target: Path, progress: build.Progress | None = None) -> Path:
    """Writes the preview's sound; the ending of `target`, which `refuse_target` lets pass, picks the format.

    Raises:
        UsageError: it would replace a file that the plan uses.
        WriteError: the file cannot be written.
    """
    from cuetrack.writers.atomic import atomic_files
    from cuetrack.writers.audio import write_audio
    from cuetrack.writers.formats import format_of
    from cuetrack.writers.tags import Tags

    build.refuse_own_files(ready.compiled, target)
    tell = progress or build.silent
    with atomic_files(target) as (path,):
        write_audio(
            path,
            ready.blocks(),
            rate_hz=ready.arrangement.rate_hz,
            channels=ready.balanced.programme.channels,
            frames=ready.frames,
            audio_format=format_of(target),
            tags=Tags(ready.arrangement.timeline.session.session),
            progress=lambda done: tell("mixing and writing", done, ready.frames),
        )
    return target
