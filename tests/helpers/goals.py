"""What the reports say of a goal."""

from __future__ import annotations


def goal_line(is_met: bool, text: str) -> str:
    """The line of a report: whether it is met, and what was found."""
    return f"{'met   ' if is_met else 'MISSED'}  {text}"
