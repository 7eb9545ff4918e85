"""The whole review: sums, what was guessed, what a plan accepts, and the short form."""

from __future__ import annotations

from pathlib import Path

import pytest

from cuetrack.plan.text import read_plan
from cuetrack.review.finding import FINDING_NAMES
from cuetrack.review.review import IN_SHORT, WorkTime, reviewed, short_form
from cuetrack.timeline.compile import compiled
from tests.helpers.plans import Plan, given_examples, plans, session_of
from tests.review.sessions import review_of

SAMPLES = sorted((Path(__file__).parents[2] / "samples").glob("*.yaml"))
LEGS = ("{move: Squat, work: 30s}", "{move: Lunge, work: 30s}", "{move: Step-up, work: 30s}")


def in_seconds(times: tuple[WorkTime, ...]) -> dict[str, tuple[int, float, float, float]]:
    return {t.name: (t.turns, *(float(x.seconds) for x in (t.work, t.left, t.right))) for t in times}  # type: ignore[misc]


def test_work_by_region_pattern_own_tag_and_move() -> None:
    review = review_of(
        "{move: Half-kneeling press, work: 20s, sides: both, rest: 9s}",
        "{move: Oar hold, work: 15s, tags: [back, core, grip]}",
        keys="    rounds: 2\n",
    )
    assert in_seconds(review.regions) == {
        "core": (2, 30, 0, 0),
        "back": (2, 30, 0, 0),
        "shoulders": (2, 80, 40, 40),
    }
    assert in_seconds(review.patterns) == {"push": (2, 80, 40, 40)}
    assert in_seconds(review.own) == {"grip": (2, 30, 0, 0)}
    assert in_seconds(review.moves)["Half-kneeling press"] == (2, 80, 40, 40)
    assert review.unknown == ("Easy sway",)
    assert review.guessed == ("Half-kneeling press",)


@given_examples(60)(plans())
def test_moves_add_up_to_the_work_and_every_finding_has_its_place_in_the_order(plan: Plan) -> None:
    review = reviewed(compiled(session_of(plan)))
    assert sum(move.work.seconds for move in review.moves) == review.whole.work.seconds
    order = [FINDING_NAMES.index(found.name) for found in review.findings]
    assert order == sorted(order)
    assert all(found.source and found.suggestion and found.message for found in review.findings)
    minutes = sum(time.length.seconds for time in review.energy.activities)
    assert minutes == sum(part.length.seconds for part in review.parts)


def test_an_accepted_finding_is_kept_with_its_reason_and_no_longer_open() -> None:
    assert [found.name for found in review_of(*LEGS).open] == ["order"]
    review = review_of(*LEGS, head="accepted: {order: leg day}\n")
    assert [(found.name, found.accepted) for found in review.findings] == [("order", "leg day")]
    assert review.open == ()
    assert review.warnings == ()


def test_accepting_what_is_not_there_is_told() -> None:
    review = review_of(*LEGS, head="accepted: {ordr: leg day, sides: one arm hurts}\n")
    assert [(one.message, one.hint) for one in review.warnings] == [
        ("no finding is called 'ordr'", "did you mean 'order'?"),
        ("'sides' is accepted, but not found", "remove it from `accepted`"),
    ]
    assert [one.place.line for one in review.warnings if one.place] == [2, 2]
    assert len(review.open) == 1


def test_a_tag_that_looks_misspelt_is_told_and_a_word_of_the_plans_own_is_not() -> None:
    review = review_of("{move: Oar drill, work: 30s, tags: [shoulder, sholders, band, grip]}")
    (warning,) = review.warnings
    assert (warning.severity, warning.hint) == ("warning", "did you mean 'shoulders'?")
    assert [own.name for own in review.own] == ["sholders", "band", "grip"]


def test_the_short_form_has_the_weightiest_and_counts_the_others() -> None:
    assert short_form(review_of("{move: Sway, work: 30s}")) == ()
    assert short_form(review_of(*LEGS)) == (
        "order: legs 3 times in a row in 'Main': 'Squat', 'Lunge', 'Step-up'; "
        "another region in between lets this one recover",
        "(the sources: cuetrack review; none of this is medical advice)",
    )
    many = (
        "{move: Plank, work: 9s}",
        "{move: Reach, sides: left, work: 9s}",
        "{move: Neck stretch, work: 9s}",
    )
    review = review_of(*LEGS, *many)
    *lines, pointer = short_form(review)
    assert [line.split(":")[0] for line in lines] == ["breathing", "sides", "changeover"]
    assert len(lines) == IN_SHORT
    assert pointer.startswith(f"({len(review.open) - IN_SHORT} more")


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_samples_are_safe_and_even(sample: Path) -> None:
    """Nothing that may hurt somebody, and no side longer than the other, is in what we show."""
    found = {finding.name for finding in reviewed(compiled(read_plan(sample))).open}
    assert found.isdisjoint({"breathing", "sides", "changeover"})
