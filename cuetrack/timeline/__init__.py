"""A validated plan → phases that tile the session and cues at exact instants; no voice needed."""
