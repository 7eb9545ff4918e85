"""Cues and the bed under them → how far each cue stands over it, and how far the bed goes down for that.

Speech is compared by K-weighted loudness (ITU-R BS.1770), over its own frames: the plan says how far it
has to stand over the bed. A tone, click or slate is compared with the bed's masked threshold, in octave
bands. The bed goes down for each as far as its rule needs, for speech at least as far as on average.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from cuetrack.conform.arrangement import Placed
from cuetrack.errors import Diagnostic
from cuetrack.mix.bed_files import BedSamples
from cuetrack.mix.blocks import BLOCK_FRAMES, Samples
from cuetrack.mix.ducking import Duck, DuckCurve
from cuetrack.sound.bands import over_masked_threshold_db, overlapping_levels_db
from cuetrack.sound.loudness import k_weighted_loudness_lufs
from cuetrack.sound.units import linear_to_db
from cuetrack.timebase import frame_clock_text

# Torcoli and others, Journal of the Audio Engineering Society 67(12), 2019: music at least 10 LU under
# commentary. A plan may ask for less, and its coach is told.
LEAST_SPEECH_LU = 10.0
# MIL-STD-1472E 5.3: 20 dB over the noise in at least one octave band.
TONE_RULE_DB = 20.0
# As good as off, the noise of 16 bits being 98 dB down: a cue that this does not help is told as it is.
LOWEST_GAIN_DB = -100.0
# What rounds to nothing is not missing.
_NOTHING = 0.05


@dataclass(frozen=True, slots=True)
class Heard:
    """How one cue is heard over the bed, the bed ducked; `over_bed_db` is infinite where there is none.

    In LU for speech, else in dB over the masked threshold. `bed_lowered_db` (zero or less) is the bed's gain
    under it, where it is highest.
    """

    placed: Placed
    over_bed_db: float
    rule_db: float
    bed_lowered_db: float

    @property
    def is_speech(self) -> bool:
        """Whether it is spoken."""
        return self.placed.text is not None

    @property
    def is_kept(self) -> bool:
        """Whether it stands over the bed as far as its rule says."""
        return self.over_bed_db >= self.rule_db - _NOTHING


@dataclass(frozen=True, slots=True)
class _Measured:
    """A cue against the bed at its own level, and by what the bed goes down under such a cue on average.

    `over_db` and `rule_db` are in the same unit; `over_db` is infinite where there is no bed.
    """

    placed: Placed
    over_db: float
    rule_db: float
    usual_db: float

    @property
    def duck(self) -> Duck:
        gain_db = 0.0
        if self.over_db < inf:
            gain_db = max(LOWEST_GAIN_DB, min(self.over_db - self.rule_db, self.usual_db))
        return Duck(self.placed.start_frame, self.placed.start_frame + self.placed.frames, gain_db)


def audible(
    placed: Sequence[Placed],
    sounds: Mapping[str, Samples],
    bed: Iterable[BedSamples | None],
    rate_hz: int,
    planned: Callable[[Placed], tuple[float, float]],
) -> tuple[tuple[Heard, ...], DuckCurve]:
    """Every cue of a mix over its bed, in the order of `placed`, and the ducking that makes it so.

    Reads the bed once, and keeps no more of it than lies under the cues that sound at one time.

    Args:
        placed: the cues, in the order of their starts.
        sounds: their samples.
        bed: its blocks of `BLOCK_FRAMES` at its own level, None where it is silent; as long as the cues.
        rate_hz: of all.
        planned: of a spoken cue, how far in LU it has to stand over the bed, and the gain in dB, zero or
            less, that brings the bed so far under a voice on average.

    Raises:
        ValueError: the bed ends before the last cue, which only a mistake in our own code makes it do.
    """
    levels = _Levels(sounds, rate_hz)
    over_db = dict(_over_bed(placed, bed, levels))
    measured = [_measured(one, over_db[index], planned) for index, one in enumerate(placed)]
    curve = DuckCurve((one.duck for one in measured), rate_hz)
    return tuple(_heard(one, curve) for one in measured), curve


def heard_notes(heard: Sequence[Heard], rate_hz: int) -> tuple[Diagnostic, ...]:
    """Warnings: cues that stay under their rule, and phrases for which a plan asks for less than is good."""
    unkept = [one for one in heard if not one.is_kept]
    kept_speech = [one for one in heard if one.is_kept and one.is_speech]
    close = [one for one in kept_speech if one.over_bed_db < LEAST_SPEECH_LU - _NOTHING]
    notes = []
    if unkept:
        message = "too soft to be heard over the music, which is as good as off there"
        hint = "it is nearly silent itself; record it anew, or say it in other words"
        notes.append(Diagnostic("warning", _told(unkept, message, rate_hz), None, hint))
    if close:
        message = f"less than {LEAST_SPEECH_LU:g} LU over the music, as `under speech:` asks"
        hint = f"write `under speech: -{LEAST_SPEECH_LU:g} dB` or lower, so that people follow easily"
        notes.append(Diagnostic("warning", _told(close, message, rate_hz), None, hint))
    return tuple(notes)


def _told(heard: Sequence[Heard], what: str, rate_hz: int) -> str:
    """What is so of one cue or of several, with the least clear of them."""
    least = min(heard, key=lambda one: one.over_bed_db)
    called = f"“{least.placed.text}”" if least.is_speech else f"♪ {least.placed.tone}"
    at = frame_clock_text(least.placed.start_frame, rate_hz, 1)
    figure = f"{called} at {at} with {least.over_bed_db:.1f} {'LU' if least.is_speech else 'dB'}"
    if len(heard) == 1:
        return f"{figure} is {what}"
    return f"{len(heard)} cues are {what}; the least clear is {figure}"


def _over_bed(
    placed: Sequence[Placed], bed: Iterable[BedSamples | None], levels: _Levels
) -> Iterator[tuple[int, float]]:
    """The place of each cue in `placed`, and how far it stands over the bed; in the order of their ends."""
    to_come = list(reversed(list(enumerate(placed))))
    sounding: list[tuple[int, Placed, list[BedSamples | int]]] = []
    for number, block in enumerate(bed):
        start, end = number * BLOCK_FRAMES, (number + 1) * BLOCK_FRAMES
        while to_come and to_come[-1][1].start_frame < end:
            sounding.append((*to_come.pop(), []))
        still_sounding = []
        for index, one, pieces in sounding:
            one_end = one.start_frame + one.frames
            first, last = max(start, one.start_frame), min(end, one_end)
            pieces.append(last - first if block is None else block[first - start : last - start])
            if one_end > end:
                still_sounding.append((index, one, pieces))
            else:
                yield index, levels.over_db(one, _joined(pieces))
        sounding = still_sounding
    if sounding or to_come:
        raise ValueError("the bed ends before the last cue")


def _joined(pieces: Sequence[BedSamples | int]) -> BedSamples | None:
    """The pieces as one, numbers being frames of silence; None if there is nothing else."""
    width = next((piece.shape[1] for piece in pieces if not isinstance(piece, int)), None)
    if width is None:
        return None
    return np.concatenate(
        [np.zeros((piece, width), np.float32) if isinstance(piece, int) else piece for piece in pieces]
    )


class _Levels:
    """The levels of cues, each sound measured once, against that of the bed."""

    def __init__(self, sounds: Mapping[str, Samples], rate_hz: int) -> None:
        self._sounds, self._rate_hz = sounds, rate_hz
        self._lufs: dict[str, float] = {}
        self._octaves_db: dict[str, NDArray[np.float64]] = {}

    def over_db(self, placed: Placed, under: BedSamples | None) -> float:
        """How far a cue stands over the bed under it, in the unit of its rule."""
        if under is None or not under.any():
            return inf
        if placed.text is not None:
            return self._loudness_lufs(placed.sound) - k_weighted_loudness_lufs(under, self._rate_hz)
        bed_db = overlapping_levels_db(under, self._rate_hz, excerpt=True)
        return over_masked_threshold_db(self._octaves(placed.sound), bed_db)

    def _loudness_lufs(self, sound: str) -> float:
        if sound not in self._lufs:
            self._lufs[sound] = k_weighted_loudness_lufs(self._sounds[sound], self._rate_hz)
        return self._lufs[sound]

    def _octaves(self, sound: str) -> NDArray[np.float64]:
        if sound not in self._octaves_db:
            self._octaves_db[sound] = overlapping_levels_db(self._sounds[sound], self._rate_hz)
        return self._octaves_db[sound]


def _measured(placed: Placed, over_db: float, planned: Callable[[Placed], tuple[float, float]]) -> _Measured:
    if placed.text is None:
        return _Measured(placed, over_db, TONE_RULE_DB, 0.0)
    return _Measured(placed, over_db, *planned(placed))


def _heard(one: _Measured, curve: DuckCurve) -> Heard:
    if one.over_db == inf:
        return Heard(one.placed, inf, one.rule_db, 0.0)
    # Another cue's ramp may lie in it: what counts is where the bed is loudest.
    gain_db = linear_to_db(float(np.max(curve.gain(one.placed.start_frame, one.placed.frames))))
    return Heard(one.placed, one.over_db - gain_db, one.rule_db, gain_db)
