"""Audio back → where each cue really is: renders against their plan, recordings against the programme."""
