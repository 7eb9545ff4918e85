"""What is left of a file when all that was found in it is taken away → extra sounds, and what lies in rests.

What is left belongs to nobody: an extra sound, or the noise of a codec, which lies under what it codes. How
strong that is, is learned from the file itself, second by second, so that a fault in a few seconds counts for
none of it. In a lossy file nothing softer than its codec's own noise can be told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from math import inf

import numpy as np
from numpy.typing import NDArray

from cuetrack.sound.units import db_to_linear, linear_to_db
from cuetrack.take.courses import Course, late_at
from cuetrack.take.expected import Expected, ExpectedCue, add
from cuetrack.take.locate import Located, located
from cuetrack.take.samples import Samples
from cuetrack.take.verification import Extra, VerifiedCue, VerifiedRest

Read = Callable[[int, int], Samples]
Levels = NDArray[np.float64]

# Nobody hears what is softer; dither of 16 bits lies at -93 dBFS.
_FLOOR_DBFS = -75.0
_FLOOR_POWER = 10 ** (_FLOOR_DBFS / 10)
_STEP_SECONDS = 0.01
# A codec's noise reaches so far before and behind what it codes, and then dies away by so much a step.
_SPREAD_SECONDS, _DECAY = 0.1, 10**-0.1
# The loudest noise of most seconds; the loudest of all is up to 26 dB louder (measured: four codecs, three
# qualities). But a sound as loud as what is planned near it never passes for noise.
_MOST_SECONDS, _OVER_NOISE, _MOST_SHARE = 0.75, 10**2.8, 0.5
# The limiter bent a cue a little at the place it was rendered for; so much of it may be left elsewhere.
_MOVED_SHARE = 0.3
# A change of a cue's level from which on it is taken away as loud as it was found.
_CHANGED_DB = 0.5
# Within so many steps of where a file was cut both sides are mixed.
_CUT_STEPS = 2
_JOINED_SECONDS = 0.1
_BLOCK_FRAMES = 1 << 18
# So many are compared with the cues, and with the phrases that are planned so near.
_MOST_NAMED, _NEAR_SECONDS = 100, 30
_EXTRA_LIKENESS, _LEAST_GAIN = 0.6, 0.45


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a file.

    `heard` reads it, `planned` the programme as loud as the file has it; both give float32, shape (frames,).
    `gain_linear` is how loud the file has the cues' own samples.
    """

    expected: Expected
    heard: Read
    frames: int
    planned: Read
    gain_linear: float
    found: tuple[VerifiedCue, ...]
    courses: tuple[Course, ...]


class Residue:
    """What is left of a file.

    `cues` are those that were known, some of the missing ones found elsewhere.
    """

    extras: tuple[Extra, ...]
    cues: tuple[VerifiedCue, ...]
    rests: tuple[VerifiedRest, ...]

    def __init__(self, known: Known) -> None:
        self._of, self._found = known, list(known.found)
        self._rate_hz = known.expected.rate_hz
        self._step = round(_STEP_SECONDS * self._rate_hz)
        self._moves = sorted(self._corrections(), key=lambda one: one[0])
        self._cuts = list(self._where_cut())
        left, planned, zero = self._levels()
        self.extras = self._named(list(self._regions(self._too_loud(left, planned), left)))
        self.cues = tuple(self._found)
        self.rests = tuple(self._rests(left, zero))

    def _corrections(self) -> Iterator[tuple[int, Samples, float]]:
        """For cues that are not as they were planned: what to add to the plan, and on which frame."""
        for one in self._found:
            usual = late_at(self._of.courses, one.cue.start_frame)
            if one.error_frames == usual and abs(one.level_db or 0.0) < _CHANGED_DB:
                continue
            sound = self._of.expected.sounds[one.cue.sound]
            yield one.cue.start_frame, sound, -self._of.gain_linear
            if one.error_frames is not None and one.level_db is not None:
                gain = self._of.gain_linear * db_to_linear(one.level_db)
                yield one.cue.start_frame + one.error_frames - usual, sound, gain

    def _where_cut(self) -> Iterator[int]:
        """The frame of the file at which each course but the first begins.

        It lies between two cues, where the one course explains what is before and the other what is behind.
        """
        for before, after in zip(self._of.courses, self._of.courses[1:], strict=False):
            last = max(
                (
                    one.cue.end_frame
                    for one in self._found
                    if one.found_frame is not None and one.cue.start_frame < after.from_frame
                ),
                default=0,
            )
            low, high = last + before.late_frames, after.from_frame + after.late_frames
            yield self._best_cut(low, high, before.late_frames, after.late_frames) if low < high else high

    def _best_cut(self, low: int, high: int, late_before: int, late_after: int) -> int:
        wrong: list[Levels] = []
        for start in range(low, high, _BLOCK_FRAMES // self._step * self._step):
            frames = min(_BLOCK_FRAMES // self._step * self._step, high - start)
            heard = self._of.heard(start, frames)
            powers = [
                _step_powers(heard - self._of.planned(start - late, frames), self._step)
                for late in (late_before, late_after)
            ]
            wrong.append(powers[0] - powers[1])
        gone_wrong = np.concatenate([[0.0], np.cumsum(np.concatenate(wrong))])
        least = gone_wrong.min()
        # Where nothing sounds every place is as good: the latest, where the first cue is that tells.
        best = int(np.flatnonzero(gone_wrong <= least + _FLOOR_POWER)[-1])
        return min(high, low + best * self._step)

    def _parts(self) -> Iterator[tuple[int, int, int]]:
        """First and last frame of the file, and how late, of each course."""
        bounds = [0, *self._cuts, self._of.frames]
        for course, first, last in zip(self._of.courses, bounds, bounds[1:], strict=False):
            yield max(0, first), max(0, last), course.late_frames

    def _levels(self) -> tuple[Levels, Levels, NDArray[np.bool_]]:
        """For each step: the power that is left, that is planned, and if none is, whether all is zero."""
        steps = -(-self._of.frames // self._step)
        left, planned, zero = np.zeros(steps), np.zeros(steps), np.ones(steps, bool)
        block = _BLOCK_FRAMES // self._step * self._step
        for start in range(0, self._of.frames, block):
            frames = min(block, self._of.frames - start)
            heard, plan = self._of.heard(start, frames), self._planned(start, frames)
            slots = slice(start // self._step, start // self._step - (-frames // self._step))
            left[slots] = _step_powers(heard - plan, self._step)
            planned[slots] = _step_powers(plan, self._step)
            zero[slots] = (_step_powers(heard, self._step) == 0) | (planned[slots] > 0)
        return left, planned, zero

    def _planned(self, start: int, frames: int) -> Samples:
        """What is known to be in the file between two of its frames."""
        made = np.zeros(frames, np.float32)
        for first, last, late in self._parts():
            low, high = max(start, first), min(start + frames, last)
            if low >= high:
                continue
            part = self._of.planned(low - late, high - low).copy()
            for at, sound, gain in self._moves:
                if at < high - late and at + len(sound) > low - late:
                    add(part, sound, at - (low - late), gain)
            made[low - start : high - start] = part
        return made

    def _too_loud(self, left: Levels, planned: Levels) -> NDArray[np.bool_]:
        """The steps in which more is left than the file's own noise."""
        near = _reach_of(planned)
        spread = 2 * round(_SPREAD_SECONDS / _STEP_SECONDS) + 1
        share = np.full(len(left), _noise_share(left, near))
        for at, sound, _ in self._moves:
            first = (at + late_at(self._of.courses, at)) // self._step - spread
            share[max(0, first) : max(0, first + len(sound) // self._step + 2 * spread)] = _MOVED_SHARE
        loud = np.asarray(left > np.maximum(_FLOOR_POWER, share * near))
        for cut in self._cuts:
            loud[max(0, cut // self._step - _CUT_STEPS) : cut // self._step + _CUT_STEPS + 1] = False
        return loud

    def _regions(self, loud: NDArray[np.bool_], left: Levels) -> Iterator[Extra]:
        joined = round(_JOINED_SECONDS / _STEP_SECONDS)
        steps = np.flatnonzero(loud)
        for group in np.split(steps, np.flatnonzero(np.diff(steps) > joined) + 1) if len(steps) else ():
            first, last = int(group[0]), int(group[-1]) + 1
            end = min(last * self._step, self._of.frames)
            level = linear_to_db(float(np.sqrt(left[first:last].max())))
            yield Extra(first * self._step, end - first * self._step, level, None)

    def _named(self, regions: list[Extra]) -> tuple[Extra, ...]:
        """The regions, those that are a missing cue turned into where that is."""
        kept: list[Extra] = []
        for extra in regions[:_MOST_NAMED]:
            index, place = self._missing_in(extra)
            if index is not None and place is not None:
                cue = self._found[index].cue
                error = place.frame - cue.start_frame
                level = linear_to_db(place.gain_linear / self._of.gain_linear)
                self._found[index] = VerifiedCue(cue, cue.mark_frame + error, error, level)
            else:
                kept.append(replace(extra, like=self._like(extra)))
        return (*kept, *regions[_MOST_NAMED:])

    def _missing_in(self, extra: Extra) -> tuple[int | None, Located | None]:
        missing = [index for index, one in enumerate(self._found) if one.found_frame is None]
        nearest = {
            self._found[index].cue.sound: index
            for index in sorted(missing, key=lambda index: -self._distance(extra, self._found[index].cue))
        }
        best, place, likeness = None, None, _EXTRA_LIKENESS
        for index in nearest.values():
            found = self._fits(extra, self._found[index].cue)
            if found is None or found.gain_linear < _LEAST_GAIN * self._of.gain_linear:
                continue
            if found.likeness > likeness:
                best, place, likeness = index, found, found.likeness
        return best, place

    def _distance(self, extra: Extra, cue: ExpectedCue) -> int:
        return abs(cue.start_frame + late_at(self._of.courses, cue.start_frame) - extra.start_frame)

    def _like(self, extra: Extra) -> str | None:
        far = _NEAR_SECONDS * self._rate_hz
        cues = {
            one.cue.sound: one.cue
            for one in self._found
            if one.cue.text is None or self._distance(extra, one.cue) <= far
        }
        fits = ((self._fits(extra, cue), cue.said) for cue in cues.values())
        likeness = [(found.likeness, said) for found, said in fits if found is not None]
        most, said = max(likeness, default=(0.0, ""))
        return said if most > _EXTRA_LIKENESS else None

    def _fits(self, extra: Extra, cue: ExpectedCue) -> Located | None:
        """Where in the file a cue's sound fits best to a region; None if it is no such sound."""
        sound = self._of.expected.sounds[cue.sound]
        if not len(sound) // 4 <= extra.frames <= 2 * len(sound) + 4 * self._step:
            return None
        start = extra.start_frame - len(sound) // 2 - self._step
        frames = extra.frames + 2 * len(sound) + 2 * self._step
        window = self._of.heard(start, frames) - self._planned(start, frames)
        found = located(window, sound, extra.start_frame - start, self._rate_hz)
        return replace(found, late_frames=start + found.late_frames)

    def _rests(self, left: Levels, zero: NDArray[np.bool_]) -> Iterator[VerifiedRest]:
        for phase in self._of.expected.phases:
            if phase.kind != "rest":
                continue
            late = late_at(self._of.courses, phase.start_frame)
            start, end = phase.start_frame + late, phase.end_frame + late
            steps = slice(max(0, -(-start // self._step)), max(0, end // self._step))
            loudest = float(np.sqrt(left[steps].max(initial=0.0)))
            extra = any(one.start_frame < end and one.start_frame + one.frames > start for one in self.extras)
            level = linear_to_db(loudest) if loudest > 0 else -inf
            yield VerifiedRest(phase, level, bool(zero[steps].all()), not extra)


def _step_powers(samples: Samples, step: int) -> Levels:
    """The mean square of each step; the last may be shorter."""
    steps = -(-len(samples) // step)
    padded = np.zeros(steps * step, np.float64)
    padded[: len(samples)] = samples
    return np.asarray(np.square(padded).reshape(-1, step).mean(axis=1))


def _reach_of(planned: Levels) -> Levels:
    """For each step the power of what is planned so near that its coding can be heard there."""
    from scipy.ndimage import maximum_filter1d

    if not len(planned):
        return planned
    near = np.maximum(maximum_filter1d(planned, 2 * round(_SPREAD_SECONDS / _STEP_SECONDS) + 1), 1e-30)
    fallen = np.arange(len(near)) * np.log(_DECAY)
    return np.asarray(np.exp(np.maximum.accumulate(np.log(near) - fallen) + fallen))


def _noise_share(left: Levels, near: Levels) -> float:
    """The power of a file's noise over that of what is planned near it, where it is highest."""
    share = np.where(near > _FLOOR_POWER, left / np.maximum(near, _FLOOR_POWER), -1.0)
    a_second = round(1 / _STEP_SECONDS)
    padded = np.full(-(-len(share) // a_second) * a_second, -1.0)
    padded[: len(share)] = share
    seconds = padded.reshape(-1, a_second).max(axis=1)
    seconds = seconds[seconds >= 0]
    usual = float(np.quantile(seconds, _MOST_SECONDS)) if len(seconds) else 0.0
    return min(_MOST_SHARE, _OVER_NOISE * usual)
