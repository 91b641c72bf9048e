"""An unknown shelf is not an empty one; the counted order list is the next run's parts file."""

from pathlib import Path

import pytest
import python_calamine
import xlsxwriter

import dutylife as dl
from dutylife.pipeline import run
from dutylife.provenance import shipped_folder

CUSTOMERS = ("Kerb Store", "Stone Cutting Yard", "Setts and Slabs Crew")


def demo_copy(folder: Path, parts: str) -> Path:
    """The demo's settings with another parts file, or none; one duty's customers, to be quick."""
    source = shipped_folder("data_demo")
    for name in ("lines.csv", "machines.csv"):
        head, *rows = (source / name).read_text(encoding="utf-8").splitlines()
        kept_rows = [row for row in rows if any(c in row for c in CUSTOMERS)]
        (folder / name).write_text("\n".join([head, *kept_rows]) + "\n", encoding="utf-8")
    text = (source / "dutylife.toml").read_text(encoding="utf-8")
    head, *exports = text.split("[[exports]]")
    kept = [e for e in exports if "parts.csv" not in e]
    tail = [e for e in exports if "parts.csv" in e]
    after = ""  # whatever follows the parts export in the file
    for block in tail:
        found = [i for i in range(len(block)) if block.startswith("\n[", i)]
        own = [i for i in found if not block.startswith("\n[exports.", i)]
        after += block[own[0] :] if own else ""
    text = "[[exports]]".join([head, *kept]) + after
    if parts:
        text += f'\n[[exports]]\npath = "{parts}"\nkind = "parts"\n'
    path = folder / "dutylife.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.slow
def test_without_parts_file_then_counted(tmp_path: Path):
    first = run(demo_copy(tmp_path, ""), out=tmp_path / "uncounted")
    plan = dl.open_run(first.folder).table("stock_plan")
    held = plan[plan["reorder_point"] > 0]
    assert len(held) >= 5
    assert plan["order_now"].isna().all()
    assert held["sentence"].str.contains("count the shelf").all()

    rows = python_calamine.load_workbook(str(first.folder / "order-list.xlsx"))
    sheet = rows.get_sheet_by_index(0).to_python()
    head = [str(h) for h in sheet[0]]
    assert {"part_number", "counted", "on_hand"} <= set(head)
    counted, book = head.index("counted"), xlsxwriter.Workbook(tmp_path / "counted.xlsx")
    page = book.add_worksheet("order list")
    for r, row in enumerate(sheet):
        for c, cell in enumerate(row):
            if isinstance(cell, (int, float, str)):
                page.write(r, c, 1 if (r and c == counted) else cell)
    book.close()

    second = run(demo_copy(tmp_path, "counted.xlsx"), out=tmp_path / "counted")
    after = dl.open_run(second.folder).table("stock_plan").set_index("part_number")
    assert (after.loc[held["part_number"], "on_hand"] == 1).all()
    assert after["order_now"].notna().all()
    short = after["reorder_point"] > 1
    assert short.any()
    assert (after.loc[short, "order_now"] > 0).all()
