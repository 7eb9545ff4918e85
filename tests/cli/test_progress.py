"""The bar that a person sees while a long task runs."""

from __future__ import annotations

import io
import sys

import pytest

from cuetrack.cli.progress import progress_bar


class Terminal(io.StringIO):
    """Standard error that a person watches."""

    def isatty(self) -> bool:
        return True


def test_the_name_of_a_track_is_no_markup(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with progress_bar() as tell:
        assert tell is not None
        tell("[/quay].wav", 1, 2)
    assert "[/quay].wav" in terminal.getvalue()


def test_nobody_is_told_where_nobody_watches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with progress_bar() as tell:
        assert tell is None
