"""Sound as arrays: tones, the built-in pulse, levels, loudness, resampling; and sound files → arrays.

A clip is float32, mono, shape (frames,), full scale 1.0; what has channels has shape (frames, channels).
Files are read by `decoding` alone, with ffmpeg where libsndfile cannot.
"""
