"""What the voice says: wording by language, as data; one module a language."""
