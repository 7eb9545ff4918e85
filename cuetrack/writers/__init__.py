"""Arrangement or blocks of samples → files, one format a module; a file appears whole or not at all."""
