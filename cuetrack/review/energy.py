"""A timeline → the energy it may take: an estimate from published METs, a body weight and the time.

One MET is the use at rest. kcal a minute = MET · 3.5 · kg / 200, from 3.5 ml of oxygen per kg and minute
and 5 kcal a litre; the other usual formula, MET · kg · h, gives 4.8 % less. Both are gross: what the body
uses at rest is in them.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from cuetrack.plan.model import MoveStep, Part
from cuetrack.review.turns import About, Known, is_full_effort
from cuetrack.review.words import names_one_of, plain
from cuetrack.timebase import Duration
from cuetrack.timeline.compile import Timeline
from cuetrack.timeline.phases import Phase

USUAL_WEIGHT_KG = 70
COMPENDIUM = "2011 Compendium of Physical Activities (Ainsworth et al.)"


@dataclass(frozen=True, slots=True)
class Activity:
    """One row of the Compendium: its code, its MET, and what it is."""

    code: str
    met: float
    name: str


_ROWS = (
    Activity("02020", 8.0, "calisthenics, vigorous"),
    Activity("02022", 3.8, "calisthenics, moderate"),
    Activity("02024", 2.8, "calisthenics, light"),
    Activity("02030", 3.5, "calisthenics, light or moderate"),
    Activity("02035", 4.3, "circuit training, moderate"),
    Activity("02040", 8.0, "circuit training, vigorous"),
    Activity("02052", 5.0, "resistance training, squats"),
    Activity("02054", 3.5, "resistance training, several exercises"),
    # Copies of the table have 11.0 or 12.3; the lower one promises less.
    Activity("02068", 11.0, "rope skipping"),
    Activity("02101", 2.3, "stretching, mild"),
    Activity("02105", 3.0, "Pilates"),
    Activity("02150", 2.5, "Hatha yoga"),
    Activity("07040", 1.3, "standing quietly"),
    Activity("17190", 3.5, "walking, moderate"),
)
ACTIVITIES = {activity.code: activity for activity in _ROWS}
STANDING, USUAL = ACTIVITIES["07040"], ACTIVITIES["02030"]
_MODERATE_CIRCUIT, _VIGOROUS_CIRCUIT = ACTIVITIES["02035"], ACTIVITIES["02040"]

_BY_EFFORT = {"full effort": "02020", "vigorous": "02020", "moderate": "02022", "light": "02024"}
_BY_STYLE = {"rope skipping": "02068", "yoga": "02150", "pilates": "02105"}
_BY_PATTERN = {"stretch": "02101", "breathe": "07040", "jump": "02020"}
_BY_NAME = {
    ("push up", "push ups", "pull up", "pull ups", "lunge", "lunges"): "02022",
    ("sit up", "sit ups", "crunch", "crunches"): "02024",
    ("walk", "walking"): "17190",
}
_LOADS = ("dumbbell", "dumbbells", "barbell", "kettlebell", "kettlebells", "weights", "weight plate")


@dataclass(frozen=True, slots=True)
class ActivityTime:
    """How long one activity lasts in the session."""

    activity: Activity
    length: Duration

    @property
    def met_minutes(self) -> float:
        """MET times minutes."""
        return self.activity.met * float(self.length.seconds) / 60


@dataclass(frozen=True, slots=True)
class Energy:
    """The estimate for one person of `weight_kg`, and the activities it is made of, longest first."""

    weight_kg: float
    activities: tuple[ActivityTime, ...]

    @property
    def met_minutes(self) -> float:
        """MET times minutes, over all parts."""
        return sum(time.met_minutes for time in self.activities)

    @property
    def kcal(self) -> float:
        """By MET · 3.5 · kg / 200 a minute."""
        return kcal_per_minute(1, self.weight_kg) * self.met_minutes

    @property
    def kcal_by_hours(self) -> float:
        """By MET · kg · h."""
        return self.met_minutes / 60 * self.weight_kg


def kcal_per_minute(met: float, weight_kg: float) -> float:
    """Energy a minute by the usual formula from oxygen.

    >>> round(kcal_per_minute(8.0, 70) * 20, 1)
    196.0
    """
    return met * 3.5 * weight_kg / 200


def energy_of(timeline: Timeline, weight_kg: float) -> Energy:
    """The estimate over all parts; lead-in and lead-out are left out."""
    lengths: dict[str, Duration] = {}
    known = Known()
    for phase in timeline.phases:
        if phase.part is None:
            continue
        code = _activity(phase, phase.part, known).code
        lengths[code] = lengths.get(code, Duration(Fraction(0))) + phase.length
    times = [ActivityTime(ACTIVITIES[code], length) for code, length in lengths.items()]
    return Energy(weight_kg, tuple(sorted(times, key=lambda time: -time.length.seconds)))


def _activity(phase: Phase, part: Part, known: Known) -> Activity:
    """What is done in a phase. The Compendium's circuits have their rests in them."""
    circuit = names_one_of(part.part, ("circuit",))
    if phase.kind == "talk" or not isinstance(phase.step, MoveStep):
        return _MODERATE_CIRCUIT if circuit and phase.kind == "rest" else STANDING
    about = known.about(phase.step)
    if circuit or "circuit" in about.words:
        hard = "vigorous" in about.words or is_full_effort(about, part)
        return _VIGOROUS_CIRCUIT if hard else _MODERATE_CIRCUIT
    return activity_of(phase.step, about, part) if phase.kind == "work" else STANDING


def activity_of(move: MoveStep, about: About, part: Part) -> Activity:
    """The row of the Compendium for a move by itself: by its style, its effort, what it is, its load."""
    styles = [style for style in _BY_STYLE if style in about.words or names_one_of(part.part, (style,))]
    efforts = ("full effort",) if is_full_effort(about, part) else about.of("effort")
    for words, table in ((styles, _BY_STYLE), (efforts, _BY_EFFORT), (about.of("pattern"), _BY_PATTERN)):
        for word in words:
            if word in table:
                return ACTIVITIES[table[word]]
    if any(names_one_of(text, _LOADS) for text in (move.move, *(move.equipment or ()))):
        return ACTIVITIES["02052" if "squat" in about.words else "02054"]
    found = (code for names, code in _BY_NAME.items() if names_one_of(plain(move.move), names))
    return ACTIVITIES[next(found, USUAL.code)]
