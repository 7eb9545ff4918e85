"""Items that another thread makes ahead of the one that uses them: mixing goes on while a file is encoded."""

from __future__ import annotations

from collections.abc import Generator, Iterable
from queue import Empty, Full, Queue
from threading import Event, Thread
from typing import TypeVar

_T = TypeVar("_T")

# Enough to even out fast and slow pieces; what is made ahead is held in memory.
_MOST_AHEAD = 8
_LOOK_SECONDS = 0.1


def made_ahead(items: Iterable[_T]) -> Generator[_T, None, None]:
    """The same items in the same order; an exception of theirs is raised here, after those before it.

    Where the user stops early, so does the thread.
    """
    ready: Queue[tuple[_T | None, BaseException | None]] = Queue(_MOST_AHEAD)
    stopped = Event()

    def put(item: _T | None, error: BaseException | None = None) -> bool:
        while not stopped.is_set():
            try:
                ready.put((item, error), timeout=_LOOK_SECONDS)
            except Full:
                continue
            return True
        return False

    def make() -> None:
        try:
            for item in items:
                if not put(item):
                    return
        except BaseException as error:  # also one that ends the program: the user has to know
            put(None, error)
        else:
            put(None)

    thread = Thread(target=make, name="mixing", daemon=True)
    thread.start()
    try:
        while True:
            item, error = ready.get()
            if error is not None:
                raise error
            if item is None:
                return
            yield item
    finally:
        stopped.set()
        while thread.is_alive():
            try:
                ready.get_nowait()
            except Empty:
                thread.join(_LOOK_SECONDS)
