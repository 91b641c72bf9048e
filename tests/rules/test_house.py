"""The house keeps its order: who may import whom, what each folder is for, what may write."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

import dutylife

SRC = Path(__file__).parents[2] / "src" / "dutylife"
TOP = Path(__file__).parents[2]
RANKS = [
    {"errors", "vocabulary", "wording"}, {"disk", "secret"}, {"schema"}, {"provenance"},
    {"earlier_runs"},
    {"settings"}, {"spread"}, {"components"},
    {"practice"}, {"intake"}, {"draft"}, {"coding"}, {"lives"}, {"models"}, {"decisions"},
    {"sensitivity"}, {"stock"},
    {"privacy"}, {"reports"}, {"run_folder"}, {"history"}, {"pipeline"}, {"sheets"}, {"backtest"},
    {"prove"}, {"cli"}, {"__main__"},
]  # fmt: skip
RANK = {name: i for i, names in enumerate(RANKS) for name in names}
FILES = sorted(p for p in SRC.rglob("*.py") if p != SRC / "__init__.py")
ONLY_IN = {
    "lifelines": {"models"},
    "matplotlib": {"reports"},
    "seaborn": {"reports"},
    "python_calamine": {"intake"},
    "nbclient": {"reports"},
    "joblib": {"spread"},
    "distributed": {"spread"},
}


def stage(path: Path) -> str:
    return path.relative_to(SRC).parts[0].removesuffix(".py")


def imports(tree: ast.AST) -> list[str]:
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [a.name for a in node.names]
        elif isinstance(node, ast.ImportFrom):
            if node.module == "dutylife":
                found += [f"dutylife.{a.name}" for a in node.names]
            elif node.level == 0:
                found.append(node.module or "")
            else:
                found.append("RELATIVE")
    return found


def breaches(path: Path, text: str) -> list[str]:
    """What a file imports that it may not."""
    own, out = stage(path), []
    for name in imports(ast.parse(text)):
        parts = name.split(".")
        if name == "RELATIVE":
            out.append("relative import")
        elif parts[0] == "dutylife" and len(parts) > 1:
            other = parts[1]
            if other != own and RANK[other] >= RANK[own] and not (RANK[own] == RANK[other] == 0):
                out.append(f"{own} imports {other}, which stands to its right")
        elif parts[0] in ONLY_IN and own not in ONLY_IN[parts[0]]:
            out.append(f"{own} imports {parts[0]}")
    return out


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(SRC)))
def test_a_file_imports_only_leftward(path: Path):
    assert stage(path) in RANK, "every module has its place in the order"
    assert breaches(path, path.read_text()) == []


@pytest.mark.parametrize(
    ("where", "text"),
    [
        ("lives/x.py", "from dutylife.models import fit_law"),
        ("lives/x.py", "import lifelines"),
        ("stock/x.py", "from dutylife import pipeline"),
        ("decisions/x.py", "from . import y"),
        ("decisions/x.py", "def f():\n    import seaborn"),
    ],
)
def test_a_planted_breach_is_seen(where: str, text: str):
    assert breaches(SRC / where, text)


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(SRC)))
def test_a_file_says_first_what_it_is_for(path: Path):
    assert (ast.get_docstring(ast.parse(path.read_text())) or "").strip()


def test_only_some_stages_write_files():
    writers = re.compile(r"\.(to_csv|to_parquet|write_text|write_bytes|mkdir|to_excel)\(")
    # prove keeps each finished fleet, so that a proof of hours can be taken up again; draft writes
    # the settings file it proposes; history keeps the months
    allowed = {
        "run_folder",
        "disk",
        "history",
        "privacy",
        "pipeline",
        "reports",
        "practice",
        "prove",
        "draft",
        "spread",  # what all processes need, once, in a temporary file
    }
    bad = [p.name for p in FILES if writers.search(p.read_text()) and stage(p) not in allowed]
    assert bad == []


def test_the_top_level_holds_nothing_else():
    tracked = subprocess.run(
        ["git", "ls-files"], cwd=TOP, capture_output=True, text=True, check=True
    ).stdout.split()
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE"} | {
        "src", "notebooks", "data_demo", "tests", "reports",
    }  # fmt: skip
    names = {t.split("/")[0] for t in tracked}
    assert {n for n in names if not n.startswith(".")} <= allowed


def test_every_public_name_is_there():
    for name in dutylife.__all__:
        assert getattr(dutylife, name) is not None
    assert len(dutylife.__all__) <= 30


def test_importing_the_package_stays_light():
    code = (
        "import sys, dutylife, dutylife.settings, dutylife.schema; "
        "print(sorted({'lifelines', 'scipy.stats', 'seaborn', 'matplotlib', 'duckdb'}"
        " & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
