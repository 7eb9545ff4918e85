"""Inputs that are led by what they reach in the code (atheris, on libFuzzer), in a process of its own.

Started by `run.py` as `python -m tests.fuzz.guided READER FOLDER FLAGS…`, where FOLDER has `corpus` and
`suspects`. Inputs that seem at fault are kept as suspects: only `worker.py`, which watches nothing else,
can tell whether they are, since watching slows everything down.
"""

from __future__ import annotations

import sys
from hashlib import sha256
from pathlib import Path
from random import Random


def main() -> None:
    import atheris  # an extra, and every module of the tests is loaded to look for examples

    # What is loaded here is watched.
    with atheris.instrument_imports(include=["cuetrack", "ruamel", "openpyxl"], enable_loader_override=False):
        from tests.fuzz.seeds import MUTATIONS, seeds
        from tests.fuzz.worker import in_fresh_folder
    reader, folder = sys.argv[1], Path(sys.argv[2])
    mutation, originals = MUTATIONS[reader], seeds(reader)
    known: set[str] = set()

    def take(data: bytes) -> None:
        fault = in_fresh_folder(reader, data).fault
        # Slow ones show up when the whole collection is judged again.
        if fault and fault not in known and not fault.startswith("slow"):
            known.add(fault)
            (folder / "suspects" / sha256(data).hexdigest()[:16]).write_bytes(data)

    def mutated(data: bytes, most: int, seed: int) -> bytes:
        random = Random(seed)
        if random.randrange(4) == 0:
            return atheris.Mutate(data, most)
        return mutation(data, random, originals)[:most]

    atheris.Setup([sys.argv[0], *sys.argv[3:], str(folder / "corpus")], take, custom_mutator=mutated)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
