"""The guides hold what they promise: each command exists and runs on a book not seen before."""

import csv
import os
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import click
import pytest
import python_calamine
from made_book import write_book

from dutylife.cli import main
from dutylife.draft import draft_settings, write_draft
from dutylife.provenance import shipped_folder

GUIDES = shipped_folder("notebooks") / "guides"
NAMES = ("first_report", "reading_the_pages", "monthly_rerun")
ROOT = Path(__file__).parents[2]
LINK = re.compile(r"\]\(([^)#]+)[^)]*\)")


def commands(name: str) -> list[list[str]]:
    """Words of each line of the guide's sh blocks."""
    text = (GUIDES / f"{name}.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```sh\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    return [shlex.split(line, comments=True) for block in blocks for line in block.splitlines()]


@pytest.mark.parametrize("name", NAMES)
def test_every_command_and_option_of_a_guide_exists(name: str):
    told = commands(name)
    assert told
    for words in told:
        assert words[0] == "dutylife"
        command = main.commands[words[1]]
        options = {o for p in command.params if isinstance(p, click.Option) for o in p.opts}
        assert {w for w in words if w.startswith("--")} <= options


@pytest.mark.parametrize("page", [*(f"notebooks/guides/{n}.md" for n in NAMES), "README.md"])
def test_every_link_leads_somewhere(page: str):
    text = (ROOT / page).read_text(encoding="utf-8")
    links = [t for t in LINK.findall(text) if "://" not in t]
    assert links or page.endswith("reading_the_pages.md")
    for target in links:
        assert ((ROOT / page).parent / target).exists(), target


def test_the_readme_leads_to_each_guide():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in NAMES:
        assert f"notebooks/guides/{name}.md" in text


def test_notebooks_the_guide_names_are_there():
    text = (GUIDES / "monthly_rerun.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| ([a-z_, ]+) \| ", text, re.MULTILINE)
    named = {n.strip() for row in rows for n in row.split(",")} - {"notebook"}
    assert named == {p.stem for p in shipped_folder("notebooks").glob("*.ipynb")}


def answered(folder: Path, questions: tuple[str, ...]) -> int:
    """Do what the first guide says to each question and file; the number of lines written."""
    text = (folder / "my.toml").read_text(encoding="utf-8")
    n_lines = 0
    for question in questions:
        asked = re.search(r"then write (\w+ = \".*?\")", question)
        assert asked, f"the guide tells no answer to: {question}"
        assert f"# not sure: {asked[1]}" in text
        text = text.replace(f"# not sure: {asked[1]}", asked[1])
        n_lines += 1
    found = {"on_hand": "liegt da", "supplier": "von wem", "lead_time_days": "Tage bis da"}
    lines = "\n".join(f'{ours} = "{header}"' for ours, header in found.items())
    text = text.replace('unit_cost = "EK"', f'{lines}\nunit_cost = "EK"')
    (folder / "my.toml").write_text(text, encoding="utf-8")
    with (folder / "duty.csv").open(encoding="utf-8", newline="") as file:
        head, *rows = list(csv.reader(file))
    with (folder / "duty.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([head, *([*row[:-1], "yes"] for row in rows)])
    return n_lines + len(found) + len(rows)


def test_a_book_in_words_of_its_own_is_drafted_with_one_question(tmp_path: Path):
    book = write_book(tmp_path / "exports", n_machines=30)
    draft = draft_settings([tmp_path / "exports" / "*"], tmp_path)
    write_draft(draft, tmp_path / "my.toml")
    (question,) = draft.questions
    assert "does 'für wen' (Pflasterbau Nord" in question
    exports = {e["path"]: e for e in tomllib.loads(draft.text)["exports"]}
    assert exports["exports/Werkstattbuch.csv"]["columns"] == {
        "ticket": "Zettel", "service_date": "wann", "unit_id": "Gerät", "complaint": "Klage",
        "meter_hours": "Zähler Std", "work_done": "gemacht", "part_number": "Teil",
        "description": "Was", "quantity": "Stk", "unit_price": "je Stk",
    }  # fmt: skip
    machines = exports["exports/Geräteliste.csv"]
    assert machines["kind"] == "machines"
    assert machines["columns"]["in_service_on"] == "im Einsatz seit"
    assert exports["exports/Regal.csv"]["kind"] == "parts"
    told = " ".join(draft.hints)
    assert "'liegt da' (0, 1)" in told
    assert "no column found for on_hand" in told
    assert "it is taken that nothing is on its way" in told
    assert "stone dust" in draft.to_confirm
    assert "any name of your own" in draft.to_confirm
    customers = {r["customer"] for r in csv.DictReader(draft.duty_csv.splitlines())}
    assert customers == {row[3] for row in book.machines}


def run_line(words: list[str], folder: Path) -> str:
    """Run a line of a guide as its reader would, in the folder of the files."""
    given = [str(p) for w in words[1:] for p in (sorted(folder.glob(w)) if "*" in w else [w])]
    source = os.pathsep.join(filter(None, [str(ROOT / "src"), os.environ.get("PYTHONPATH", "")]))
    done = subprocess.run(
        [sys.executable, "-m", "dutylife", *given], cwd=folder, capture_output=True, text=True,
        check=False, timeout=900, env=os.environ | {"PYTHONPATH": source},
    )  # fmt: skip
    assert done.returncode in (0, 1), f"{' '.join(words)}\n{done.stdout}{done.stderr}"
    assert "Traceback" not in done.stderr
    return done.stdout


@pytest.mark.slow
def test_the_guides_run_end_to_end_on_a_book_not_seen_before(tmp_path: Path):
    book = write_book(tmp_path / "exports", n_machines=30)
    draft, check, run = commands("first_report")
    told = run_line(draft, tmp_path)
    asked = tuple(re.findall(r"to answer: (.*)", told))
    answered(tmp_path, asked)
    said = run_line(check, tmp_path)
    assert f"{book.n_lines} lines, 30 machines" in said
    assert f"set aside {book.n_sums}" in said
    assert "0 texts not understood" in said
    assert (tmp_path / "looked-at" / "to_review.csv").is_file()
    said = run_line(run, tmp_path)
    assert "Order " in said
    (folder,) = (tmp_path / "reports" / tmp_path.name).glob("20*")
    for page in ("stock.html", "maintenance.html", "evidence.html", "wall-cards.html"):
        assert (folder / page).is_file()
    rows = python_calamine.load_workbook(str(folder / "order-list.xlsx")).get_sheet_by_index(0)
    head, *lines = rows.to_python()
    assert {str(r[head.index("part_number")]) for r in lines} >= {"Z-118", "L-731", "K-650"}
    assert "Assumed" in (folder / "stock.html").read_text(encoding="utf-8")
    (sheet,) = commands("reading_the_pages")
    sheet[sheet.index("--unit") + 1] = book.machines[0][0]
    assert book.machines[0][0] in run_line(sheet, tmp_path)
    for line in commands("monthly_rerun"):
        run_line(line, tmp_path)
    assert (folder.parent / "2025-09-30" / "stock.html").is_file()
