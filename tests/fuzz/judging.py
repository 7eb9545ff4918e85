"""Bytes for one of the readers → what was wrong with how it took them, and how long it needed.

A reader may read its input or refuse it with an error of ours. Anything else is a fault: another
exception, a warning of Python, something printed, a finding that points outside the text or that a
terminal cannot show, and more processor time than `limit_seconds` allows.
"""

from __future__ import annotations

import io
import re
import time
import traceback
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path

from cuetrack import build
from cuetrack.build_series import check_series
from cuetrack.document.source import read_source
from cuetrack.errors import CuetrackError, Diagnostic, Place, PlanError
from cuetrack.plan.house import HOUSE_FILE, read_house, read_in_house
from cuetrack.plan.levels import at_level
from cuetrack.plan.series import read_series
from cuetrack.plan.text import read_plan
from cuetrack.timeline.phases import laid_out

# What reading may take; checking may take as long, and a second more for each hour that the session lasts.
LIMIT_SECONDS = 2.0
LIMIT_BYTES = 300 * 1024**2
_LONGEST_MESSAGE = 1000
# Escape sequences of a terminal begin with a control character; half a character cannot be encoded.
_NOT_SHOWN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\u2028\u2029\u202a-\u202e\u2066-\u2069]")


@dataclass(slots=True)
class Verdict:
    """How a reader took one input; `fault` is None where it did what it should, equal for equal faults."""

    fault: str | None = None
    details: str = ""
    outcome: str = "read"
    seconds: float = 0.0
    slowest: str = ""


@dataclass(slots=True)
class _Run:
    """One input on its way through the steps of a reader."""

    data: bytes
    folder: Path
    verdict: Verdict = field(default_factory=Verdict)
    found: tuple[Diagnostic, ...] = ()
    lines: dict[str, Sequence[str]] = field(default_factory=dict)

    @contextmanager
    def step(self, name: str, limit: Callable[[], float] = lambda: LIMIT_SECONDS) -> Iterator[None]:
        """Times what is done inside; `limit` is asked only where that took long."""
        start = time.process_time()
        try:
            yield
        finally:
            seconds = time.process_time() - start
            if seconds > self.verdict.seconds:
                self.verdict.seconds, self.verdict.slowest = seconds, name
            if seconds > LIMIT_SECONDS and seconds > limit():
                self.verdict.fault = self.verdict.fault or f"slow: {name} took more than it may"
                self.verdict.details = f"{seconds:.1f} s of processor time"


def judged(reader: str, data: bytes, folder: Path) -> Verdict:
    """How `reader` takes `data`; `folder` is an empty one, for files that it may need."""
    run = _Run(data, folder)
    printed = io.StringIO()
    with redirect_stdout(printed), redirect_stderr(printed), warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            READERS[reader](run)
        except PlanError as error:
            run.verdict.outcome, run.found = "refused", error.diagnostics
            _check(run, bool(error.diagnostics), "an error without a finding", "")
        except CuetrackError as error:
            run.verdict.outcome = "refused"
            _check_words(run, str(error))
        except (Exception, RecursionError, MemoryError) as error:
            run.verdict.fault, run.verdict.details = _name_of(error), traceback.format_exc()[-4000:]
    _check(run, not printed.getvalue(), "something was printed", printed.getvalue())
    for diagnostic in run.found:
        _check_finding(run, diagnostic, reader)
    return run.verdict


def _plan(run: _Run) -> None:
    path = _written(run, "plan.yaml")
    with run.step("check", lambda: _limit_of_check(path)):
        run.found = build.check(path).warnings


def _tidy(run: _Run) -> None:
    from cuetrack.build_tables import tidy_plan

    path = _written(run, "plan.yaml")
    read_plan(path)
    with run.step("tidy"):
        tidy_plan(path, only_check=True)


def _house(run: _Run) -> None:
    _written(run, HOUSE_FILE)
    plan = run.folder / "plan.yaml"
    plan.write_text(
        "session: Quay\nparts: [{part: Row, work: 20s, steps: [{move: Row}]}]\n", encoding="utf-8"
    )
    with run.step("read"):
        read_house(run.folder)
    with run.step("check"):
        run.found = build.check(plan).warnings


def _series(run: _Run) -> None:
    path = _written(run, "series.yaml")
    for name, length in (("strong", "1 min"), ("easy", "30 s")):
        text = f"session: {name}\nparts: [{{part: Row, work: {length}, steps: [{{move: Row}}]}}]\n"
        (run.folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    with run.step("read"):
        series = read_series(path)
    with run.step("check", lambda: LIMIT_SECONDS + len(series.sessions) / 50):
        run.found = check_series(path).warnings


def _csv(run: _Run) -> None:
    _table(run, ".csv")


def _xlsx(run: _Run) -> None:
    _table(run, ".xlsx")


def _table(run: _Run, ending: str) -> None:
    from cuetrack.build_tables import session_in_table
    from cuetrack.tables.plan_writing import tidy_plan_text

    with run.step("read"):
        moved = session_in_table(run.data, f"table{ending}", ending, name="Table")
    run.found = moved.warnings
    with run.step("write the plan"):
        tidy_plan_text(moved.session, ("Made from a table.",))


READERS: dict[str, Callable[[_Run], None]] = {
    "plan": _plan,
    "tidy": _tidy,
    "house": _house,
    "series": _series,
    "csv": _csv,
    "xlsx": _xlsx,
}


def _written(run: _Run, name: str) -> Path:
    path = run.folder / name
    path.write_bytes(run.data)
    return path


def _limit_of_check(path: Path) -> float:
    """What checking may take beside reading, which has its own limit; a session in vain counts as 24 h."""
    start = time.process_time()
    try:
        session = read_in_house(path)
    except PlanError:
        return LIMIT_SECONDS
    reading = time.process_time() - start
    if reading > LIMIT_SECONDS:
        return LIMIT_SECONDS
    try:
        hours = float(laid_out(at_level(session))[-1].end.seconds / 3600)
    except PlanError:
        hours = 24
    return reading + LIMIT_SECONDS + hours


def _name_of(error: BaseException) -> str:
    """The kind of an exception and the last place of ours on its way: equal for equal faults."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [frame for frame in frames if "/cuetrack/" in frame.filename]
    where = f"{Path(ours[-1].filename).name}:{ours[-1].name}" if ours else "outside"
    last = frames[-1]
    return f"{type(error).__name__} in {where}, from {Path(last.filename).name}:{last.name}"


def _check(run: _Run, holds: bool, fault: str, details: str) -> None:
    if not holds and run.verdict.fault is None:
        run.verdict.fault, run.verdict.details = fault, details[:4000]


def _check_words(run: _Run, text: str) -> None:
    _check(run, _NOT_SHOWN.search(text) is None, "a message that a terminal cannot show", repr(text))
    longest = max(map(len, text.split("\n")))
    _check(run, 0 < longest <= _LONGEST_MESSAGE, "a message of a wrong length", text)


def _check_finding(run: _Run, found: Diagnostic, reader: str) -> None:
    _check_words(run, str(found))
    place = found.place
    if place is None or place == Place(place.file, 1, 1, 1, ""):  # about the whole, or a file as such
        return
    if reader in {"csv", "xlsx"}:
        # The line is the number of a row; which cells it has, only the reader knows.
        inside = 1 <= place.line <= 1_048_576 and 1 <= place.column <= len(place.line_text) + 1
        _check(run, inside, "a finding outside its row", f"{found}\n{place!r}")
        return
    if place.file not in run.lines:
        path = Path(place.file)
        run.lines[place.file] = _lines(path) if path.parent == run.folder else ()
    _check(run, _is_inside(place, run.lines[place.file]), "a finding outside the text", f"{found}\n{place!r}")


def _lines(path: Path) -> Sequence[str]:
    try:
        return read_source(path).lines
    except PlanError:
        text = path.read_bytes().decode("utf-8", errors="replace").removeprefix("\ufeff")
        return re.split("\r\n|\r|\n", text)


def _is_inside(place: Place, lines: Sequence[str]) -> bool:
    if not 1 <= place.line <= len(lines) or lines[place.line - 1] != place.line_text:
        return False
    return 1 <= place.column <= len(place.line_text) + 1 and place.length >= 1
