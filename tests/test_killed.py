"""A run that is killed leaves whole files, and the same once more sets all right."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

import pytest
from joblib.externals.loky import reusable_executor

from cuetrack.build_batch import Asked, Batch, Outcome
from tests.helpers.killing import BATCH, BATCH_PLANS, Killing, Kind, whole_tracks, write_plans

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="process groups are looked up in /proc")


RUNS = (
    *((Kind(".flac"), over_old, whole_group) for over_old in (False, True) for whole_group in (False, True)),
    (Kind(".mp3", with_papers=True), False, False),
    (BATCH, False, True),
)


def test_killed_runs(tmp_path: Path) -> None:
    killing = Killing(tmp_path, seed=7)
    for kind, over_old, whole_group in RUNS:
        made = killing.run(kind, over_old=over_old, whole_group=whole_group)
        assert made.faults == []
        assert made.hidden_at_end == 0


@pytest.mark.filterwarnings("ignore:A worker stopped")  # joblib's own word for it
def test_a_batch_whose_process_is_killed_makes_every_track(tmp_path: Path) -> None:
    """As a system without memory does it; what was being made is made again by another process."""
    write_plans(tmp_path / "plans")
    killed: list[int] = []

    def tell(outcome: Outcome, done: int, of: int) -> None:
        if not killed:
            killed.append(next(iter(reusable_executor._executor._processes)))
            os.kill(killed[0], signal.SIGKILL)

    outcomes = Batch(tmp_path / "plans", tmp_path / "tracks", Asked()).run(processes=2, tell=tell)
    assert killed
    assert [outcome.result for outcome in outcomes] == ["made"] * BATCH_PLANS
    assert whole_tracks(tmp_path / "tracks") == BATCH_PLANS
    assert list((tmp_path / "tracks").glob(".*.part")) == []
