"""Sound as arrays: tones, levels, loudness, resampling; pure functions, no files.

Every clip is float32, mono, shape (frames,), full scale 1.0.
"""
