"""A track → recordings of it in simulated rooms, as files; and the truth about when everything is in them.

Rooms are shoeboxes by the image source method (Allen and Berkley, "Image method for efficiently simulating
small-room acoustics", 1979) of pyroomacoustics, an independent package that is imported only where a room is
made. Inside all is at `ROOM_HZ`; a file has its own rate and clock.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import imageio_ffmpeg
import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray
from scipy import signal
from scipy.ndimage import uniform_filter1d

from tests.helpers.takes import Played

ROOM_HZ = 16_000
SPEED_OF_SOUND = 343.0  # m/s in air of 20 degrees; pyroomacoustics takes the same
# pyroomacoustics places each image by a filter of 81 taps, which makes all of them so much later.
_FILTER_FRAMES = 40
# None stands nearer to a wall than this, in metres.
_FROM_WALL = 0.3
# Eyring's formula ("Reverberation time in 'dead' rooms", 1930) misses in a shoebox, where sound does not
# spread evenly: the walls are changed until the room is so near to what is wanted.
_REVERBERATION_OFF, _TRIES = 0.05, 5
# Echoes are followed until they have died away by 42 dB of the 60 that give the reverberation its name.
_FOLLOWED = 0.7
_SYLLABLE_FRAMES = ROOM_HZ * 12 // 100
# How loud a sample of the track is where it sounds, averaged over 50 ms.
_SOUNDS, _AROUND_FRAMES = 1e-4, ROOM_HZ // 20
# ffmpeg's own AAC, by its quick search: the other takes four times as long.
CODECS: Mapping[str, tuple[str, ...]] = {".mp3": ("libmp3lame",), ".m4a": ("aac", "-aac_coder", "fast")}

Signal = NDArray[np.float32]
Place = NDArray[np.float64]


@dataclass(frozen=True)
class Room:
    """What a recording is made with.

    `level_db` is the power of all that the loudspeaker plays as it arrives at the microphone, direct and as
    echoes, over that of the noise, both averaged over the time in which the track sounds and before the
    microphone. `drift_ppm` is by how much the recorder's clock is too fast, `ending` that of the file.
    """

    reverberation_seconds: float
    distance_metres: float
    level_db: float
    noise: str = "pink"
    drift_ppm: float = 0.0
    is_phone: bool = False
    has_gain_control: bool = False
    clips: bool = False
    rate_hz: int = 48_000
    ending: str = ".wav"
    seed: tuple[int, ...] = (1,)


@dataclass(frozen=True)
class RoomTake:
    """A recording and the truth: `offsets` say for each piece that was played by how much it is later.

    `reverberation_seconds` is what was measured in the room's impulse response.
    """

    path: Path
    played: tuple[Played, ...]
    offsets: tuple[float, ...]
    drift_ppm: float
    reverberation_seconds: float

    @property
    def rate_ppm(self) -> float:
        """How much faster the track's time runs than the recording's."""
        return (1 / (1 + self.drift_ppm / 1e6) - 1) * 1e6

    def recording_at(self, seconds: float, piece: int) -> float:
        """When a time of the track is in the recording."""
        return (seconds + self.offsets[piece]) * (1 + self.drift_ppm / 1e6)


def recorded_in_room(
    track: Signal, played: Sequence[Played], room: Room, folder: Path, lead_seconds: float = 5.0
) -> RoomTake:
    """A file in `folder`: pieces of the track, shape (frames,) at `ROOM_HZ`, one after the other."""
    chance = np.random.default_rng([7, *room.seed])
    dry, true, offsets = played_through(track, played, lead_seconds)
    answer, reverberation = room_answer(room, chance)
    wet = signal.oaconvolve(dry, answer)[: len(dry)].astype(np.float32)
    sounds = uniform_filter1d(np.abs(dry), _AROUND_FRAMES) > _SOUNDS
    noise = NOISES[room.noise](len(dry), chance)
    power, other = (float(np.mean(one[sounds].astype(np.float64) ** 2)) for one in (wet, noise))
    heard = wet + noise * np.float32(np.sqrt(power / other) * 10 ** (-room.level_db / 20))
    path = folder / f"room{room.ending}"
    write(path, through_microphone(heard, room), room)
    flight = room.distance_metres / SPEED_OF_SOUND
    return RoomTake(path, true, tuple(one + flight for one in offsets), room.drift_ppm, reverberation)


def played_through(
    track: Signal, played: Sequence[Played], lead_seconds: float
) -> tuple[Signal, tuple[Played, ...], tuple[float, ...]]:
    """What the loudspeaker plays; the pieces on whole frames, and by how much later each leaves it."""
    made, true, offsets = [np.zeros(round(lead_seconds * ROOM_HZ), np.float32)], [], []
    for one in played:
        first, last = round(one.start * ROOM_HZ), min(len(track), round(one.end * ROOM_HZ))
        made.append(np.zeros(round(one.pause_before * ROOM_HZ), np.float32))
        offsets.append((sum(map(len, made)) - first) / ROOM_HZ)
        true.append(Played(first / ROOM_HZ, last / ROOM_HZ, one.pause_before))
        made.append(track[first:last])
    made.append(np.zeros(3 * ROOM_HZ, np.float32))
    return np.concatenate(made), tuple(true), tuple(offsets)


def room_answer(room: Room, chance: np.random.Generator) -> tuple[Signal, float]:
    """The impulse response from loudspeaker to microphone, and its reverberation in seconds.

    That is measured as T30 (ISO 3382-2). Size and places are at random, and such that the distance fits in.
    """
    from pyroomacoustics.experimental import measure_rt60

    size = chance.uniform((5.5, 9.0, 2.6), (8.0, 11.0, 3.4))
    loudspeaker, microphone = _apart(size, room.distance_metres, chance)
    wanted, (length, width, height) = room.reverberation_seconds, size
    walls = 2 * (length * width + length * height + width * height)
    # Of sound's energy each wall leaves exp(-dead).
    dead = 24 * np.log(10) / SPEED_OF_SOUND * float(size.prod()) / walls / wanted
    for _ in range(_TRIES):
        answer = _image_sources(size, loudspeaker, microphone, 1 - np.exp(-dead), _FOLLOWED * wanted)
        measured = float(measure_rt60(answer, ROOM_HZ, decay_db=30))
        if abs(measured / wanted - 1) <= _REVERBERATION_OFF:
            break
        dead *= measured / wanted
    return answer, measured


def _image_sources(
    size: Place, loudspeaker: Place, microphone: Place, absorption: float, seconds: float
) -> Signal:
    """The impulse response of a room with walls of this absorption, followed for so many seconds."""
    import pyroomacoustics

    # So many times sound is thrown back at most between the two walls that are nearest to each other.
    order = int(np.ceil(SPEED_OF_SOUND * seconds / size.min()))
    shoebox = pyroomacoustics.ShoeBox(
        size,
        fs=ROOM_HZ,
        materials=pyroomacoustics.Material(absorption),
        max_order=order,
        air_absorption=True,
    )
    shoebox.add_source(loudspeaker)
    shoebox.add_microphone(microphone)
    shoebox.compute_rir()
    return np.asarray(shoebox.rir[0][0][_FILTER_FRAMES:], np.float32)


def _apart(size: Place, distance: float, chance: np.random.Generator) -> tuple[Place, Place]:
    """Two random places in a room that lie so far apart."""
    for _ in range(10_000):
        loudspeaker = chance.uniform(_FROM_WALL, size - _FROM_WALL)
        turn, rise = chance.uniform(0, 2 * np.pi), chance.uniform(-0.5, 0.5)
        flat = np.sqrt(distance**2 - rise**2)
        microphone = loudspeaker + np.array([flat * np.cos(turn), flat * np.sin(turn), rise])
        if (microphone > _FROM_WALL).all() and (microphone < size - _FROM_WALL).all():
            return loudspeaker, microphone
    raise ValueError(f"no two places in a room of {size} m are {distance} m apart")


def pink(frames: int, chance: np.random.Generator) -> Signal:
    """Noise whose power falls by 3 dB an octave."""
    from scipy import fft

    length = fft.next_fast_len(frames, real=True)
    spectrum = fft.rfft(chance.standard_normal(length, np.float32))
    spectrum /= np.sqrt(np.maximum(1, np.arange(len(spectrum), dtype=np.float32)))
    return np.asarray(fft.irfft(spectrum, length)[:frames], np.float32)


def speech_like(frames: int, chance: np.random.Generator) -> Signal:
    """Noise in the band and the rhythm of people who talk."""
    band = signal.butter(2, [200, 3500], "bandpass", fs=ROOM_HZ, output="sos")
    syllables = chance.gamma(0.6, 1.0, frames // _SYLLABLE_FRAMES + 2)
    loudness = np.interp(np.arange(frames) / _SYLLABLE_FRAMES, np.arange(len(syllables)), syllables)
    return np.asarray(signal.sosfilt(band, pink(frames, chance)) * loudness, np.float32)


def music_like(frames: int, chance: np.random.Generator) -> Signal:
    """Chords with overtones on a beat, and a drum with each."""
    made = np.zeros(frames, np.float32)
    beat = round(ROOM_HZ * 60 / chance.uniform(100, 135))
    seconds = np.arange(beat, dtype=np.float32) / ROOM_HZ
    fall, drum_fall = np.exp(-4 * seconds), np.exp(-100 * seconds[: ROOM_HZ // 20])
    overtones = np.arange(1, 8, dtype=np.float32)
    for start in range(0, frames, beat):
        length = min(beat, frames - start)
        for pitch_hz in 110 * 2 ** (chance.integers(0, 30, 3) / 12):
            turns = 2 * np.pi * np.float32(pitch_hz) * np.outer(overtones, seconds[:length])
            made[start : start + length] += fall[:length] * ((1 / overtones) @ np.sin(turns))
        struck = min(len(drum_fall), length)
        made[start : start + struck] += 3 * chance.standard_normal(struck) * drum_fall[:struck]
    return made


NOISES: Mapping[str, Callable[[int, np.random.Generator], Signal]] = {
    "music": music_like,
    "speech": speech_like,
    "pink": pink,
}


def through_microphone(heard: Signal, room: Room) -> Signal:
    """What a recorder makes of it: a telephone's band, a gain that follows the level, an input too loud."""
    if room.is_phone:
        band = signal.butter(4, [300, 3400], "bandpass", fs=ROOM_HZ, output="sos")
        heard = signal.sosfilt(band, heard).astype(np.float32)
    heard = heard / np.abs(heard).max()
    if room.has_gain_control:  # a time constant of 2 s
        share = 1 / (2 * ROOM_HZ)
        level = np.sqrt(signal.lfilter([share], [1, share - 1], heard.astype(np.float64) ** 2) + 1e-6)
        heard = (heard / level).astype(np.float32)
        heard = heard / np.abs(heard).max()
    if room.clips:  # 12 dB too loud
        heard = np.clip(4 * heard, -1, 1)
    return heard


def write(path: Path, heard: Signal, room: Room) -> None:
    """The file: 16-bit WAV, or what ffmpeg makes of that at 96 kbit/s."""
    samples = soxr.resample(heard, ROOM_HZ, room.rate_hz * (1 + room.drift_ppm / 1e6))
    plain = path.with_suffix(".wav")
    soundfile.write(plain, np.clip(samples, -1, 1), room.rate_hz, subtype="PCM_16")
    if path != plain:
        codec = ["-c:a", *CODECS[path.suffix], "-b:a", "96k"]
        command = [imageio_ffmpeg.get_ffmpeg_exe(), "-loglevel", "error", "-y", "-i", plain, *codec, path]
        subprocess.run(command, check=True)
        plain.unlink()
