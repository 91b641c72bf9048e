"""F1 of "failed" on practice fleets whose texts are typed as badly as can be.

Run: ``PYTHONPATH=src python tests/coding/failed_score.py [--without-shared] [SEED...]``. With
--without-shared every phrase of two words or more that stands in the practice fleet's own phrases
is first taken out of the lexicon: its author had seen them.

Counted are failures of machines that came in within a week (of others no text tells), against
events coded as failure with a confidence of 0.5 or more that are not flagged as comebacks.
"""

import sys
import tempfile
from dataclasses import replace
from importlib import resources
from pathlib import Path

import pandas as pd

from dutylife.coding import coder
from dutylife.coding.lexicon import Lexicon, build_lexicon
from dutylife.coding.matching import phrase_tokens
from dutylife.intake import read_exports
from dutylife.practice import make_practice
from dutylife.settings import Settings, read_settings

SEEDS = (21, 22, 23, 24, 25)
_CHANGED = ("replace", "repair", "clean", "adjust")


def without_shared(settings: Settings) -> Lexicon:
    """The lexicon without phrases of two words or more that the practice fleet types."""
    lexicon = build_lexicon(settings)
    folder = resources.files("dutylife.practice")
    typed = phrase_tokens(folder.joinpath("phrases.toml").read_text(encoding="utf-8"))
    n = range(2, 7)
    grams = {typed[i : i + k] for k in n for i in range(len(typed) - k + 1)}
    named = {"component"}
    kept = {
        p: m
        for p, m in lexicon.phrases.items()
        if len(p) < 2 or p not in grams or {x.kind for x in m} <= named
    }
    return replace(lexicon, phrases=kept)


def score(seed: int, folder: Path, *, n_units: int = 40, n_years: float = 2) -> dict[str, float]:
    """Hits, misses and false failures of one fleet, typed text at full difficulty."""
    files = make_practice(
        folder, n_units=n_units, n_years=n_years, seed=seed, difficulties={"typed_text": 1.0}
    )
    settings = read_settings(files["settings"])
    tables = read_exports(settings).tables
    coded = coder.code_lines(tables["service_lines"], tables["units"], tables["shelf"], settings)
    events = coded["maintenance_events"].astype({"unit_id": "object", "component": "object"})
    events = events[events["activity"].isin(_CHANGED) & (events["reason"] == "failure")]
    events = events[(events["confidence"] >= 0.5) & ~events["is_comeback"]]
    events = events.sort_values("event_date")
    lives = pd.read_csv(files["lives"], parse_dates=["ended_on"])
    lives["ended_on"] = lives["ended_on"].astype("datetime64[ns]")  # pandas 3 reads microseconds
    first, last = tables["service_lines"]["service_date"].agg(["min", "max"])
    failed = lives[lives["event"] == "failed"].sort_values("ended_on")
    visits = tables["service_lines"][["unit_id", "service_date"]].drop_duplicates().dropna()
    came = pd.merge_asof(
        failed, visits.astype({"unit_id": "object"}).sort_values("service_date"), by="unit_id",
        left_on="ended_on", right_on="service_date", direction="forward",
        tolerance=pd.Timedelta(days=6),
    )  # fmt: skip
    came = came[came["service_date"].notna()].drop(columns="service_date")
    near = {"by": ["unit_id", "component"]}
    # a failure is billed within a week of its day
    found = pd.merge_asof(
        came[came["ended_on"].between(first, last - pd.Timedelta(days=7))],
        events[["unit_id", "component", "event_date"]].assign(seen=1),
        left_on="ended_on", right_on="event_date", direction="forward",
        tolerance=pd.Timedelta(days=6), **near,
    )  # fmt: skip
    right = pd.merge_asof(
        events[["unit_id", "component", "event_date"]],
        failed[["unit_id", "component", "ended_on"]].assign(seen=1),
        left_on="event_date", right_on="ended_on", direction="backward",
        tolerance=pd.Timedelta(days=6), **near,
    )  # fmt: skip
    recall, precision = found["seen"].notna().mean(), right["seen"].notna().mean()
    return {
        "n_failed": len(found), "n_coded": len(right), "precision": precision, "recall": recall,
        "f1": 2 * precision * recall / (precision + recall),
    }  # fmt: skip


def main(arguments: list[str]) -> None:
    """Print a line a seed and the mean."""
    if "--without-shared" in arguments:
        coder.build_lexicon = without_shared  # type: ignore[attr-defined]
    seeds = [int(a) for a in arguments if a.isdigit()] or list(SEEDS)
    scores = []
    for seed in seeds:
        with tempfile.TemporaryDirectory() as folder:
            scores.append(score(seed, Path(folder)))
        print(seed, " ".join(f"{k} {v:.3f}" for k, v in scores[-1].items()))
    print(f"mean F1 of failed: {sum(s['f1'] for s in scores) / len(scores):.3f}")


if __name__ == "__main__":
    main(sys.argv[1:])
