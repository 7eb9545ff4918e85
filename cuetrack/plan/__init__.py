"""The plan language: its model, its reader, its JSON Schema, and a plan written back as text."""
