"""Inputs made to break the readers: of plans, series, house styles and tables.

`python -m tests.fuzz.run --help` says how to run them for longer than a test may.
"""
