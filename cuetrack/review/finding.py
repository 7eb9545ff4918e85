"""A finding: what a colleague would ask about, what to do, and who says so."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from cuetrack.errors import Diagnostic, Place, did_you_mean
from cuetrack.timebase import Duration, duration_text

COMMON_PRACTICE = "common practice, no source"
NO_ADVICE = "These are suggestions from a plan alone; none of this is medical advice."

# By weight: what may hurt somebody first. These are the names that a plan can accept.
FINDING_NAMES = (
    *("warm-up", "breathing", "sides", "changeover", "rest"),
    *("cool-down", "holds", "order", "repeats", "balance"),
)


@dataclass(frozen=True, slots=True)
class Finding:
    """One suggestion.

    `guessed` says that it rests on what moves are called, not on tags. `accepted` is the reason that the
    plan gives for keeping it so, None where it gives none.
    """

    name: str
    message: str
    suggestion: str
    source: str
    place: Place | None
    guessed: bool = False
    accepted: str | None = None


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings by weight, in the plan's order among their like; the same said twice is said once."""
    once = {(found.name, found.message, found.place): found for found in findings}
    return tuple(sorted(once.values(), key=lambda found: FINDING_NAMES.index(found.name)))


def idle_acceptances(
    accepted: Mapping[str, str], names: Collection[str], found: Iterable[Finding], place: Place | None
) -> Iterator[Diagnostic]:
    """Warnings about names in `accepted` that accept nothing: none of `names`, or not among the `found`."""
    found_names = {finding.name for finding in found}
    for name in accepted:
        if name not in names:
            message, hint = f"no finding is called '{name}'", did_you_mean(name[:40], names)
        elif name not in found_names:
            message, hint = f"'{name}' is accepted, but not found", "remove it from `accepted`"
        else:
            continue
        yield Diagnostic("warning", message, place, hint)


def length_words(length: Duration) -> str:
    """A length for a sentence, to a tenth of a second.

    >>> length_words(Duration(Fraction(90))), length_words(Duration(Fraction(144, 17)))
    ('1 min 30 s', '8.5 s')
    """
    return duration_text(Duration(Fraction(round(length.seconds * 10), 10)))


def ratio_text(work: Duration, rest: Duration) -> str:
    """Work to rest as the trade writes it; empty where there is no work.

    >>> ratio_text(Duration(Fraction(20)), Duration(Fraction(10)))
    '1:0.5'
    """
    if not work:
        return ""
    tenths = round(rest.seconds / work.seconds * 10)
    return f"1:{tenths / 10:g}"
