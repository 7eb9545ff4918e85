"""`python -m cuetrack`: the same program as the `cuetrack` command."""

from cuetrack.cli import main

if __name__ == "__main__":
    main()
