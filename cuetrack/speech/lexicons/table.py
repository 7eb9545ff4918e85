"""What a language has to bring so that its short forms are spoken; `{}` are numbers in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from cuetrack.speech.phrases.language import Language, Unit

Agreement = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Lexicon:
    """One language's table.

    An entry in lower case stands for any case, one with capitals only for itself.

    Attributes:
        language: whose numbers and units of time are used.
        words: whole words or symbols → how they are spoken.
        units: what may follow a number → how the two are spoken.
        sets, times: "3 x 10" is so many sets of ten; "3x" and "x3" are so many times.
        sets_of, range, of, decimal, and_a_half: "3 x 10", "8-12", "2/3", "2.5", "2½".
        fractions: "1/2", "½" → words.
        round, round_marks: "round {}", and its short forms right before a number.
        number, number_marks: likewise for "number {}".
        counted: words after which "2/3" is "two of three".
        ordinals: endings right after a digit → what the last letter of each ordinal word becomes, or None.
        first: the exceptions: "1er" → "premier".
        decimal_marks: what parts units from tenths.
        clock_before, clock_after: words beside a time of day, which is left to the engine.
        nouns: (pattern of the word after a number, what the number's ending becomes), the first that fits.
        ordinal_dot: "2. Runde" is an ordinal, which is left to the engine.
        half_before_unit: "2½ min" and "2.5 min" are two and a half minutes, not two minutes and a half.
    """

    language: Language
    words: Mapping[str, str]
    units: Mapping[str, Unit]
    sets: Unit
    times: Unit
    sets_of: str
    range: str
    of: str
    decimal: str
    and_a_half: str
    fractions: Mapping[str, str]
    round: str
    round_marks: tuple[str, ...]
    number: str
    number_marks: tuple[str, ...]
    counted: tuple[str, ...]
    ordinals: Mapping[str, str | None]
    clock_before: tuple[str, ...]
    clock_after: tuple[str, ...]
    first: Mapping[str, str]
    decimal_marks: str = ".,"
    nouns: tuple[tuple[str, Agreement], ...] = ()
    ordinal_dot: bool = False
    half_before_unit: bool = False


def spelled(forms: Mapping[str, Unit]) -> dict[str, Unit]:
    """`{"s sec secs": unit}` with one entry a spelling."""
    return {form: unit for spellings, unit in forms.items() for form in spellings.split()}
