"""The page of a back-test: past forecasts and shelf levels against what came."""

from pathlib import Path
from typing import Any

import pandas as pd

from dutylife.reports.layout import Section
from dutylife.reports.proofs.prove_page import write_proof
from dutylife.reports.proofs.prove_parts import as_words
from dutylife.reports.tables import Shown, html_table
from dutylife.wording import count, number

TITLE = "How past forecasts of parts did"
LEAD = (
    "For each month the program was run as if it were the end of that month, with the lines booked "
    "by then, and its forecast held against what was then asked for. The levels it would have set "
    "were replayed day by day on the same lines.",
)
FOOTER = (
    "What forecast best before need not do so next. For work that can hurt someone, the maker's "
    "manual, local codes and licensed practice stand above any number."
)
FORECAST, LAST_YEAR = "forecast", "last year's usage"
WORDS = {
    FORECAST: "this program (lives and series, weighted)", "lives": "lives only",
    "series": "series only", "sba": "Croston, bias removed", "croston": "Croston",
    "tsb": "chance and size smoothed", "seasonal naive": "same months last year",
}  # fmt: skip


def backtest_answer(tables: dict[str, pd.DataFrame]) -> str:
    """Say in short how far forecasts lay off and what the shelf gave, beside last year's usage."""
    losses = _losses(as_words(tables["forecast_scores"]))
    loss = {str(m): float(v) for m, v in zip(losses["method"], losses["loss"], strict=True)}
    shelves = _shelf(as_words(tables["backtest_stock"]))
    fill = {str(m): float(v) for m, v in zip(shelves["method"], shelves["fill"], strict=True)}
    held = {str(m): float(v) for m, v in zip(shelves["method"], shelves["held_mean"], strict=True)}
    months = tables["forecast_scores"]["as_of"].nunique()
    if not {FORECAST, LAST_YEAR} <= set(loss) or not loss[LAST_YEAR] > 0:
        return "No past forecast could be scored."
    apart = 100 * (loss[FORECAST] / loss[LAST_YEAR] - 1)
    return (
        f"Over {count(months, 'month')} past forecasts were off by {number(abs(apart), 2)} % "
        f"{'less' if apart < 0 else 'more'} than last year's usage (loss of the quantiles). Its "
        f"levels gave {number(100 * fill[FORECAST], 3)} % of the pieces asked for at once with "
        f"{number(held[FORECAST])} on the shelf, last year's average month "
        f"{number(100 * fill[LAST_YEAR], 3)} % with {number(held[LAST_YEAR])}."
    )


def write_backtest_page(
    folder: str | Path, tables: dict[str, pd.DataFrame], info: dict[str, Any]
) -> Path:
    """Write DIR/backtest.html.

    Parameters
    ----------
    folder : str or Path
    tables : dict of DataFrame
        forecast_scores, backtest_stock.
    info : dict
        name, as_of, n_back, currency, booking_delay_days.

    Returns
    -------
    Path
    """
    scores, stock = (as_words(tables[n]) for n in ("forecast_scores", "backtest_stock"))
    sections = [
        Section("What it shows", backtest_answer(tables)),
        _forecasts(scores), _stock(stock, info["currency"]), _terms(info),
    ]  # fmt: skip
    made = f"{info['name']}, as of {info['as_of']}, {info['n_back']} months back"
    return write_proof(Path(folder) / "backtest.html", TITLE, LEAD, sections, made, FOOTER)


def _losses(scores: pd.DataFrame) -> pd.DataFrame:
    """Mean loss and coverage by method over spans of one month."""
    return _by_method(scores[scores["months"] == 1.0])


def _by_method(rows: pd.DataFrame) -> pd.DataFrame:
    found = rows.groupby("method").agg(
        loss=("pinball_loss", "mean"), p80=("under_p80", "mean"), p95=("under_p95", "mean"),
        n=("pinball_loss", "size"),
    )  # fmt: skip
    return found.sort_values(["loss"], kind="stable").reset_index()


def _shelf(stock: pd.DataFrame) -> pd.DataFrame:
    found = stock.groupby("method")[
        ["asked", "given", "held_mean", "held_money", "n_orders", "n_short_days"]
    ].sum()
    fill = (found["given"] / found["asked"]).where(found["asked"] > 0, 1.0)
    return found.assign(fill=fill).sort_values("fill", ascending=False, kind="stable").reset_index()


def _forecasts(scores: pd.DataFrame) -> Section:
    parts = []
    for months, rows in scores.groupby("months"):
        span = "a month" if months == 1 else f"{months:.0f} months"
        shown = [
            _method(),
            Shown(
                name="loss",
                heading="loss of the quantiles",
                unit="pieces",
                number=True,
                write=lambda v: number(v, 3),
            ),
            _share("p80", "at or under p80"),
            _share("p95", "at or under p95"),
            Shown(name="n", heading="forecasts", number=True, write=lambda v: f"{v:.0f}"),
        ]
        caption = f"Forecasts of {span}, the smallest loss first."
        parts.append(html_table(_named(_by_method(rows)), shown, caption=caption))
    told = (
        "The loss is the mean pinball loss of the 50, 80 and 95 % quantiles over parts and months: "
        "too low costs more the higher the quantile. Pieces are whole, so more than 80 and 95 % "
        "lie at or under them.",
    )
    return Section("Forecasts against what came", "", told, tuple(parts))


def _stock(stock: pd.DataFrame, currency: str) -> Section:
    shown = [
        _method(),
        _share("fill", "given at once"),
        Shown(
            name="held_money",
            heading="money on the shelf",
            unit=currency,
            number=True,
            write=lambda v: number(v, 4),
        ),
        Shown(
            name="held_mean",
            heading="pieces on the shelf",
            number=True,
            write=lambda v: number(v, 4),
        ),
        Shown(name="n_orders", heading="orders", number=True, write=lambda v: f"{v:.0f}"),
        Shown(name="n_short_days", heading="days short", number=True, write=lambda v: f"{v:.0f}"),
    ]
    told = (
        "Levels are set anew at the end of each month, by the same rule for every forecast; last "
        "year's usage keeps an average month. The year before is replayed under the first levels "
        "and not counted, so that no shelf starts full. Money counts only parts whose purchase "
        "cost is known. Days short are days on which a part asked for was not there, added up "
        "over the parts.",
    )
    table = html_table(_named(_shelf(stock)), shown, caption="Shelves replayed under each method.")
    return Section("The shelf replayed", "", told, (table,))


def _terms(info: dict[str, Any]) -> Section:
    told = (
        f"Each run knows the lines up to {info['booking_delay_days']} days before its date: the "
        "last ones count as not booked yet. Later coding, corrections, days of leaving, changes "
        "of duty and announced work are taken out.",
        "What a list says only as of today (a machine's class and customer, purchase costs, lead "
        "times) can't be rolled back.",
    )
    return Section("What a rolled-back run knows", "", told)


def _named(rows: pd.DataFrame) -> pd.DataFrame:
    return rows.assign(method=[WORDS.get(str(m), str(m)) for m in rows["method"]])


def _method() -> Shown:
    return Shown(name="method", heading="method", write=str, number=False)


def _share(name: str, heading: str) -> Shown:
    return Shown(
        name=name, heading=heading, unit="%", number=True, write=lambda v: number(100 * v, 3)
    )
