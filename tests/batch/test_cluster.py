"""A batch on a real Dask scheduler with two workers, all on loopback, started as the README says."""

from __future__ import annotations

import json
import shlex
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import pytest

from cuetrack.batch.manifest import MANIFEST_FILE
from tests.helpers.many_plans import write_plans
from tests.readme import README, commands

pytest.importorskip("distributed", reason="the extra `cluster` is not installed")


@dataclass
class Cluster:
    address: str
    workers: list[subprocess.Popen[bytes]]


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    port = free_port()
    address = f"tcp://127.0.0.1:{port}"
    scheduler = ["scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard"]
    # Without a nanny nobody starts one again that was killed.
    worker = ["worker", address, "--host", "127.0.0.1", "--nthreads", "1", "--no-nanny", "--no-dashboard"]
    with ExitStack() as stack:
        start_dask(stack, tmp_path, scheduler)
        yield Cluster(address, [start_dask(stack, tmp_path, worker) for _ in range(2)])


def start_dask(stack: ExitStack, folder: Path, arguments: list[str]) -> subprocess.Popen[bytes]:
    place = folder / f"{arguments[0]}-{time.monotonic_ns()}"
    place.mkdir()
    log = stack.enter_context((place / "log.txt").open("wb"))
    command = [sys.executable, "-m", "dask", *arguments]
    process = stack.enter_context(subprocess.Popen(command, cwd=place, stdout=log, stderr=log))
    stack.callback(process.terminate)  # which a nanny hands on to its workers
    return process


def batch(plans: Path, tracks: Path, *more: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "cuetrack", "batch", str(plans), "-o", str(tracks), *more]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def wait_for_workers(address: str) -> None:
    from distributed import Client

    with Client(address, timeout=60) as client:
        client.wait_for_workers(2, timeout=120)


def results(process: subprocess.Popen[str]) -> list[str]:
    out, err = process.communicate(timeout=300)
    assert process.returncode == 0, err
    return [one["result"] for one in json.loads(out)["tracks"]]


@pytest.mark.filterwarnings("ignore")  # of Dask's own client
def test_the_commands_of_the_readme_make_the_tracks(tmp_path: Path) -> None:
    """Its addresses become this machine's, its folders one of the test."""
    shown = commands(README.read_text(encoding="utf-8"))
    write_plans(tmp_path / "plans", 3)
    port = str(free_port())

    def here(words: list[str]) -> list[str]:
        line = shlex.join(words).replace("192.0.2.7", "127.0.0.1").replace(":8786", f":{port}")
        return shlex.split(line.replace("/club/", f"{tmp_path.as_posix()}/"))

    (scheduler,) = (here(words) for words in shown if words[:2] == ["dask", "scheduler"])
    (worker,) = (here(words) for words in shown if words[:2] == ["dask", "worker"])
    (render,) = (
        here(words) for words in shown if words[:2] == ["cuetrack", "batch"] and "--cluster" in words
    )
    with ExitStack() as stack:
        start_dask(stack, tmp_path, [*scheduler[1:], "--port", port, "--no-dashboard"])
        start_dask(stack, tmp_path, [*worker[1:], "--host", "127.0.0.1", "--no-dashboard"])
        wait_for_workers(f"tcp://127.0.0.1:{port}")
        call = [sys.executable, "-m", "cuetrack", *render[1:]]
        done = subprocess.run(call, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    assert len(list((tmp_path / "tracks").glob("*.wav"))) == 3


def bytes_of(folder: Path) -> dict[str, bytes]:
    files = (path for path in folder.rglob("*") if path.is_file() and not path.name.startswith("."))
    return {str(path.relative_to(folder)): path.read_bytes() for path in files if path.name != MANIFEST_FILE}


@pytest.mark.filterwarnings("ignore")  # of Dask's own client
def test_two_workers_make_the_bytes_that_one_machine_makes(cluster: Cluster, tmp_path: Path) -> None:
    write_plans(tmp_path / "plans", 6)
    wait_for_workers(cluster.address)
    there = batch(tmp_path / "plans", tmp_path / "there", "--cluster", cluster.address, "--json")
    assert results(there) == ["made"] * 6
    here = batch(tmp_path / "plans", tmp_path / "here", "--processes", "1", "--json")
    assert results(here) == ["made"] * 6
    found = bytes_of(tmp_path / "there")
    assert len(found) == 12
    assert found == bytes_of(tmp_path / "here")


@pytest.mark.filterwarnings("ignore")  # of Dask's own client
def test_a_worker_that_is_killed_loses_nothing(cluster: Cluster, tmp_path: Path) -> None:
    write_plans(tmp_path / "plans", 16, rounds=60)
    wait_for_workers(cluster.address)
    running = batch(tmp_path / "plans", tmp_path / "tracks", "--cluster", cluster.address)
    assert running.stderr is not None
    assert "1 of 16" in running.stderr.readline()
    cluster.workers[0].kill()
    out, err = running.communicate(timeout=300)
    assert running.returncode == 0, err
    assert "16 of 16" in err
    assert out.splitlines()[-2].split()[:2] == ["all", "16"]
    again = batch(tmp_path / "plans", tmp_path / "tracks", "--changed", "--json")
    assert results(again) == ["kept"] * 16
