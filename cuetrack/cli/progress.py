"""A progress bar that names the stage a long task is in."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from cuetrack.build import Progress


@contextmanager
def progress_bar() -> Iterator[Progress | None]:
    """A bar on the terminal that names the stage; nothing where no person watches."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, TaskProgressColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    # A stage may be the name of a track, which is no markup.
    name = TextColumn("{task.description:<24}", markup=False)
    columns = (name, BarColumn(), TaskProgressColumn(), TimeElapsedColumn())
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("starting", total=1)

        def tell(stage: str, done: int, of: int) -> None:
            bar.update(task, description=stage, completed=done, total=of)

        yield tell
