"""A function and what to call it with → each answer as it comes, from many processes or machines.

joblib starts the processes; with a cluster's address its Dask backend takes their place. A process that dies
(no memory left, a fault in a library) takes the answer of no other with it.
"""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from functools import cache
from threading import Thread
from typing import Any, TypeVar

from cuetrack import __version__
from cuetrack.errors import ClusterError, how_to_add

_Item = TypeVar("_Item")
_Answer = TypeVar("_Answer")

# So often all that is left is tried again together; then one by one, which tells whom a process dies of.
_TIMES_TOGETHER = 2
_CONNECTING_SECONDS = 20
_WATCHING_SECONDS = 0.5


def answers(
    function: Callable[[_Item], _Answer],
    items: Sequence[_Item],
    *,
    processes: int,
    cluster: str | None,
    died: Callable[[_Item], _Answer],
) -> Iterator[_Answer]:
    """The answers to all items, in the order in which they come.

    Args:
        function: called with each item, elsewhere; errors should be part of its answer. It has to be found
            by its name there, and is called once more with an item whose process has died.
        items: sent to the processes, as the answers are sent back.
        processes: how many at a time on this machine.
        cluster: the address of a Dask scheduler, whose workers are used in place of this machine.
        died: the answer for an item of which its process dies, even alone.

    Raises:
        ClusterError: the cluster is not there or not fit, or Dask is not installed.
    """
    left = dict(enumerate(items))
    with nullcontext() if cluster is None else _on_cluster(cluster):
        for _ in range(_TIMES_TOGETHER):
            try:
                for number, answer in _together(function, left, processes, cluster):
                    del left[number]
                    yield answer
            except _deaths():
                continue
            break
        for number, item in left.items():
            try:
                for _, answer in _together(function, {number: item}, max(2, processes), cluster):
                    yield answer
            except _deaths():
                yield died(item)


def _together(
    function: Callable[[_Item], _Answer], items: Mapping[int, _Item], processes: int, cluster: str | None
) -> Iterator[tuple[int, _Answer]]:
    from joblib import Parallel, delayed

    # On a cluster as many at a time as there are workers.
    run = Parallel(-1 if cluster else processes, return_as="generator_unordered", batch_size=1)
    starter = None if cluster else os.getpid()
    call = delayed(_numbered)
    with _interrupts_kept_from_processes():
        found = run(call(function, number, item, starter) for number, item in list(items.items()))
    yield from found


@contextmanager
def _interrupts_kept_from_processes() -> Iterator[None]:
    """What is started in the block is not reached by Ctrl-C, which goes to all programs of a terminal.

    This process answers for it: others would each complain. Windows knows no way.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker

    # joblib has Python start this helper with the first process; older versions then let interrupts
    # through again.
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _numbered(
    function: Callable[[_Item], _Answer], number: int, item: _Item, starter: int | None
) -> tuple[int, _Answer]:
    if starter is not None and starter != os.getpid():
        _end_with(starter)
    return number, function(item)


@cache
def _end_with(starter: int) -> None:
    """Ends this process soon after the one that has started it: nobody is left who takes its answers.

    joblib's would go on with what they were handed, and then wait for five minutes. On Windows a process
    keeps the number of the one that has started it, and they do.
    """

    def watch() -> None:
        while os.getppid() == starter:
            time.sleep(_WATCHING_SECONDS)
        os._exit(1)

    Thread(target=watch, name="watching", daemon=True).start()


def _deaths() -> tuple[type[BaseException], ...]:
    """What is raised where a process has died."""
    from joblib.externals.loky.process_executor import BrokenProcessPool

    scheduler = sys.modules.get("distributed.scheduler")
    return (BrokenProcessPool, *((scheduler.KilledWorker,) if scheduler else ()))


@contextmanager
def _on_cluster(address: str) -> Iterator[None]:
    """The workers of a scheduler in place of processes of this machine."""
    try:
        import distributed
        from joblib import parallel_config
    except ImportError:
        raise ClusterError(f"--cluster needs Dask, which is not here; {how_to_add('cluster')}") from None
    open_client: Callable[..., Any] = distributed.Client  # which has no types
    try:
        client = open_client(address, timeout=_CONNECTING_SECONDS)
    except (OSError, ValueError) as error:
        reason = " ".join(str(error).split()) or "no answer"
        how = "start one with `dask scheduler`, and give its address, as in tcp://127.0.0.1:8786"
        raise ClusterError(f"there is no cluster at {address}: {reason}; {how}") from None
    with client:
        _refuse_unfit(client, address)
        with parallel_config(backend="dask", client=client):
            yield


def _refuse_unfit(client: Any, address: str) -> None:
    """Raises `ClusterError` if there is no worker, or one with another version of this program."""
    try:
        versions = client.run(_version)
    except ImportError:
        raise ClusterError(f"a worker at {address} has no cuetrack; install it there, too") from None
    if not versions:
        raise ClusterError(f"no worker has come to {address}; start one with `dask worker {address}`")
    for worker, version in sorted(versions.items()):
        if version != __version__:
            hint = "install the same there"
            raise ClusterError(f"the worker {worker} has cuetrack {version}, this is {__version__}; {hint}")


def _version() -> str:
    return __version__
