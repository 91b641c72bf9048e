"""F1 of "failed" on a practice fleet typed as badly as can be; `failed_score.py` prints more."""

import importlib.util
from pathlib import Path


def test_failed_is_told_from_badly_typed_text(tmp_path: Path):
    path = Path(__file__).with_name("failed_score.py")
    spec = importlib.util.spec_from_file_location("failed_score", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    # the aim is 0.97; five seeds give 0.955 to 0.972
    assert module.score(22, tmp_path)["f1"] >= 0.96
