"""What README.md shows: `readme.py install` or `test` prints a set-up command, `rebuild` makes its examples.

The examples are made by the program itself; `tests/test_readme.py` holds them against it.
"""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from operator import itemgetter
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
_FENCED = re.compile(r"^(?:<!-- command: .* -->\n)?```(\w*)\n(.*?)^```$", re.DOTALL | re.MULTILINE)
_IN_LINE = re.compile(r"`((?:cuetrack|python|dask)\s[^`]+)`")
_INDENTED = re.compile(r"^ {4,}((?:cuetrack|dask) [^#\n]+)", re.MULTILINE)
_TEXT_BLOCK = re.compile(r"(?<=```text\n).*?(?=\n```)", re.DOTALL)


def setup_command(name: str) -> str:
    """The one line fenced below the comment `<!-- command: NAME -->`."""
    pattern = rf"<!-- command: {re.escape(name)} -->\n```\w*\n(.+)\n```"
    found = re.findall(pattern, README.read_text(encoding="utf-8"))
    if len(found) != 1:
        raise SystemExit(f"README.md has {len(found)} commands marked {name!r}, not one")
    return str(found[0])


def commands(text: str) -> list[list[str]]:
    """Every call that a text shows, in its order, word by word; without the two that set up."""
    found = []
    for block in _FENCED.finditer(text):
        if block[1] == "sh" and not block[0].startswith("<!--"):
            found += [(block.start(), line) for line in block[2].splitlines()]
    # What stands fenced is blanked, so that the places of the rest stay.
    prose = _FENCED.sub(lambda block: re.sub(r"\S", " ", block[0]), text)
    for pattern in (_IN_LINE, _INDENTED):
        found += [(span.start(), span[1]) for span in pattern.finditer(prose)]
    return [shlex.split(line) for _, line in sorted(found, key=itemgetter(0))]


def shown() -> tuple[str, str, str]:
    """The plan, its timeline and the misfit, as README.md shows them."""
    text = README.read_text(encoding="utf-8")
    (plan,) = re.findall(r"```yaml\n(.*?)```", text, re.DOTALL)
    timeline, misfit = _TEXT_BLOCK.findall(text)
    return plan, timeline, misfit


def made() -> tuple[str, str]:
    """The timeline, up to the first change of side, and the misfit, as the program prints them now."""
    plan, _, _ = shown()
    with TemporaryDirectory() as folder:
        timeline = _printed(folder, "session.yaml", plan, "timeline").stdout.splitlines()
        tight = plan.replace("rest: 20s..30s ", "rest: 4s       ")
        misfit = _printed(folder, "tight.yaml", tight, "check").stderr.splitlines()
    last = next(index for index, line in enumerate(timeline) if line.endswith("one”"))
    first = next(index for index, line in enumerate(misfit) if "the announcement" in line)
    return "\n".join(timeline[: last + 1]), "\n".join(misfit[first : first + 4])


def _printed(folder: str, name: str, plan: str, command: str) -> subprocess.CompletedProcess[str]:
    (Path(folder) / name).write_text(plan, encoding="utf-8")
    call = [sys.executable, "-m", "cuetrack", command, name]
    return subprocess.run(
        call, cwd=folder, env={"PYTHONPATH": str(ROOT)}, capture_output=True, encoding="utf-8", check=True
    )


def rebuild() -> None:
    """Writes the examples into README.md."""
    blocks = iter(made())
    README.write_text(_TEXT_BLOCK.sub(lambda _: next(blocks), README.read_text("utf-8")), encoding="utf-8")


if __name__ == "__main__":
    if sys.argv[1:] == ["rebuild"]:
        rebuild()
    else:
        print(setup_command(sys.argv[1]))
