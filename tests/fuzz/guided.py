"""Inputs that follow the paths they open in the readers and settings (needs ``atheris``).

    python tests/fuzz/guided.py --runs 20000 --seed 1 --out FOLDER

The first byte says which kind of file the rest is; it starts from the sound files of seeds.py.
Stops at the first input that is neither read nor refused in our words, and keeps it in FOLDER.
"""

import argparse
import sys
import tempfile
import warnings
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

SETTINGS = "run.toml"


def main() -> None:
    """Seed, run, tell."""
    import atheris

    # what is imported here is watched
    with atheris.instrument_imports(include=["dutylife.intake", "dutylife.settings"]):
        import fuzzing
        import seeds

        from dutylife.errors import DutylifeError
        from dutylife.settings import read_settings

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path("fuzz-found"))
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    # old workbooks take a process each: too slow here
    every = [SETTINGS, *sorted(n for n in seeds.files() if not n.endswith(".xls"))]
    folder = Path(tempfile.mkdtemp())
    sound = folder / "sound"
    sound.mkdir()
    for number, name in enumerate(every):
        made = seeds.settings_texts() if name == SETTINGS else (seeds.files()[name],)
        for i, data in enumerate(made):
            data = data.encode() if isinstance(data, str) else data
            (sound / f"{number}-{i}").write_bytes(bytes([number]) + data)
    (folder / "lines.csv").write_bytes(seeds.files()["comma.csv"])
    warnings.simplefilter("ignore")

    def one_input(data: bytes) -> None:
        if not data:
            return
        name = every[data[0] % len(every)]
        path = folder / name
        try:
            if name == SETTINGS:
                path.write_bytes(data[1:])
                fuzzing.use_settings(folder, lambda: read_settings(path))
            else:
                fuzzing.read_file(folder, name, data[1:])
        except DutylifeError as error:
            if not (error.what and error.mend):
                raise RuntimeError("no cure is told") from error

    options = [
        sys.argv[0], str(sound), f"-runs={given.runs}", f"-seed={given.seed}", "-timeout=60",
        "-max_len=20000", f"-artifact_prefix={given.out}/", "-rss_limit_mb=6000",
    ]  # fmt: skip
    atheris.Setup(options, one_input)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
