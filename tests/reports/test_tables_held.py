"""Tables of a run read by many sections: read once, yet never stale and never shared."""

import pandas as pd
from made_run import make_run

from dutylife.provenance import open_run


def test_a_table_changed_by_one_reader_is_whole_for_the_next(tmp_path):
    run = open_run(make_run(tmp_path / "run"))
    first = run.table("units")
    before = first.copy()
    first["unit_id"] = "changed"
    first.loc[:, "hours_per_week"] = -1.0
    first.pop("equipment_class")
    pd.testing.assert_frame_equal(run.table("units"), before)


def test_a_file_written_anew_is_read_anew(tmp_path):
    run = open_run(make_run(tmp_path / "run"))
    path = run.folder / "tables" / "units.csv"
    n = len(run.table("units"))
    header, *rows = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text(header + "".join(rows[:-1]), encoding="utf-8")
    assert len(run.table("units")) == n - 1
