"""Timeline and measured sounds → arrangement: an integer frame for every sound, overruns as diagnostics."""
