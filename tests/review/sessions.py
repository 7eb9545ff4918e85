"""Small plans for the tests of a review, and what is found in them."""

from __future__ import annotations

from cuetrack.plan.text import parse_plan
from cuetrack.review.finding import Finding
from cuetrack.review.review import Review, reviewed
from cuetrack.timeline.compile import Timeline, compiled

# Ten minutes that nobody has anything to say about, around what a test is about.
_AROUND = """session: Quay
{head}lead-in: 0s
parts:
  - part: Warm-up
    steps: [{{move: Easy sway, work: 6 min}}]
{parts}  - part: Cool-down
    steps: [{{move: Easy sway, work: 6 min}}]
"""


def part_text(*steps: str, name: str = "Main", keys: str = "") -> str:
    """A part with these steps, as plan text."""
    lines = "".join(f"      - {step}\n" for step in steps)
    return f"  - part: {name}\n{keys}    steps:\n{lines}"


def timeline_of(*steps: str, name: str = "Main", keys: str = "", head: str = "") -> Timeline:
    """The timeline of a session whose warm-up and cool-down nobody objects to, with one part between them."""
    return compiled(parse_plan(_AROUND.format(head=head, parts=part_text(*steps, name=name, keys=keys))))


def review_of(*steps: str, name: str = "Main", keys: str = "", head: str = "") -> Review:
    """The review of that session."""
    return reviewed(timeline_of(*steps, name=name, keys=keys, head=head))


def found_in(finding: str, *steps: str, name: str = "Main", keys: str = "") -> list[Finding]:
    """The findings of one name in that session."""
    review = review_of(*steps, name=name, keys=keys)
    return [found for found in review.findings if found.name == finding]
