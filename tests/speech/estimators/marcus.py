"""A third P-centre estimator, which looks at no envelope: the lengths of a word's consonants and rhyme.

Marcus, "Acoustic determinants of perceptual center (P-center) location", Perception & Psychophysics 30
(1981), 247-256: P = 0.65 x + 0.25 y + k, where x is the time from the word's start to its vowel and y
from there to its end; k is arbitrary, because only differences can be heard (formula from memory and
second-hand). Fitted to the English digits one to nine, and said to hold for nothing else.

Where the vowel starts is told by the engine that made the word: eSpeak NG reports each phoneme as it
speaks. Run as a program: language, pace and a text → JSON. It is a process of its own because eSpeak NG
keeps state between phrases.
"""

from __future__ import annotations

import ctypes
import json
import subprocess
import sys
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

CONSONANT_WEIGHT, RHYME_WEIGHT = 0.65, 0.25
VOWELS = frozenset("aeiouyæøœɐɑɒɔəɚɛɜɪʊʌʏᵻ")
STRESS = "ˈˌ"

# espeak-ng/speak_lib.h
_SYNCHRONOUS, _RATE, _UTF8 = 2, 1, 1
_PHONEME_EVENTS, _PHONEME_IPA = 1, 2
_LIST_END, _PHONEME = 0, 7


class SpokenPhonemes(NamedTuple):
    """A word by eSpeak NG: samples at full scale 1.0, and each phoneme with the frame it starts at."""

    samples: NDArray[np.float64]
    phonemes: list[tuple[str, int]]

    @property
    def vowel_frame(self) -> int:
        """Where the first vowel starts."""
        return next(frame for name, frame in self.phonemes if name.strip(STRESS)[:1] in VOWELS)


def marcus_seconds(consonants_seconds: float, rhyme_seconds: float) -> float:
    """P without its k."""
    return CONSONANT_WEIGHT * consonants_seconds + RHYME_WEIGHT * rhyme_seconds


def spoken_phonemes(text: str, language: str, words_per_minute: int) -> SpokenPhonemes:
    """The phonemes of `text` as eSpeak NG speaks it."""
    command = [sys.executable, "-X", "utf8", __file__, language, str(words_per_minute), text]
    printed = subprocess.run(command, capture_output=True, check=True, timeout=60).stdout
    samples, phonemes = json.loads(printed)
    return SpokenPhonemes(np.array(samples) / 2**15, [(name, frame) for name, frame in phonemes])


class _Event(ctypes.Structure):
    _fields_ = (
        ("type", ctypes.c_int),
        ("unique_identifier", ctypes.c_uint),
        ("text_position", ctypes.c_int),
        ("length", ctypes.c_int),
        ("audio_position_ms", ctypes.c_int),
        ("sample", ctypes.c_int),
        ("user_data", ctypes.c_void_p),
        ("name", ctypes.c_char * 8),
    )


def _main(language: str, words_per_minute: str, text: str) -> None:
    import espeakng_loader

    espeak = ctypes.CDLL(espeakng_loader.get_library_path())
    data = espeakng_loader.get_data_path().encode()
    espeak.espeak_Initialize(_SYNCHRONOUS, 0, data, _PHONEME_EVENTS | _PHONEME_IPA)
    espeak.espeak_SetVoiceByName(language.encode())
    espeak.espeak_SetParameter(_RATE, int(words_per_minute), 0)
    phonemes: list[tuple[str, int]] = []
    spoken: list[int] = []

    @ctypes.CFUNCTYPE(ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.POINTER(_Event))
    def heard(samples: Sequence[int], count: int, events: Sequence[_Event]) -> int:
        spoken.extend(samples[:count])
        index = 0
        while events[index].type != _LIST_END:
            if events[index].type == _PHONEME and events[index].name:
                phonemes.append((events[index].name.decode(errors="replace"), events[index].sample))
            index += 1
        return 0

    espeak.espeak_SetSynthCallback(heard)
    said = text.encode() + b"\0"
    espeak.espeak_Synth(said, len(said), 0, 1, 0, _UTF8, None, None)
    espeak.espeak_Synchronize()
    print(json.dumps([spoken, phonemes]))


if __name__ == "__main__":
    _main(*sys.argv[1:])
