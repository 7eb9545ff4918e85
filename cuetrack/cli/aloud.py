"""A preview through the machine's sound card, and the clock that runs with what is heard."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from queue import Queue
from threading import Event, Thread
from typing import TYPE_CHECKING, Any

from cuetrack.build_preview import Preview
from cuetrack.cli.countdown import Clock
from cuetrack.errors import MediaMissingError, how_to_add

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    _Blocks = Queue[NDArray[np.float32] | Exception]

_BLOCK_FRAMES = 2048
_BLOCKS_AHEAD = 64


@contextmanager
def played_aloud(ready: Preview) -> Iterator[Clock]:
    """Plays the preview while the block runs, and gives the clock of what has left the loudspeaker.

    Raises:
        MediaMissingError: the extra `aloud` or a sound card is missing.
        Exception: the clock raises what went wrong where the sound was made.
    """
    sounddevice = _sounddevice()
    rate_hz, channels = ready.arrangement.rate_hz, ready.balanced.programme.channels
    waiting: _Blocks = Queue(_BLOCKS_AHEAD)
    stopped = Event()
    played = _Played(waiting, ready.frames)
    maker = Thread(target=_fill, args=(ready, channels, waiting, stopped), daemon=True)
    try:
        stream = sounddevice.OutputStream(
            samplerate=rate_hz,
            channels=channels,
            blocksize=_BLOCK_FRAMES,
            dtype="float32",
            callback=played.fill,
        )
    except (sounddevice.PortAudioError, ValueError) as error:
        raise MediaMissingError(f"no sound card plays here ({error}); leave out --aloud") from error
    maker.start()
    try:
        with stream:
            latency_frames = round(stream.latency * rate_hz)
            yield lambda: played.frame_heard(latency_frames)
    finally:
        stopped.set()


def _sounddevice() -> Any:
    try:
        import sounddevice
    except ImportError as error:
        needs = "playing aloud needs sounddevice, which is not here"
        raise MediaMissingError(f"{needs}; {how_to_add('aloud')}") from error
    except OSError as error:  # the system's PortAudio is missing, on Linux a package of its own
        how = "on Debian and Ubuntu: apt install libportaudio2"
        raise MediaMissingError(
            f"playing aloud needs PortAudio, which is not here ({error}); {how}"
        ) from error
    return sounddevice


class _Played:
    """What the sound card has been handed; the card calls `fill` in a thread of its own."""

    def __init__(self, waiting: _Blocks, frames: int) -> None:
        self._waiting, self._frames, self._handed = waiting, frames, 0
        self._fault: Exception | None = None

    def fill(self, out: NDArray[np.float32], frames: int, at: object, status: object) -> None:
        """Hands over the next block, silence behind the last and after a fault."""
        out.fill(0)
        if self._handed < self._frames and self._fault is None:
            block = self._waiting.get()
            if isinstance(block, Exception):
                self._fault = block
            else:
                out[: len(block)] = block
        self._handed += frames

    def frame_heard(self, latency_frames: int) -> int | None:
        """The frame that is heard now; None when all has been; raises what went wrong in the making."""
        if self._fault is not None:
            raise self._fault
        at = max(0, self._handed - latency_frames)
        return at if at < self._frames else None


def _fill(ready: Preview, channels: int, waiting: _Blocks, stopped: Event) -> None:
    """Makes the blocks that wait to be played, and a fault, if there is one, as the last of them."""
    import numpy as np

    from cuetrack.mix.blocks import regrouped

    try:
        for block in regrouped(ready.blocks(), _BLOCK_FRAMES):
            if stopped.is_set():
                return
            waiting.put(block if block.shape[1] == channels else np.repeat(block, channels, axis=1))
    except Exception as error:  # for the thread that shows the countdown, which else would wait for ever
        waiting.put(error)
