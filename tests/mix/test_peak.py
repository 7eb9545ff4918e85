"""The peak meter against numbers that can be read off the blocks by eye."""

from __future__ import annotations

import numpy as np
import pytest

from cuetrack.mix.peak import Peak, PeakMeter


def peak_of(samples, block_frames):
    meter = PeakMeter()
    signal = np.array(samples, np.float32)
    blocks = [signal[start : start + block_frames] for start in range(0, len(signal), block_frames)]
    passed = list(meter.watched(blocks))
    assert all(one is other for one, other in zip(passed, blocks, strict=True))
    return meter.peak


@pytest.mark.parametrize("block_frames", [1, 2, 3, 100])
@pytest.mark.parametrize(
    ("samples", "expected"),
    [
        ([0.0, 0.0], Peak(0.0, 0, 0, None)),
        ([0.0, 0.25, -0.5, 0.5, 0.125], Peak(0.5, 2, 0, None)),
        ([1.0, -1.0], Peak(1.0, 0, 0, None)),
        ([0.5, 1.25, 0.0, -1.5, 1.5, 1.125, 0.0], Peak(1.5, 3, 4, 1)),
        ([0.0, -2.0, 0.0, 1.5], Peak(2.0, 1, 2, 1)),
    ],
)
def test_the_highest_sample_and_the_frames_over_full_scale(samples, expected, block_frames):
    assert peak_of(samples, block_frames) == expected


def test_no_blocks_and_empty_blocks_have_no_peak():
    meter = PeakMeter()
    assert list(meter.watched([])) == []
    assert len(list(meter.watched([np.zeros(0, np.float32)]))) == 1
    assert meter.peak == Peak()
