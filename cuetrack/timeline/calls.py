"""The calls that hold at one place of a plan: session → part → move → stage, the nearest word wins.

A setting knows where it was written. What a coach wrote is sounded or refused; what nobody wrote is a
default, and a default that does not fit gives way.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Generic, TypeVar

from cuetrack.document.model import Node
from cuetrack.errors import Place
from cuetrack.plan.model import Calls
from cuetrack.plan.times import FixedTime
from cuetrack.timebase import Duration

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Setting(Generic[_T]):
    """A value and where it was written."""

    value: _T
    is_default: bool
    place: Place | None


@dataclass(frozen=True, slots=True)
class CountSetting:
    """A count: its points in seconds before the boundary, what counts, and with which tones."""

    points: Setting[tuple[Fraction, ...]]
    by: Setting[str]
    sound: str

    @property
    def longest(self) -> Duration:
        """How long it lasts where there is time for all of it."""
        points = () if self.by.value == "none" else self.points.value
        return Duration(points[0] if points else Fraction(0))

    @property
    def by_tones(self) -> bool:
        """Whether tones count."""
        return self.by.value in {"tones", "both"}

    @property
    def by_voice(self) -> bool:
        """Whether a voice counts."""
        return self.by.value in {"voice", "both"}


@dataclass(frozen=True, slots=True)
class CallSettings:
    """All settings that hold at one place; None is off."""

    announce: Setting[tuple[str, ...]]
    start: CountSetting
    finish: CountSetting
    warn: Setting[Duration | None]
    stage_ahead: Setting[Duration | None]
    stage_tone: Setting[str | None]
    side: Setting[bool]
    halfway: Setting[bool]
    praise: Setting[bool]


def _seconds(number: int) -> Duration:
    return Duration(Fraction(number))


def _points(*seconds: int) -> tuple[Fraction, ...]:
    return tuple(Fraction(second) for second in seconds)


def settings_for(levels: Iterable[Calls | None]) -> CallSettings:
    """The settings that hold where `levels` (session first, nearest last) meet."""
    chain = [calls for calls in levels if calls is not None]
    finish = _Lookup(chain, "finish")
    stage = _Lookup(chain, "stage")
    top = _Lookup(chain, None)
    return CallSettings(
        announce=top.setting("announce", ("name", "setup", "equipment")),
        start=_Lookup(chain, "start").count(_points(3, 2, 1), "tones"),
        finish=finish.count(_points(3, 2, 1), "tones"),
        warn=finish.setting("warn", _seconds(10), _off_or_length, when_off=None),
        stage_ahead=stage.setting("ahead", _seconds(2), _off_or_length, when_off=None),
        stage_tone=stage.setting("tone", "bright", _off_or_word, when_off=None),
        side=top.setting("side", True),
        halfway=top.setting("halfway", False),
        praise=top.setting("praise", False),
    )


def _off_or_length(value: Any) -> Duration | None:
    return value.length if isinstance(value, FixedTime) else None


def _off_or_word(value: Any) -> str | None:
    return None if value == "off" else value


class _Lookup:
    """Finds the nearest written value of each key in one group of calls (or at their top)."""

    def __init__(self, chain: list[Calls], group: str | None) -> None:
        self._group = group
        self._off: Place | None = None
        self._is_off = False
        nodes: list[Node] = []
        for calls in chain:
            node = calls if group is None else getattr(calls, group)
            if node == "off":
                self._is_off, self._off = True, calls.place_of(group or "")
            elif node is not None:
                self._is_off = False
                nodes.append(node)
        self._nearest_first = nodes[::-1]

    def setting(
        self,
        key: str,
        default: Any,
        read: Callable[[Any], Any] = lambda value: value,
        when_off: Any = False,
    ) -> Setting[Any]:
        if self._is_off:
            return Setting(when_off, False, self._off)
        for node in self._nearest_first:
            value = getattr(node, key)
            if value is not None:
                return Setting(read(value), False, node.place_of(key))
        return Setting(default, True, None)

    def count(self, points: tuple[Fraction, ...], by: str) -> CountSetting:
        return CountSetting(
            self.setting("count", points, when_off=()),
            self.setting("by", by, when_off="none"),
            self.setting("sound", "plain", when_off="plain").value,
        )
