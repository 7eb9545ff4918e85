"""Arrangement and its sounds → the programme as blocks of samples: summing; bed and mastering come here."""
