"""CueTrack compiles a session plan into a sample-exact cue track and all that must agree with it."""

__version__ = "0.1.0"
