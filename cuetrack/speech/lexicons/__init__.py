"""How short forms and trade words are spoken: one table a language, as data."""
