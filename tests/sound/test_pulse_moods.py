"""The moods as music: bars that are full, chords of one key, a phrase that ends like one."""

from __future__ import annotations

import subprocess
import sys
from itertools import pairwise

import pytest

from cuetrack.sound.pulse_moods import (
    BARS_A_CHORD,
    COUNTS,
    COUNTS_IN_BAR,
    DEFAULT_MOOD,
    MOODS,
    OCTAVE_ABOVE,
    STEPS_IN_COUNT,
    STRENGTHS_DB,
    Mood,
    Part,
)

MAJOR_SCALE = {0, 2, 4, 5, 7, 9, 11}
TRIADS = {(0, 4, 7), (0, 3, 7)}  # major, minor


def parts(mood: Mood) -> list[Part]:
    return [mood.kick, mood.snare, mood.hat, mood.bass]


def every(mood: Mood) -> set[int]:
    """All notes of a mood."""
    return {note for chord in mood.chords for note in (chord.bass, *chord.notes)}


def test_there_is_one_for_each_kind_of_work() -> None:
    assert len(MOODS) >= 4
    assert DEFAULT_MOOD in MOODS
    assert all(name.isalpha() and name.islower() for name in MOODS)
    assert len({mood.description for mood in MOODS.values()}) == len(MOODS)


@pytest.mark.parametrize("name", MOODS)
class TestEach:
    def test_bars_are_full(self, name: str) -> None:
        for part in parts(MOODS[name]):
            assert len(part.bar) == len(part.fill) == COUNTS_IN_BAR * STEPS_IN_COUNT
            assert set(part.bar + part.fill) <= {".", *STRENGTHS_DB}

    def test_only_the_bass_plays_an_octave_higher(self, name: str) -> None:
        mood = MOODS[name]
        assert all(OCTAVE_ABOVE not in part.bar + part.fill for part in (mood.kick, mood.snare, mood.hat))

    def test_chords_fill_the_phrase(self, name: str) -> None:
        assert len(MOODS[name].chords) * BARS_A_CHORD * COUNTS_IN_BAR == COUNTS

    def test_all_notes_belong_to_one_major_scale(self, name: str) -> None:
        notes = every(MOODS[name])
        assert any(all((note - tonic) % 12 in MAJOR_SCALE for note in notes) for tonic in range(12))

    def test_every_chord_is_a_triad_over_its_root(self, name: str) -> None:
        for chord in MOODS[name].chords:
            assert tuple(sorted((note - chord.bass) % 12 for note in chord.notes)) in TRIADS

    def test_chords_move_by_small_steps(self, name: str) -> None:
        """No voice leaps more than a fourth, around the seam too."""
        chords = [*MOODS[name].chords, MOODS[name].chords[0]]
        for before, after in pairwise(chords):
            assert before.notes != after.notes
            pairs = zip(before.notes, after.notes, strict=True)
            assert all(abs(left - right) <= 5 for left, right in pairs)

    def test_the_bass_lies_below_the_chords_and_above_what_rooms_play_badly(self, name: str) -> None:
        """E1, 41 Hz, is the lowest string of a bass (from memory)."""
        for chord in MOODS[name].chords:
            assert 28 <= chord.bass < min(chord.notes)

    def test_count_one_is_played_and_the_last_bar_is_another(self, name: str) -> None:
        mood = MOODS[name]
        assert mood.bass.bar[0] == "x"
        assert mood.kick.bar[0] in "x."
        assert any(part.bar != part.fill for part in parts(mood))


def test_the_names_cost_no_arrays() -> None:
    """A plan is checked against the names, and that loads no numpy."""
    code = "import sys, cuetrack.sound.pulse_moods; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
