"""All commands together, and what becomes of every error."""

from __future__ import annotations

import os
import sys
import tempfile
import traceback
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from importlib import import_module
from keyword import iskeyword
from pathlib import Path

import click

from cuetrack import __version__
from cuetrack.cli.output import print_diagnostics
from cuetrack.errors import CuetrackError, ExitCode, MachineError, PlanError

_CAUTION = (
    "A cue track is no medical advice. Warm up; stop at pain or dizziness; breathe through holds; "
    "follow local rules and licensed professionals; keep the playback level safe."
)


_NAMES = (
    *("new", "check", "review", "timeline", "preview", "render", "verify", "align"),
    *("sheet", "voices", "series", "batch", "import", "export", "fmt", "schema"),
)


class _Commands(Mapping[str, click.Command]):
    """By its name each command, loaded when it is called for: to load all takes as long as a short call."""

    def __getitem__(self, name: str) -> click.Command:
        if name not in _NAMES:
            raise KeyError(name)
        module_name = f"{name}_" if iskeyword(name) else name
        command: click.Command = getattr(import_module(f"cuetrack.cli.{module_name}"), module_name)
        return command

    def __iter__(self) -> Iterator[str]:
        return iter(_NAMES)

    def __len__(self) -> int:
        return len(_NAMES)


@click.group(
    commands=_Commands(),
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=f"Exit codes: 0 done, 1 the plan or the audio has errors, 2 wrong usage, 3 something on this "
    f"machine is missing, 130 stopped.\n\n{_CAUTION}",
)
@click.version_option(__version__, prog_name="cuetrack")
def commands() -> None:
    """Compile a session plan into a cue track in which every cue stands on its planned sample.

    \b
    Example:
      cuetrack new session.yaml
      cuetrack check session.yaml
      cuetrack render session.yaml -o session.mp3
    """


def run(arguments: Sequence[str] | None = None) -> int:
    """Runs the command that `arguments` (default: the process's own) name; the exit code."""
    try:
        result = commands.main(args=arguments, prog_name="cuetrack", standalone_mode=False)
        sys.stdout.flush()
        return result if isinstance(result, int) else ExitCode.DONE
    except click.ClickException as error:
        error.show()
        return ExitCode.WRONG_USAGE
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped. Every file is as it was, or whole.", err=True)
        return ExitCode.INTERRUPTED
    except PlanError as error:
        print_diagnostics(error.diagnostics)
        return error.exit_code
    except CuetrackError as error:
        return _told(error)
    except BrokenPipeError:
        # The reader of a pipe had enough; a second complaint at exit would help nobody.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return ExitCode.DONE
    except (OSError, MemoryError) as error:
        return _told(MachineError(error))
    except Exception as error:  # a fault of ours must not become a traceback of theirs
        return _own_fault(error)


def _told(error: CuetrackError) -> int:
    click.echo(f"{click.style('error:', fg='red', bold=True)} {error}", err=True)
    return error.exit_code


def _own_fault(error: Exception) -> int:
    """Says that the fault is ours and keeps the details in a file, if there is room for it."""
    click.echo(f"error: a fault in cuetrack itself, not in your plan ({type(error).__name__}).", err=True)
    hint = "please report it together with your plan"
    with suppress(OSError):
        with tempfile.NamedTemporaryFile(
            "w", prefix="cuetrack-fault-", suffix=".txt", delete=False, encoding="utf-8"
        ) as report:
            report.write("".join(traceback.format_exception(error)))
        hint = f"please report it together with {Path(report.name)}"
    click.echo(f"    hint: {hint}", err=True)
    return ExitCode.ERRORS
