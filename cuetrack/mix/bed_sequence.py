"""Files that follow each other, once or in a loop → one sound without a seam.

Where one file gives way to the next, both are heard for a crossfade of equal power. With a tempo, one
begins a whole number of beats after the other: every start is rounded from its exact time, so the beat
is kept through any number of loops. A file that was cut to whole beats is joined end to start, as it was
made for, without a crossfade.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor, isfinite
from pathlib import Path

import numpy as np

from cuetrack.errors import Diagnostic, MediaMissingError, PlanError, SoundError
from cuetrack.mix.bed_files import BedSamples, FileReader, MeasuredFile, measured_file
from cuetrack.mix.bed_player import SequencePlayer, Turn
from cuetrack.sound.decoding import decoded_pieces
from cuetrack.sound.units import db_to_linear
from cuetrack.timebase import Duration, Instant, duration_text, seconds_text
from cuetrack.timeline.bed import FilesSource

# How much shorter or longer than whole beats a file may be that was cut to them: rounding to frames at
# the one end, what a lossy encoder appends at the other.
_CUT_SHORT, _CUT_LONG = Fraction(1, 1000), Fraction(5, 1000)
# A step at a join, or the end of the last file, is rounded off over this. Common practice, no source.
_ROUNDED = Duration(Fraction(1, 100))
# A loop up to this long is decoded once and kept: opening a file a thousand times takes its time.
_KEPT = Duration(Fraction(20))
# BS.1770-4: what is softer counts for nothing.
_SILENT_LUFS = -70.0
_SHORTEST = Duration(Fraction(1, 10))
# Where the plan says nothing. Common practice, no source.
USUAL_CROSSFADE = Duration(Fraction(2))


@dataclass(frozen=True, slots=True)
class _Join:
    """How a file gives way to the next: that begins `hop` frames after it, and fades over `crossfade`."""

    hop: Fraction
    crossfade: int


def files_sound(
    source: FilesSource, paths: Mapping[str, Path], rate_hz: int, channels: int, programme_frames: int
) -> FilesSound:
    """What plays `source`: its files read once, as far as they can be heard, and joined.

    Args:
        source: what the plan says.
        paths: by the names in the plan.
        rate_hz: of the programme.
        channels: 1 or 2.
        programme_frames: its length.

    Raises:
        PlanError: every file that is no sound or is damaged, or else the first that is too short to be
            joined, or else that nothing can be heard of them, at the coach's line.
        MediaMissingError: a file needs ffmpeg, which is not here.
    """
    start = Instant(source.start.seconds).to_frame(rate_hz)
    # A file that ends soon after the programme fades already before that.
    crossfade = USUAL_CROSSFADE if source.crossfade is None else source.crossfade
    most_frames = programme_frames + start + 2 * Instant(crossfade.seconds).to_frame(rate_hz)
    files: list[MeasuredFile] = []
    faults: list[Diagnostic] = []
    for index, name in enumerate(source.files):
        try:
            from_frame = start if index == 0 else 0
            files.append(measured_file(paths[name], rate_hz, channels, most_frames, from_frame))
        except MediaMissingError as error:
            raise MediaMissingError(f"{source.place}: {error}" if source.place else str(error)) from None
        except SoundError as error:
            faults.append(_fault(error, source))
    if faults:
        raise PlanError(dict.fromkeys(faults))
    try:
        sound = FilesSound(source, files, rate_hz, channels)
        if len(sound.silent_files) == len(files):
            names = " and ".join(dict.fromkeys(sound.silent_files))
            are = "is" if len(set(sound.silent_files)) == 1 else "are"
            raise SoundError(f"{names} {are} silent as far as it can be heard; name a file with music in it")
        return sound
    except SoundError as error:
        raise PlanError([_fault(error, source)]) from None


def _fault(error: SoundError, source: FilesSource) -> Diagnostic:
    message, _, hint = str(error).rpartition("; ")
    return Diagnostic("error", message, source.place, hint)


class FilesSound:
    """A `FilesSource` whose files have been measured, in its order.

    Raises:
        SoundError: a file is too short to be joined as the plan asks.
    """

    def __init__(
        self, source: FilesSource, files: Sequence[MeasuredFile], rate_hz: int, channels: int
    ) -> None:
        self._source, self._files = source, tuple(files)
        self._rate_hz, self._channels = rate_hz, channels
        self._joins = [self._join(index) for index in range(len(files))]
        self._kept: dict[int, BedSamples] = {}

    def loudness_lufs(self) -> float:
        """That of the loudest file, to which the others are brought."""
        return max(file.loudness_lufs for file in self._files)

    @property
    def silent_files(self) -> tuple[str, ...]:
        """The names of those of which nothing can be heard."""
        return tuple(file.path.name for file in self._files if file.loudness_lufs < _SILENT_LUFS)

    @property
    def frames(self) -> int | None:
        """How long it lasts from its anchor; None if it outlasts the programme."""
        if self._source.loop:
            return None
        *_, last = self._turns()
        return last.end

    def played(self) -> SequencePlayer:
        """From its beginning."""
        return SequencePlayer(self._turns(), self._opened, self._frames(_ROUNDED), self._channels)

    def _opened(self, turn: Turn) -> FileReader:
        """A reader of a turn's file, from where it begins to be heard."""
        return FileReader(self._pieces(turn.file), self._files[turn.file], self._from_frame(turn.file))

    def _gain(self, index: int) -> float:
        """What brings a file to the loudness of all."""
        by_db = self.loudness_lufs() - self._files[index].loudness_lufs
        return db_to_linear(by_db) if isfinite(by_db) else 1.0

    def _pieces(self, index: int) -> Generator[BedSamples, None, None]:
        if index not in self._kept:
            pieces = decoded_pieces(self._files[index].path, self._rate_hz, self._channels)
            if not self._source.loop or not self._is_short():
                yield from pieces
                return
            self._kept[index] = np.concatenate(list(pieces))
        yield self._kept[index]

    def _is_short(self) -> bool:
        """Whether all files together are short enough to be kept."""
        frames = [file.frames for file in self._files if file.frames is not None]
        return len(frames) == len(self._files) and sum(frames) <= self._frames(_KEPT)

    def _frames(self, length: Duration) -> int:
        return Instant(length.seconds).to_frame(self._rate_hz)

    def _from_frame(self, index: int) -> int:
        return self._frames(self._source.start) if index == 0 else 0

    def _join(self, index: int) -> _Join | None:
        """None where nothing follows within the programme, or nothing at all: a file that is played out."""
        file, source = self._files[index], self._source
        if file.frames is None:
            return None
        usable = file.frames - self._from_frame(index)
        if usable <= 0:
            lasts, start = self._text(file.frames), duration_text(source.start)
            message = f"{file.path.name} lasts {lasts}, and nothing is left after `start: {start}`"
            raise SoundError(f"{message}; begin earlier")
        if not source.loop and index == len(self._files) - 1:
            return None
        beat = None if source.bpm is None else 60 * self._rate_hz / source.bpm
        cut = beat and _whole_beats(usable, beat, self._rate_hz)
        if cut:
            return _Join(cut, 0)
        crossfade = self._crossfade(usable)
        hop = Fraction(usable - crossfade)
        if beat is not None:
            hop = floor(hop / beat) * beat
        if hop < max(crossfade, self._frames(_SHORTEST)):
            raise SoundError(self._too_short(index, usable, beat))
        return _Join(hop, crossfade)

    def _crossfade(self, usable: int) -> int:
        """As the plan says; else the usual one, or less where the file is short."""
        if self._source.crossfade is not None:
            return self._frames(self._source.crossfade)
        return min(self._frames(USUAL_CROSSFADE), usable // 4)

    def _too_short(self, index: int, usable: int, beat: Fraction | None) -> str:
        name, start = self._files[index].path.name, self._source.start
        cut = index == 0 and bool(start)
        lasts = f"{name} lasts {self._text(usable)}"
        if cut:
            lasts = f"{name} has {self._text(usable)} left after `start: {duration_text(start)}`"
        least = max(self._frames(_SHORTEST), beat or 0)
        if usable < least:
            needs = seconds_text(Fraction(least) / self._rate_hz)
            hint = "begin earlier" if cut else "name a longer file"
            return f"{lasts}, and it takes {needs} to join it; {hint}"
        room = "at most half of that" if beat is None else "so that whole beats as long are left"
        hint = f"write a shorter `crossfade:`, {room}" + (", or begin earlier" if cut else "")
        return f"{lasts}, too little for its crossfade of {self._text(self._crossfade(usable))}; {hint}"

    def _text(self, frames: int) -> str:
        """A length for a message, cut to hundredths of a second."""
        return duration_text(Duration(Fraction(frames * 100 // self._rate_hz, 100)))

    def _turns(self) -> Iterator[Turn]:
        """One file after the other; without end if it is a loop.

        Frames count from the anchor's frame, positions from its exact time: they are rounded once.
        """
        exact = self._source.anchor.seconds * self._rate_hz
        start = exact - self._source.anchor.to_frame(self._rate_hz)
        fade_in = 0
        while True:
            for index, (file, join) in enumerate(zip(self._files, self._joins, strict=True)):
                begin = Instant(start).to_frame(1)
                if join is None:
                    end = None if file.frames is None else begin + file.frames - self._from_frame(index)
                    yield Turn(index, self._gain(index), begin, end, fade_in, self._frames(_ROUNDED))
                    return
                start += join.hop
                end = Instant(start).to_frame(1) + join.crossfade
                yield Turn(index, self._gain(index), begin, end, fade_in, join.crossfade)
                fade_in = join.crossfade


def _whole_beats(usable: int, beat: Fraction, rate_hz: int) -> Fraction | None:
    """The beats that a file was cut to, in frames; None if it was not."""
    beats = floor(usable / beat + Fraction(1, 2))
    over = usable - beats * beat
    return beats * beat if beats and -_CUT_SHORT * rate_hz <= over <= _CUT_LONG * rate_hz else None
