"""The command line: parses arguments, calls the pipeline, says in words how it went."""

import os
import sys
import traceback
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from dutylife.disk import trouble_of
from dutylife.errors import DutylifeError
from dutylife.secret import without_secrets

if TYPE_CHECKING:
    from dutylife.pipeline import RunResult

# one BLAS thread, set before numpy loads: sums then come out the same to the last bit
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")


FAULT_OF_OURS = 70  # never 1, which says that the run is done


class _Commands(click.Group):
    """Turns an error the user can mend into one message and exit code 2, a bug into 70."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except DutylifeError as error:
            click.echo(f"dutylife: {without_secrets(str(error))}", err=True)
            ctx.exit(2)
        except (click.exceptions.Exit, click.ClickException, click.Abort):
            raise
        except BrokenPipeError:  # the reader of our output has gone, as with "| head"
            raise
        except Exception as error:
            told = trouble_of(error, ctx.invoked_subcommand or "")
            if told is not None:
                click.echo(f"dutylife: {without_secrets(str(told))}", err=True)
                ctx.exit(2)
            click.echo(without_secrets(traceback.format_exc()), err=True)
            click.echo(
                "dutylife: this is a fault of the program, not of your files; nothing was "
                "written. Please report the lines above with the settings file.",
                err=True,
            )
            ctx.exit(FAULT_OF_OURS)


def _progress() -> Any:
    """Show each step on the error stream: one living line on a terminal, else a line each."""
    if not sys.stderr.isatty():
        return lambda step: click.echo(f"  {step}", err=True)
    from tqdm import tqdm

    bar = tqdm(bar_format="  {elapsed}  {desc}", file=sys.stderr, leave=False)
    return bar.set_description_str


def _finish(result: "RunResult") -> None:
    for one in result.failed:
        click.echo(f"{one.text}:\n{one.trace}", err=True)
    click.echo(result.text)
    sys.exit(result.exit_code)


_OUT = click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False),
    help="Folder of the run; reports/FLEET/AS-OF when not given.",
)  # fmt: skip


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="dutylife")
def main() -> None:
    """From a shop's exported history to intervals, visits and an order list."""


@main.command()
@_OUT
def demo(out: Path | None) -> None:
    """Run the main job on the invented demo fleet."""
    from dutylife.pipeline import run
    from dutylife.provenance import shipped_folder

    _finish(run(shipped_folder("data_demo") / "dutylife.toml", out=out, progress=_progress()))


@main.command("draft")
@click.argument("exports", nargs=-1, required=True, metavar="EXPORT...")
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Settings file to write; dutylife.toml beside the first export when not given.",
)
@click.option(
    "--replace", is_flag=True, help="Replace a settings file and duty.csv there, which are kept."
)
def draft_command(exports: tuple[str, ...], out: Path | None, *, replace: bool) -> None:
    """Look at exports and write a settings file: proposed columns, how sure, what to ask."""
    from dutylife.draft import KEPT, default_out, draft_settings, write_draft

    target = out or default_out(list(exports))
    draft = draft_settings(list(exports), target.parent)
    for path in write_draft(draft, target, replace=replace):
        click.echo(f"{'kept' if path.name.endswith(KEPT) else 'written'}: {path}")
    for question in draft.questions:
        click.echo(f"  to answer: {question}")
    for hint in draft.hints:
        click.echo(f"  {hint}")
    if draft.to_confirm:
        click.echo(f"  to confirm in duty.csv: {draft.to_confirm}")
    sys.exit(1 if draft.questions else 0)


@main.command("run")
@click.argument("settings", type=click.Path(path_type=Path))
@click.option("--as-of", type=click.DateTime(["%Y-%m-%d"]), help="Last day the run may know of.")
@click.option(
    "--anonymise",
    is_flag=True,
    help="Write it under pseudonyms, to be shared: no name, ticket or free text stays.",
)
@_OUT
def run_command(
    settings: Path, as_of: datetime | None, out: Path | None, *, anonymise: bool
) -> None:
    """Run the main job on your own export files."""
    from dutylife.pipeline import run

    day = as_of.date() if as_of else None
    _finish(run(settings, as_of=day, out=out, progress=_progress(), anonymise=anonymise))


@main.command("check")
@click.argument("settings", type=click.Path(path_type=Path))
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), help="Also write the tables here."
)
def check_command(settings: Path, out: Path | None) -> None:
    """Read and code only: what was read, set aside, not understood."""
    from dutylife.pipeline import check

    _finish(check(settings, out=out, progress=_progress()))


@main.command("sheet")
@click.argument("settings", type=click.Path(path_type=Path))
@click.option("--unit", required=True, help="The machine.")
@click.option("--complaint", default="", help="What the customer says is wrong.")
@click.option(
    "--already",
    multiple=True,
    metavar="COMPONENT,...",
    help="Changed or found in order already; may be given again.",
)
@click.option(
    "--run",
    "run_folder",
    type=click.Path(path_type=Path, file_okay=False),
    help="A finished run; the latest one of these settings if none, else one is made.",
)
def sheet_command(
    settings: Path, unit: str, complaint: str, already: tuple[str, ...], run_folder: Path | None
) -> None:
    """Write one machine's sheet: what to check first, what is due, what to bring, the price."""
    from dutylife.sheets import sheet

    made = sheet(settings, unit, complaint, already, run_folder=run_folder, progress=_progress())
    for name, error in made.page.failed.items():
        click.echo(f"section '{name}' failed:\n{error}", err=True)
    click.echo(made.text)
    sys.exit(made.exit_code)


@main.command("print")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path, file_okay=False))
@click.option("--browser", metavar="FILE", help="The Chromium to take; the installed one if none.")
def print_command(folder: Path, browser: str | None) -> None:
    """Print each page of a finished run to PDF beside it, by a headless Chromium."""
    from dutylife.reports import print_pages

    made = print_pages(folder, browser=browser, progress=_progress())
    click.echo(f"{len(made)} pages printed\n  in {folder}")


@main.command("backtest")
@click.argument("settings", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder; reports/backtest if none.",
)
@click.option("--back", type=click.IntRange(1, 36), default=6, show_default=True,
              help="Months to go back.")  # fmt: skip
def backtest_command(settings: Path, out: Path | None, back: int) -> None:
    """Roll the as-of date back month by month: forecasts of parts against what came."""
    from dutylife.backtest import backtest

    found = backtest(settings, out=out, n_back=back, progress=_progress())
    click.echo(f"{found.text}\n  in {found.folder}")


@main.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path, file_okay=False))
@click.option("--settings", type=click.Path(path_type=Path), help="Scenario file; ours if none.")
@click.option("--units", type=click.IntRange(1), default=120, show_default=True)
@click.option("--years", type=click.FloatRange(0.5, 40), default=4.0, show_default=True)
@click.option("--seed", type=click.IntRange(0), default=7, show_default=True)
@click.option("--shape", default="lines", show_default=True, help="Form of the export.")
@click.option(
    "--difficulty",
    "difficulties",
    metavar="NAME=STRENGTH",
    multiple=True,
    help="0 to 1; may be given again for others.",
)
@click.option("--no-duty", is_flag=True, help="Leave the duties to be confirmed.")
def practice(
    folder: Path,
    settings: Path | None,
    units: int,
    years: float,
    seed: int,
    shape: str,
    difficulties: tuple[str, ...],
    no_duty: bool,
) -> None:
    """Write an invented fleet with known laws into DIR: its export, and the truth beside it."""
    from dutylife.practice import make_practice, strengths_of

    written = make_practice(
        folder,
        n_units=units,
        n_years=years,
        seed=seed,
        shape=shape,
        settings_file=settings,
        difficulties=strengths_of(difficulties),
        says_duty=not no_duty,
    )
    for name, path in written.items():
        click.echo(f"{name:12} {path}")


@main.command("prove")
@click.option("--fleets", type=click.IntRange(1), help="Fleets a cell; the size's own if none.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("reports/prove"),
    show_default=True,
    help="Folder of the page; finished fleets there are taken up again.",
)
@click.option(
    "--size",
    type=click.Choice(["smoke", "full"]),
    default="smoke",
    show_default=True,
    help="Sizes of fleets; not with --lives, --models, --money or --demand.",
)
@click.option("--workers", type=click.IntRange(1), default=1, show_default=True, help="Processes.")
@click.option("--scheduler", default="", metavar="ADDRESS", help="Dask scheduler to use.")
@click.option("--seed", type=click.IntRange(0), default=20260101, show_default=True)
@click.option(
    "--lives",
    is_flag=True,
    help="Only the failure-event table, against the true lives; page and tables go to OUT/lives.",
)
@click.option(
    "--case", "wanted", multiple=True, help="With --lives: 'none', 'all on' or one difficulty."
)
@click.option(
    "--models",
    is_flag=True,
    help="Only the life models, against laws of made-up lives; page and tables go to OUT/models.",
)
@click.option(
    "--money",
    is_flag=True,
    help="Only replacement ages, against laws of made-up lives; page and table go to OUT/money.",
)
@click.option(
    "--demand",
    is_flag=True,
    help="Only the demand forecast, against a true future; page and tables go to OUT/demand.",
)
@click.option(
    "--cells",
    type=click.IntRange(16),
    help="With --models or --money: pooled cells a size; 2000 or 800 if none.",
)
@click.pass_context
def prove_command(
    context: click.Context,
    fleets: int | None,
    out: Path,
    size: str,
    workers: int,
    scheduler: str,
    seed: int,
    *,
    lives: bool,
    wanted: tuple[str, ...],
    models: bool,
    money: bool,
    demand: bool,
    cells: int | None,
) -> None:
    """Run invented fleets of known laws through the whole chain and score the answers."""
    from dutylife.prove import prove, prove_demand, prove_lives, prove_models, prove_money
    from dutylife.spread import Compute, require_scheduler

    if scheduler:
        require_scheduler(scheduler)
    at = Compute(workers=workers, scheduler=scheduler)
    kinds = {"--lives": lives, "--models": models, "--money": money, "--demand": demand}
    _refuse_unused(context, [name for name, asked in kinds.items() if asked])
    if money or models:
        hold, folder = (prove_money, out / "money") if money else (prove_models, out / "models")
        size_of = {} if cells is None else {"n_cells": cells}
        shown = hold(seed=seed, workers=at, progress=_progress(), **size_of).written(folder)
        click.echo(f"{shown.text}\n  in {folder}")
        return
    if demand:
        held = prove_demand(
            n_fleets=fleets or 20,
            seed=seed,
            workers=at,
            progress=_progress(),
            kept=out / "demand" / "parts",
        ).written(out / "demand")
        click.echo(f"{held.text}\n  in {out / 'demand'}")
        return
    if lives:
        found = prove_lives(wanted=wanted, n_fleets=fleets or 5, seed=seed, workers=at).written(
            out / "lives"
        )
        click.echo(f"{found.text}\n  in {out / 'lives'}")
        return
    proof = prove(out, size=size, n_fleets=fleets, seed=seed, workers=at, progress=_progress())
    click.echo(proof.text)


def _refuse_unused(context: click.Context, asked: list[str]) -> None:
    """Refuse options that this kind of proof would not look at."""
    if len(asked) > 1:
        number = {2: "two", 3: "three", 4: "four"}[len(asked)]
        raise DutylifeError(
            f"{' and '.join(asked)} are {number} proofs.", f"dutylife prove {' '.join(asked)}",
            "give one of them, then the other; both may go to the same --out",
        )  # fmt: skip
    kind = asked[0] if asked else ""
    # option, the kinds of proof that look at it ("" the whole chain), what to do instead
    known = {
        "size": ("--size", ("",), "leave out --size"),
        "wanted": ("--case", ("--lives",), "add --lives, or leave out --case"),
        "fleets": (
            "--fleets",
            ("", "--lives", "--demand"),
            "leave out --fleets; --cells says how many",
        ),
        "cells": (
            "--cells",
            ("--models", "--money"),
            "add --models or --money, or leave out --cells",
        ),
    }
    for name, (option, kinds, mend) in known.items():
        if kind in kinds or context.get_parameter_source(name) is ParameterSource.DEFAULT:
            continue
        told = f"with {kind}" if kind else f"without {kinds[0]}"
        raise DutylifeError(
            f"{option} has no effect {told}.", f"dutylife prove {kind} {option}".replace("  ", " "),
            mend,
        )  # fmt: skip


if __name__ == "__main__":
    main()
