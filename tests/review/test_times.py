"""Holds, breathing, rests and changeovers against the published figures, on both sides of each limit."""

from __future__ import annotations

import pytest

from cuetrack.review.times import REST_BY_AIM, WORK_TO_REST
from tests.review.sessions import found_in

# NSCA, work to rest by the length of the work at full effort, as quoted second-hand: 5-10 s 1:12 to 1:20,
# 15-30 s 1:3 to 1:5, 1-3 min 1:3 to 1:4, more than 3 min 1:1 to 1:3.
NSCA = {(5, 10): (12, 20), (15, 30): (3, 5), (60, 180): (3, 4), (180, 24 * 3600): (1, 3)}
# NSCA, rest between sets, as quoted second-hand: strength and power 2-5 min, hypertrophy 30-90 s, muscular
# endurance 30 s or less.
NSCA_REST = {"strength": (120, 300), "power": (120, 300), "hypertrophy": (30, 90), "endurance": (0, 30)}


def test_the_tables_are_the_published_ones() -> None:
    assert {(a, b): (low, high) for a, b, low, high in WORK_TO_REST} == NSCA
    assert REST_BY_AIM == NSCA_REST


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        ("9.9", "hold it for 10 to 30 s"),
        ("10", None),
        ("30", None),
        ("30.1", "10 to 30 s do, unless your class is of older adults (30 to 60 s)"),
        ("60", "10 to 30 s do, unless your class is of older adults (30 to 60 s)"),
        ("60.1", "10 to 30 s do; for older adults 30 to 60 s"),
    ],
)
def test_static_stretches(seconds: str, said: str | None) -> None:
    """ACSM Guidelines, 11th edition, Table 5.6: 10-30 s; older adults 30-60 s."""
    found = [f for f in found_in("holds", f"{{move: Calf stretch, work: {seconds}s}}") if "5.6" in f.source]
    assert [finding.suggestion for finding in found] == ([said] if said else [])


def test_a_minute_in_all_for_each_stretch() -> None:
    """ACSM 2011, as quoted second-hand: 2-4 repetitions, 60 s in all for each."""
    sides = "{move: Calf stretch, work: 30s, sides: both, rest: 10s}"
    assert found_in("holds", sides, sides) == []
    found = found_in(
        "holds", sides, "{move: Chest opener, work: 20s}", "{move: Neck stretch, work: 30s}", sides
    )
    assert [finding.message for finding in found] == ["'Chest opener' 20 s, 'Neck stretch' 30 s in all"]
    (found_side,) = found_in("holds", sides)
    assert found_side.message == "'Calf stretch' 30 s a side in all"
    assert "ACSM 2011" in found_side.source


def test_a_dynamic_stretch_is_not_held() -> None:
    assert found_in("holds", "{move: Calf stretch, work: 2s, tags: [legs, stretch, dynamic]}") == []


@pytest.mark.parametrize(
    "step",
    [
        "{move: Plank, work: 30s, cues: [{at: 5s, say: Keep breathing.}]}",
        "{move: Plank, work: 30s, setup: Breathe out slowly.}",
        "{move: Plank, stages: [{stage: low, work: 9s, cues: [{at: 1s, say: Ruhig atmen.}]}]}",
        "{move: Push-up, work: 30s}",
    ],
)
def test_a_hold_in_which_breath_is_spoken_of(step: str) -> None:
    assert found_in("breathing", step) == []


@pytest.mark.parametrize(
    "step", ["{move: Plank, work: 30s, cues: [{at: 5s, say: Long back.}]}", "{move: Wall sit, work: 9s}"]
)
def test_a_hold_in_which_it_is_not(step: str) -> None:
    """AHA statement 2007, second-hand; wall squats: 171 ± 19 mmHg systolic (PMC5882444)."""
    (found,) = found_in("breathing", step)
    assert "171 ± 19 mmHg" in found.source
    assert "AHA" in found.source


@pytest.mark.parametrize(
    ("work", "rest", "span"),
    [
        (5, 59, "1 min to 1 min 40 s"),
        (5, 60, None),
        (10, 200, None),
        (10, 201, "2 min to 3 min 20 s"),
        (12, 1, None),  # between two rows of the table
        (20, 10, "1 min to 1 min 40 s"),
        (20, 60, None),
        (30, 151, "1 min 30 s to 2 min 30 s"),
        (45, 1, None),
        (60, 179, "3 min to 4 min"),
        (60, 240, None),
        (180, 539, "9 min to 12 min"),
        (181, 181, None),
        (240, 239, "4 min to 12 min"),
    ],
)
def test_rest_against_the_length_of_work_at_full_effort(work: int, rest: int, span: str | None) -> None:
    steps = (f"{{move: Row sprint, work: {work}s, rest: {rest}s}}", "{move: Sway, work: 10s}")
    found = found_in("rest", *steps)
    assert [f.suggestion.split("here ")[1].split(";")[0] for f in found] == ([span] if span else [])


def test_rest_is_judged_only_where_the_effort_is_said() -> None:
    steps = ("{move: Row, work: 20s, rest: 10s}", "{move: Sway, work: 45s}")
    assert found_in("rest", *steps) == []
    (found,) = found_in("rest", *steps, name="Intervals")
    assert found.message == "'Row': 20 s of work, 10 s of rest (1:0.5)"
    moderate = "{move: Row, work: 20s, rest: 10s, tags: [back, moderate]}"
    assert found_in("rest", moderate, steps[1], name="Intervals") == []


def test_rounds_are_told_once_and_easy_work_is_rest_itself() -> None:
    """After the last round the cool-down begins at once, or a stretch."""
    keys = "    rounds: 8\n    rest: 10s\n"
    assert len(found_in("rest", "{move: Fast feet, work: 20s}", name="Intervals", keys=keys)) == 1
    steps = ("{move: Fast feet, work: 20s, rest: 10s}", "{move: Calf stretch, work: 30s}")
    assert found_in("rest", *steps, name="Intervals") == []


def test_full_effort_that_a_tag_says_is_not_guessed() -> None:
    (by_name,) = found_in("rest", "{move: Row sprint, work: 20s, rest: 10s}", "{move: Sway, work: 10s}")
    tagged = "{move: Row, work: 20s, rest: 10s, tags: [back, full effort]}"
    (by_tag,) = found_in("rest", tagged, "{move: Sway, work: 10s}")
    assert (by_name.guessed, by_tag.guessed) == (True, False)


@pytest.mark.parametrize(
    ("aim", "rest", "said"),
    [
        ("strength", 119, "for strength 2 min to 5 min"),
        ("strength", 120, None),
        ("power", 301, "for power 2 min to 5 min"),
        ("hypertrophy", 29, "for hypertrophy 30 s to 1 min 30 s"),
        ("hypertrophy", 90, None),
        ("endurance", 30, None),
        ("endurance", 31, "for endurance 30 s or less"),
    ],
)
def test_rest_against_the_aim(aim: str, rest: int, said: str | None) -> None:
    steps = (f"{{move: Squat, work: 20s, rest: {rest}s, tags: [legs, {aim}]}}", "{move: Sway, work: 30s}")
    assert [found.suggestion for found in found_in("rest", *steps)] == ([said] if said else [])


@pytest.mark.parametrize(
    ("before", "after", "needed"),
    [
        ("move: Squat", "move: Plank", 15),
        ("move: Plank, cues: [{at: 1s, say: Breathe.}]", "move: Squat", 15),
        ("move: Seated twist", "move: Kneeling reach", 15),
        ("move: Squat", "move: Seated twist", 5),
        ("move: Squat", "move: Lunge, equipment: [band]", 5),
        ("move: Squat, equipment: [Band]", "move: Lunge, equipment: [band]", 0),
        ("move: Squat", "move: Floor reach, equipment: [band]", 20),
        ("move: Squat", "move: Reach", 0),
    ],
)
def test_changeovers(before: str, after: str, needed: int) -> None:
    """15 s down or up, 5 s for another position or new equipment: common practice, no source."""

    def told(rest: int) -> list[str]:
        steps = (f"{{{before}, work: 20s, rest: {rest}s}}", f"{{{after}, work: 20s}}")
        found = found_in("changeover", "{rest: 60s}", *steps, "{rest: 60s}")
        return [finding.suggestion for finding in found]

    assert told(needed) == []
    if needed:
        (suggestion,) = told(needed - 1)
        assert suggestion.startswith(f"{needed} s or more")


def test_a_changeover_says_what_there_is_to_do() -> None:
    steps = (
        "{move: Squat, work: 20s, rest: 4s}",
        "{move: Plank, work: 20s, equipment: [mat, band]}",
        "{rest: 60s}",
    )
    (found,) = found_in("changeover", *steps)
    assert found.message == "4 s from 'Squat' to 'Plank': standing to lying, take up the mat, band"
