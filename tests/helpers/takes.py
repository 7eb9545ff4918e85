"""A programme of made-up sounds, and recordings of it in a made-up room, without a voice and quick to make.

The room is a direct sound and a tail of noise that dies away (Polack's model of late reverberation), so no
code of ours is on both sides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, sosfilt

from cuetrack.sound.tones import tone_samples
from cuetrack.take.expected import Expected, ExpectedCue, ExpectedPhase

RATE_HZ = 16_000
Signal = NDArray[np.float32]


def phrase(number: int, seconds: float) -> Signal:
    """Like speech in what matters here: band of a voice, syllables, no two alike."""
    chance = np.random.default_rng([number, 11])
    frames = round(seconds * RATE_HZ)
    syllables = np.repeat(chance.uniform(0.05, 1, frames // 2000 + 1), 2000)[:frames]
    band = butter(2, [200, 3200], "bandpass", fs=RATE_HZ, output="sos")
    spoken = sosfilt(band, chance.standard_normal(frames)) * syllables
    return (0.2 * spoken / np.abs(spoken).max()).astype(np.float32)


def programme(minutes: float = 4, seed: int = 0, *, with_words: bool = True) -> Expected:
    """Work and rest in turns: each work is announced, counted into by tones, and has a call in its middle."""
    sounds: dict[str, Signal] = {
        name: tone_samples(name, RATE_HZ) for name in ("count-short", "count-long", "call-soft")
    }
    cues: list[ExpectedCue] = []
    phases: list[ExpectedPhase] = []

    def add(kind: str, key: str, at: float) -> None:
        start, text = round(at * RATE_HZ), key if key.startswith("phrase") else None
        cues.append(
            ExpectedCue(
                kind, text, None if text else key, start, start, len(sounds[key]), len(phases), 1, key
            )
        )

    def add_phase(kind: str, name: str | None, start: float, end: float) -> None:
        first, last = round(start * RATE_HZ), round(end * RATE_HZ)
        phases.append(ExpectedPhase(len(phases), kind, "Circuit", 1, name, None, None, first, last - first))

    now, number = 0.0, 0
    while now + 40 <= minutes * 60:
        number += 1
        if with_words:
            for part, seconds in enumerate((2.2, 1.4)):
                sounds[f"phrase {number}.{part}"] = phrase(100 * seed + 10 * number + part, seconds)
            add("announcement", f"phrase {number}.0", now + 2)
        for second in (3, 2, 1):
            add("tone", "count-short", now + 15 - second)
        add_phase("rest", None, now, now + 15)
        add("tone", "count-long", now + 15)
        if with_words:
            add("call", f"phrase {number}.1", now + 27)
        add_phase("work", f"Move {number}", now + 15, now + 40)
        now += 40
    add("tone", "call-soft", now - 0.4)
    used = {cue.sound for cue in cues}
    cues.sort(key=lambda cue: cue.start_frame)
    kept = {key: samples for key, samples in sounds.items() if key in used}
    return Expected("Slipway", RATE_HZ, round(now * RATE_HZ), tuple(cues), tuple(phases), kept, False)


def reverberant(
    dry: Signal,
    rate_hz: int,
    level_db: float,
    reverberation: float = 0.4,
    direct_db: float = 0.0,
    seed: int = 1,
) -> Signal:
    """Sound as a room answers it, in noise; what the arguments mean is said at `take`."""
    chance = np.random.default_rng([seed, 5])
    tail = chance.standard_normal(round(reverberation * rate_hz))
    tail *= 10 ** (-3 * np.arange(len(tail)) / len(tail))
    tail[: round(0.003 * rate_hz)] = 0
    tail /= np.sqrt(np.sum(tail**2)) * 10 ** (direct_db / 20)
    tail[0] = 1.0
    wet = fftconvolve(dry, tail)[: len(dry)]
    loud = np.abs(wet) > 1e-3 * np.abs(wet).max()
    power = float(np.mean(wet[loud] ** 2))
    noise = chance.standard_normal(len(wet)) * np.sqrt(power) * 10 ** (-level_db / 20)
    heard = (wet + noise).astype(np.float32)
    heard *= 0.5 / np.abs(heard).max()
    return heard


@dataclass(frozen=True)
class Played:
    """What the loudspeaker plays from second to second of the programme, after a pause."""

    start: float
    end: float
    pause_before: float = 0.0


@dataclass(frozen=True)
class Take:
    """A recording, and for each piece that was played its recording times at the programme's times."""

    samples: Signal
    rate_hz: int
    offsets: tuple[float, ...]
    drift_ppm: float

    def recording_at(self, programme_seconds: float, piece: int = 0) -> float:
        """When something is really heard."""
        return (programme_seconds + self.offsets[piece]) * (1 + self.drift_ppm / 1e6)


def take(
    expected: Expected,
    *,
    played: tuple[Played, ...] = (),
    lead: float = 5.0,
    reverberation: float = 0.4,
    direct_db: float = 0.0,
    distance: float = 3.0,
    level_db: float = 20.0,
    drift_ppm: float = 0.0,
    rate_hz: int = 48_000,
    seed: int = 1,
) -> Take:
    """The programme in a room.

    Args:
        expected: the programme.
        played: the pieces of it that play one after the other; all of it if none.
        lead: seconds of the recording before the first.
        reverberation: seconds in which the room's tail falls by 60 dB.
        direct_db: the direct sound over the whole of the tail.
        distance: metres from the loudspeaker.
        level_db: the track over the noise, while it sounds.
        drift_ppm: by how much the recording's clock is too fast.
        rate_hz: of the recording.
        seed: of the noise and the room.
    """
    flight = distance / 343.0  # m/s, in air of 20 degrees
    whole = expected.cue_samples(0, expected.frames)
    pieces, offsets, at = [np.zeros(round(lead * RATE_HZ), np.float32)], [], lead
    for one in played or (Played(0.0, expected.seconds),):
        pieces.append(np.zeros(round(one.pause_before * RATE_HZ), np.float32))
        at += one.pause_before
        offsets.append(at - one.start + round(flight * RATE_HZ) / RATE_HZ)
        pieces.append(whole[round(one.start * RATE_HZ) : round(one.end * RATE_HZ)])
        at += one.end - one.start
    pieces.append(np.zeros(round(3 * RATE_HZ), np.float32))
    dry = np.concatenate(pieces)
    dry = np.concatenate([np.zeros(round(flight * RATE_HZ), np.float32), dry])
    heard = reverberant(dry, RATE_HZ, level_db, reverberation, direct_db, seed)
    samples = soxr.resample(heard, RATE_HZ, rate_hz * (1 + drift_ppm / 1e6))
    return Take(np.asarray(samples, np.float32), rate_hz, tuple(offsets), drift_ppm)
