"""Loudness and true peak as ffmpeg's own meter (filter `ebur128`) reads them: an independent reference."""

from __future__ import annotations

import re
import subprocess
from dataclasses import dataclass

import imageio_ffmpeg
import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class FfmpegReading:
    """The last values of a whole programme, and momentary and short-term loudness every 100 ms."""

    integrated_lufs: float
    range_lu: float
    true_peak_dbtp: float
    momentary_lufs: NDArray[np.float64]
    short_term_lufs: NDArray[np.float64]


def ffmpeg_reading(samples: NDArray[np.float32], rate_hz: int) -> FfmpegReading:
    """Of samples of shape (frames, channels)."""
    source = ["-f", "f32le", "-ar", str(rate_hz), "-ac", str(samples.shape[1]), "-i", "-"]
    meter = ["-af", "ebur128=peak=true:metadata=1,ametadata=print:file=-", "-f", "null", "-"]
    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-hide_banner", "-nostats", *source, *meter]
    data = np.ascontiguousarray(samples, "<f4").tobytes()
    answer = subprocess.run(command, input=data, capture_output=True, check=True).stdout.decode()

    def series(key: str) -> NDArray[np.float64]:
        return np.array([float(text) for text in re.findall(rf"lavfi\.r128\.{key}=(\S+)", answer)])

    peaks = series(r"true_peaks_ch\d+").max()
    return FfmpegReading(series("I")[-1], series("LRA")[-1], 20 * np.log10(peaks), series("M"), series("S"))
