"""The trade's plain words: every one is found again, by itself, in the plural and in a name."""

from __future__ import annotations

import pytest

from cuetrack.review.words import (
    COOL_DOWN,
    KIND_OF,
    KINDS,
    MOVES,
    WARM_UP,
    means_full_effort,
    names_one_of,
    plain,
    positions_in,
    speaks_of_breath,
    tag_word,
    words_in_name,
)


@pytest.mark.parametrize("kind", KINDS)
def test_every_word_and_what_else_it_is_called_is_a_tag(kind: str) -> None:
    for word, others in KINDS[kind].items():
        for written in (word, *others):
            assert tag_word(written) == tag_word(written.title()) == word
        assert KIND_OF[word] == kind


def test_no_word_means_two_things() -> None:
    written = [also for table in KINDS.values() for word, others in table.items() for also in (word, *others)]
    assert len(written) == len(set(written))


def test_moves_are_described_in_words_of_the_lists_and_found_as_they_are_written() -> None:
    for name, words in MOVES.items():
        assert plain(name) == name
        assert set(words) <= set(KIND_OF), name
        assert words_in_name(name) == words_in_name(f"Slow {name.title()}!") == words


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("Reverse lunges", ("legs", "lunge", "standing")),
        ("Half-kneeling press", ("kneeling", "shoulders", "push")),
        ("Chest press", ("chest", "push")),
        ("Back lunge", ("legs", "lunge", "standing")),
        ("Bench presses", ("chest", "push", "lying")),
        ("Thigh stretch", ("legs", "stretch")),
        ("Calves", ("legs",)),
        ("Calf raises", ("legs", "standing")),
        ("Wall push-ups", ("chest", "push", "standing")),
        ("Sit and stand", ("legs", "squat", "standing")),
        ("Arrow and throw", ()),
        ("Kniebeuge", ()),
        ("", ()),
    ],
)
def test_words_in_names(name: str, words: tuple[str, ...]) -> None:
    assert words_in_name(name) == words


@pytest.mark.parametrize(
    ("text", "positions"),
    [
        ("Stand tall, feet under hips.", ("standing",)),
        ("On your back, knees bent.", ("lying",)),
        ("Sit down, then stand.", ("seated", "standing")),
        ("On hands and knees.", ("kneeling",)),
        ("Understand this", ()),
    ],
)
def test_positions_in_a_setup(text: str, positions: tuple[str, ...]) -> None:
    assert positions_in(text) == positions


def test_effort_is_read_as_whole_words() -> None:
    assert means_full_effort("Short intervals")
    assert means_full_effort("All-out sprint")
    assert not means_full_effort("Sprinter stretch")
    assert not means_full_effort("Steady")


@pytest.mark.parametrize(
    ("text", "breath"),
    [
        ("Keep breathing.", True),
        ("Exhale on the way up.", True),
        ("Weiteratmen!", False),
        ("Ruhig atmen.", True),
        ("Respira.", True),
        ("Soufflez.", True),
        ("Expire lentement.", True),
        ("Hold it there.", False),
    ],
)
def test_words_for_breath_in_the_languages_of_plans(text: str, breath: bool) -> None:
    assert speaks_of_breath(text) is breath


def test_parts_are_known_by_whole_words() -> None:
    assert names_one_of("Gentle warm-up", WARM_UP)
    assert names_one_of("Aufwärmen am Kai", WARM_UP)
    assert names_one_of("COOL DOWN", COOL_DOWN)
    assert not names_one_of("Warm upper body", WARM_UP)
