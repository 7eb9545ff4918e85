"""A preview through a sound card that is only a stand-in, and calls for blocks when it is told to."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import nullcontext
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from cuetrack.cli.aloud import played_aloud

BLOCK = 2048


@pytest.fixture
def card(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """The sound card; `next_block()` is what it plays next, shape (frames, channels)."""
    made = SimpleNamespace()

    def output_stream(*, callback: Any, channels: int, blocksize: int, **_: object) -> Any:
        def next_block() -> np.ndarray:
            out = np.full((blocksize, channels), np.nan, np.float32)
            callback(out, blocksize, None, None)
            return out

        made.next_block = next_block
        return nullcontext_with(latency=0.0)

    fake = SimpleNamespace(OutputStream=output_stream, PortAudioError=OSError)
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    return made


def nullcontext_with(**values: object) -> Any:
    context = nullcontext()
    for name, value in values.items():
        setattr(context, name, value)
    return context


def ready(blocks: Iterator[np.ndarray], frames: int) -> Any:
    return SimpleNamespace(
        arrangement=SimpleNamespace(rate_hz=48_000),
        balanced=SimpleNamespace(programme=SimpleNamespace(channels=2)),
        frames=frames,
        blocks=lambda: blocks,
    )


def test_every_sample_is_played_once_and_then_silence(card: SimpleNamespace) -> None:
    samples = np.arange(1, 5001, dtype=np.float32)[:, np.newaxis]
    with played_aloud(ready(iter(np.array_split(samples, 7)), len(samples))) as clock:
        assert clock() == 0
        heard = [card.next_block()]
        assert clock() == BLOCK
        heard += [card.next_block(), card.next_block(), card.next_block()]
        assert clock() is None
    whole = np.concatenate(heard)
    assert np.array_equal(whole[:5000], np.repeat(samples, 2, axis=1))
    assert not whole[5000:].any()


def test_what_goes_wrong_in_the_making_ends_the_countdown(card: SimpleNamespace) -> None:
    """The card must not wait for a block that never comes, nor the countdown for the card."""

    def blocks() -> Iterator[np.ndarray]:
        yield np.ones((BLOCK, 1), np.float32)
        raise OSError("the music is gone")

    with played_aloud(ready(blocks(), 10 * BLOCK)) as clock:
        assert card.next_block().all()
        assert not card.next_block().any()
        assert not card.next_block().any()
        with pytest.raises(OSError, match="the music is gone"):
            clock()
