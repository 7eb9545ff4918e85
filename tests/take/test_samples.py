"""Samples kept in a file are given back as they were, zeros around them."""

from __future__ import annotations

import numpy as np
import pytest

from cuetrack.take.samples import SampleFile


@pytest.mark.parametrize("channels", [None, 2])
def test_what_is_read_is_what_was_written_with_zeros_around(channels: int | None) -> None:
    shape = (1_000,) if channels is None else (1_000, channels)
    whole = np.random.default_rng(1).standard_normal(shape).astype(np.float32)
    with SampleFile(8_000, channels) as kept:
        for start in range(0, 1_000, 300):
            kept.append(whole[start : start + 300])
        assert (kept.frames, kept.rate_hz) == (1_000, 8_000)
        assert np.array_equal(kept.read(0, 1_000), whole)
        assert np.array_equal(kept.read(990, 20), np.concatenate([whole[990:], np.zeros_like(whole[:10])]))
        assert np.array_equal(kept.read(-5, 10), np.concatenate([np.zeros_like(whole[:5]), whole[:5]]))
        assert not kept.read(-20, 10).any()
        assert kept.read(2_000, 7).shape == (7, *shape[1:])
        kept.append(whole[:1])
        assert np.array_equal(kept.read(1_000, 1), whole[:1])
