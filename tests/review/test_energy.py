"""Energy: the Compendium's values, the two usual formulas, and which activity a phase is."""

from __future__ import annotations

import pytest

from cuetrack.review.energy import ACTIVITIES, energy_of, kcal_per_minute
from tests.review.sessions import timeline_of

# 2011 Compendium of Physical Activities, Ainsworth et al. 2011, Med Sci Sports Exerc 43(8):1575-1581, its
# table of codes and METs. 07040 and 17190 were read in copies of the table, the others in its data; copies
# have 11.0 or 12.3 for 02068, and we keep the lower.
COMPENDIUM_2011 = {
    "02020": 8.0,
    "02022": 3.8,
    "02024": 2.8,
    "02030": 3.5,
    "02035": 4.3,
    "02040": 8.0,
    "02052": 5.0,
    "02054": 3.5,
    "02068": 11.0,
    "02101": 2.3,
    "02105": 3.0,
    "02150": 2.5,
    "07040": 1.3,
    "17190": 3.5,
}


def test_the_values_are_the_published_ones() -> None:
    assert {code: activity.met for code, activity in ACTIVITIES.items()} == COMPENDIUM_2011


def test_the_usual_formulas() -> None:
    """8.0 MET, 70 kg, 20 min: 196.0 kcal by MET · 3.5 · kg / 200, 186.7 by MET · kg · h; both calculated."""
    assert kcal_per_minute(8.0, 70) * 20 == pytest.approx(196.0, abs=1e-9)
    timeline = timeline_of("{move: Jumping jacks, work: 20 min}")
    energy = energy_of(timeline, 70)
    by_name = {time.activity.code: time for time in energy.activities}
    assert by_name["02020"].met_minutes == 160
    sway = by_name["02030"].met_minutes
    assert energy.kcal - sway * 3.5 * 70 / 200 == pytest.approx(196.0)
    assert energy.kcal_by_hours - sway / 60 * 70 == pytest.approx(186.7, abs=0.05)


def test_energy_grows_with_the_weight() -> None:
    timeline = timeline_of("{move: Squat, work: 60s}")
    assert energy_of(timeline, 140).kcal == pytest.approx(2 * energy_of(timeline, 70).kcal)


@pytest.mark.parametrize(
    ("step", "code"),
    [
        ("{move: Push-ups, work: 60s}", "02022"),
        ("{move: Crunch, work: 60s}", "02024"),
        ("{move: Easy walking, work: 60s}", "17190"),
        ("{move: Arm circles, work: 60s}", "02030"),
        ("{move: Calf stretch, work: 60s}", "02101"),
        ("{move: Long breaths, work: 60s}", "07040"),
        ("{move: Rope skipping, work: 60s}", "02068"),
        ("{move: Squat, work: 60s, equipment: [kettlebell]}", "02052"),
        ("{move: Row, work: 60s, equipment: [dumbbells]}", "02054"),
        ("{move: Flow, work: 60s, tags: [yoga]}", "02150"),
        ("{move: Hundred, work: 60s, tags: [pilates, core]}", "02105"),
        ("{move: Drill, work: 60s, tags: [legs, vigorous]}", "02020"),
        ("{move: Drill, work: 60s, tags: [legs, moderate]}", "02022"),
        ("{move: Drill, work: 60s, tags: [legs, light]}", "02024"),
        ("{talk: 60s}", "07040"),
        ("{rest: 60s}", "07040"),
    ],
)
def test_the_activity_of_a_step(step: str, code: str) -> None:
    energy = energy_of(timeline_of(step), 70)
    minutes = {time.activity.code: time.length.seconds / 60 for time in energy.activities}
    expected = {"02030": 12, code: 1} if code != "02030" else {"02030": 13}
    assert minutes == expected


@pytest.mark.parametrize(
    ("name", "codes"),
    [
        ("Circuit", {"02035": 150, "07040": 30}),
        ("Interval circuit", {"02040": 120, "02035": 30, "07040": 30}),
        ("Yoga", {"02150": 60, "07040": 120}),
        ("Intervals", {"02020": 60, "07040": 120}),
        ("Main", {"07040": 120, "02030": 60}),
    ],
)
def test_the_part_tells_too_and_a_circuit_has_its_rests_in_it(name: str, codes: dict[str, int]) -> None:
    steps = (
        "{move: Reach, work: 30s, sides: both, change: 10s, rest: 50s}",
        "{talk: 30s}",
        "{rest: 30s}",
    )
    energy = energy_of(timeline_of(*steps, name=name), 70)
    seconds = {time.activity.code: time.length.seconds for time in energy.activities}
    assert seconds.pop("02030", 0) - codes.pop("02030", 0) == 720
    assert seconds == codes
