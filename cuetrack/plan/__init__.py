"""The plan language: its model, its reader, its JSON Schema; what stands beside plans: house and series."""
