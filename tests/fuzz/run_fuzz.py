"""Many generated inputs over readers, settings and texts; prints what became of them.

    python tests/fuzz/run_fuzz.py --inputs 100000 --seed 1 --out FOLDER

FOLDER gets the smallest input of each kind of crash, with how it came about. Exit 1 where there
is one. The short form of the same runs with the tests (test_fuzz.py).
"""

import argparse
import resource
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from fuzzing import Tally, run  # noqa: E402

# shares of the inputs; whole exports are slow, texts are coded many at once
SHARES = {"texts": 0.6, "settings": 0.25, "files": 0.12, "keys": 0.02, "wholes": 0.01}


def main() -> int:
    """Parse, run, tell."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path("fuzz-found"))
    parser.add_argument("--only", choices=sorted(SHARES))
    given = parser.parse_args()
    # an input that asks for more is a crash
    resource.setrlimit(resource.RLIMIT_AS, (6 << 30, resource.getrlimit(resource.RLIMIT_AS)[1]))
    tally, started = Tally(), time.monotonic()
    for kind, share in SHARES.items():
        if given.only in (None, kind):
            size = given.inputs if given.only else round(given.inputs * share)
            run(tally, {kind: size}, derandomize=False, seed=given.seed)
            print(f"{kind}: {time.monotonic() - started:.0f} s", flush=True)
    for what, n in sorted(tally.seen.items()):
        print(f"  {what:40} {n:>8}")
    print(f"{tally.n_inputs} inputs, {len(tally.crashes)} kinds of crash")
    for sign in tally.crashes:
        print(f"  {sign}")
    tally.write(given.out)
    return 1 if tally.crashes else 0


if __name__ == "__main__":
    sys.exit(main())
