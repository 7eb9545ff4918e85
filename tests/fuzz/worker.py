"""A process of its own in which inputs are judged, so that one which hangs or eats memory harms nothing.

It reads inputs from its standard input and answers each with a line of JSON; `Worker` is the other end.
"""

from __future__ import annotations

import json
import resource
import select
import shutil
import struct
import subprocess
import sys
import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from tests.fuzz.judging import LIMIT_BYTES, Verdict, judged

# Nothing is measured by the clock, which a busy machine stretches; this only ends what hangs.
_HANGS_SECONDS = 60
# Far above what is allowed: it protects the machine, and makes a MemoryError of a bomb.
_MOST_ADDRESSES_BYTES = 1500 * 1024**2
_MOST_INPUTS = 3000
_ROOT = Path(__file__).parents[2]


def peak_bytes() -> int:
    """The most memory that this process has had so far.

    Linux counts what started it into `ru_maxrss`, so there the peak of its own memory is read (`man 5
    proc_pid_status`, VmHWM).
    """
    if sys.platform == "linux":
        status = Path("/proc/self/status").read_text(encoding="ascii", errors="replace")
        return int(status.partition("VmHWM:")[2].split()[0]) * 1024
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak if sys.platform == "darwin" else peak * 1024


@dataclass(slots=True)
class Judged:
    """A verdict, and the most memory that its process has had until then."""

    verdict: Verdict
    peak_bytes: int


class Worker:
    """Judges inputs in a child process, which is replaced where one ends or swells it."""

    def __init__(self, reader: str) -> None:
        self._reader = reader
        self._process: subprocess.Popen[bytes] | None = None
        self._inputs = 0

    def judged(self, data: bytes) -> Judged:
        """The verdict on `data`; too much memory is a fault only if a fresh process needs it too."""
        answer = self._answer(data)
        if answer.verdict.fault is None and answer.peak_bytes > LIMIT_BYTES:
            self.close()
            answer = self._answer(data)
            if answer.peak_bytes > LIMIT_BYTES:
                answer.verdict.fault = "memory: more than it may need"
                answer.verdict.details = f"{answer.peak_bytes / 1024**2:.0f} MiB"
        if answer.peak_bytes > LIMIT_BYTES or self._inputs >= _MOST_INPUTS:
            self.close()
        return answer

    def _answer(self, data: bytes) -> Judged:
        process = self._process or self._started()
        stdin, stdout = process.stdin, process.stdout
        assert stdin
        assert stdout
        self._inputs += 1
        try:
            stdin.write(struct.pack(">I", len(data)) + data)
            stdin.flush()
        except BrokenPipeError:
            return self._ended(f"the process ended with {process.wait()}")
        if not select.select([stdout], [], [], _HANGS_SECONDS)[0]:
            return self._ended(f"no answer for {_HANGS_SECONDS} s")
        line = stdout.readline()
        if not line:
            return self._ended(f"the process ended with {process.wait()}")
        answer = json.loads(line)
        return Judged(Verdict(**answer["verdict"]), answer["peak_bytes"])

    def _ended(self, fault: str) -> Judged:
        self.close()
        return Judged(Verdict(fault=fault), 0)

    def _started(self) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "tests.fuzz.worker", self._reader]
        self._process = subprocess.Popen(
            command, cwd=_ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        self._inputs = 0
        return self._process

    def close(self) -> None:
        """Ends the child process."""
        if self._process is not None:
            self._process.kill()
            self._process.communicate()
        self._process = None

    def __enter__(self) -> Worker:
        return self

    def __exit__(self, *_: Any) -> None:
        self.close()


def in_fresh_folder(reader: str, data: bytes) -> Verdict:
    """The verdict on `data`, from this process."""
    folder = Path(tempfile.mkdtemp(prefix="fuzz-"))
    try:
        return judged(reader, data, folder.resolve())
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def main() -> None:
    reader = sys.argv[1]
    resource.setrlimit(resource.RLIMIT_AS, (_MOST_ADDRESSES_BYTES, _MOST_ADDRESSES_BYTES))
    answers = sys.stdout
    while head := sys.stdin.buffer.read(4):
        data = sys.stdin.buffer.read(struct.unpack(">I", head)[0])
        verdict = in_fresh_folder(reader, data)
        print(json.dumps({"verdict": asdict(verdict), "peak_bytes": peak_bytes()}), file=answers, flush=True)


if __name__ == "__main__":
    main()
