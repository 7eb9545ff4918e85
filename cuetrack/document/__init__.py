"""Text of ours in YAML → validated models, every value with its line and column, all mistakes in one run."""
