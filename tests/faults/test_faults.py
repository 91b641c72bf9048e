"""What goes wrong with disks, files and other programs: told with exit 2, nothing half written."""

import os
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parent))

from small_shop import write_shop  # noqa: E402

from dutylife.cli import main  # noqa: E402
from dutylife.disk import alone_in, swap  # noqa: E402
from dutylife.errors import DutylifeError, RunError  # noqa: E402
from dutylife.intake import read_exports, readers  # noqa: E402
from dutylife.run_folder import swapped_in  # noqa: E402
from dutylife.settings import settings_from  # noqa: E402


def check(settings: Path, out: Path | str) -> tuple[int, str]:
    """Exit code and message of `dutylife check`, which reads, codes and writes tables."""
    done = CliRunner().invoke(main, ["check", str(settings), "--out", str(out)])
    return done.exit_code, done.output


def told(code: int, text: str, *words: str) -> None:
    assert code == 2, text
    assert "Traceback" not in text
    assert "Where:" in text
    assert "Mend:" in text
    for word in words:
        assert word in text, text


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    return write_shop(tmp_path / "shop")


def files_in(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def made(folder: Path, text: str = "first") -> dict[str, bytes]:
    with swapped_in(folder) as new:
        (new / "run.json").write_text("{}")
        (new / "table.csv").write_text(text)
    return files_in(folder)


def test_a_file_larger_than_the_system_allows(shop: Path, tmp_path: Path):
    before = made(tmp_path / "out")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (2000, hard))
    try:
        code, text = check(shop, tmp_path / "out")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    told(code, text, "larger than the system allows")
    assert files_in(tmp_path / "out") == before
    assert {p.name for p in tmp_path.iterdir()} == {"shop", "out"}


def test_a_full_disk(shop: Path, tmp_path: Path):
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = shutil.which("mount") and subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "none", str(disk)], check=False,
        capture_output=True,
    ).returncode == 0  # fmt: skip
    if not mounted:
        pytest.skip("no small disk can be mounted here")
    try:
        before = made(disk / "out")
        code, text = check(shop, disk / "out")
        told(code, text, "no space left")
        assert files_in(disk / "out") == before
        assert {p.name for p in disk.iterdir()} == {"out"}
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def test_a_folder_that_may_not_be_written(shop: Path):
    if not Path("/sys").is_dir():
        pytest.skip("no folder here that even the superuser may not write to")
    told(*check(shop, "/sys/of-dutylife/run"), "Nothing could be written", "/sys/of-dutylife")


@pytest.mark.parametrize("planted", ["{}.new", "{}.old", "{}.lock"])
def test_a_link_planted_beside_the_folder_leads_nowhere(tmp_path: Path, planted: str):
    kept = tmp_path / "kept"
    kept.mkdir()
    (kept / "letter.txt").write_text("mine")
    (tmp_path / planted.format("out")).symlink_to(kept)
    try:
        made(tmp_path / "out")
    except RunError as error:
        assert "link" in error.what  # noqa: PT017
    assert files_in(kept) == {"letter.txt": b"mine"}


def test_a_file_that_changes_while_it_is_read(shop: Path, monkeypatch: pytest.MonkeyPatch):
    read, lines = readers.read_sheets, shop.parent / "jobs_of_the_yard.csv"

    def reads_slowly(*args: object, **more: object) -> object:
        sheets = read(*args, **more)
        with lines.open("a") as file:
            file.write("half a li")
        return sheets

    from dutylife.intake import raw

    monkeypatch.setattr(raw, "read_sheets", reads_slowly)
    told(*check(shop, shop.parent / "out"), "changed while it was read", "jobs_of_the_yard.csv")
    assert not (shop.parent / "out").exists()


def test_a_workbook_that_was_cut_off(shop: Path):
    import xlsxwriter

    path = shop.parent / "jobs.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet()
        for row in range(400):
            sheet.write_row(row, 0, ["job", "date", "machine", str(row)])
    whole = path.read_bytes()
    shop.write_text(shop.read_text().replace("jobs_of_the_yard.csv", "jobs.xlsx"))
    for share in (0.1, 0.5, 0.9, 0.99):
        path.write_bytes(whole[: int(share * len(whole))])
        told(*check(shop, shop.parent / "out"), "jobs.xlsx", "can't be opened")


COLUMNS = {"ticket": "job", "service_date": "date", "unit_id": "machine"}


def base_with_rows(path: Path) -> sqlite3.Connection:
    base = sqlite3.connect(path, isolation_level=None)
    base.execute("CREATE TABLE jobs (job TEXT, date TEXT, machine TEXT)")
    rows = [(f"J{n}", f"2024-01-{1 + n:02d}", "M1") for n in range(20)]
    base.executemany("INSERT INTO jobs VALUES (?, ?, ?)", rows)
    return base


def read_base(folder: Path, path: str = "shop.db") -> int:
    export = {"path": path, "columns": COLUMNS}
    given = settings_from({"exports": [export], "duty": {"all": "yard"}}, folder=folder)
    return len(read_exports(given).tables["service_lines"])


@pytest.mark.parametrize("path", ["shop.db", "sqlite:///shop.db"])
def test_a_locked_sqlite_file(tmp_path: Path, path: str):
    base = base_with_rows(tmp_path / "shop.db")
    assert read_base(tmp_path, path) == 20
    base.execute("BEGIN EXCLUSIVE")
    with pytest.raises(DutylifeError, match="locked") as caught:
        read_base(tmp_path, path)
    assert caught.value.mend
    base.execute("INSERT INTO jobs VALUES ('J99', '2024-02-01', 'M1')")
    with pytest.raises(DutylifeError, match="writing the SQLite file"):
        read_base(tmp_path, path)
    base.execute("ROLLBACK")
    assert read_base(tmp_path, path) == 20


def test_rows_that_wait_in_a_journal_are_not_lost_unseen(tmp_path: Path):
    base = base_with_rows(tmp_path / "shop.db")
    base.execute("PRAGMA journal_mode=WAL")
    base.execute("INSERT INTO jobs VALUES ('J99', '2024-02-01', 'M1')")
    with pytest.raises(DutylifeError, match="shop.db-wal"):
        read_base(tmp_path)
    base.close()
    assert read_base(tmp_path) == 21


@pytest.mark.parametrize("mode", ["DELETE", "WAL"])
def test_reading_a_file_leaves_nothing_beside_it(tmp_path: Path, mode: str):
    base = base_with_rows(tmp_path / "shop.db")
    base.execute(f"PRAGMA journal_mode={mode}")
    base.close()
    before = (tmp_path / "shop.db").read_bytes()
    assert read_base(tmp_path) == 20
    assert [p.name for p in tmp_path.iterdir()] == ["shop.db"]
    assert (tmp_path / "shop.db").read_bytes() == before


@pytest.mark.database
def test_a_database_connection_that_is_dropped():
    import sqlalchemy as sa

    from dutylife.errors import ExportError
    from dutylife.intake.readers import read_sheets
    from dutylife.settings import Export

    address = os.environ["DUTYLIFE_DATABASE"]
    known = os.path.expandvars(address).replace("postgresql://", "postgresql+psycopg://")
    engine = sa.create_engine(known, isolation_level="AUTOCOMMIT")
    slow = (
        "CREATE VIEW slow_jobs AS SELECT n, pg_sleep(0.5)::text AS s FROM generate_series(1, 200) n"
    )
    with engine.connect() as connection:
        connection.execute(sa.text(slow))
    found: list[BaseException] = []

    def reads() -> None:
        export = Export.model_validate({"path": address, "sheet": "slow_jobs"})
        try:
            read_sheets(address, export, "exports.1")
        except BaseException as error:
            found.append(error)

    reader = threading.Thread(target=reads)
    reader.start()
    try:
        with engine.connect() as connection:
            for _ in range(200):
                cut = connection.execute(
                    sa.text("SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity "
                            "WHERE query LIKE '%slow_jobs%' AND pid <> pg_backend_pid()")
                ).scalar()  # fmt: skip
                if cut:
                    break
                time.sleep(0.1)
            reader.join(60)
    finally:
        with engine.connect() as connection:
            connection.execute(sa.text("DROP VIEW slow_jobs"))
        engine.dispose()
    assert len(found) == 1
    assert isinstance(found[0], ExportError), found[0]
    assert os.environ["DUTYLIFE_DATABASE_PASSWORD"] not in str(found[0])
    assert found[0].mend


def test_the_second_run_into_a_folder_is_refused(shop: Path, tmp_path: Path):
    folder = tmp_path / "out"
    code = f"""
import sys, time
from pathlib import Path
from dutylife.run_folder import swapped_in
with swapped_in(Path({str(folder)!r})) as new:
    (new / "run.json").write_text("{{}}")
    print("at work", flush=True)
    time.sleep(600)
"""
    first = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    try:
        assert first.stdout.readline() == "at work\n"
        told(*check(shop, folder), "Another run is at work in this folder", str(first.pid))
        assert (tmp_path / "out.new" / "run.json").is_file(), "the first one's work is untouched"
    finally:
        first.send_signal(signal.SIGKILL)
        first.wait()
        first.stdout.close()
    # the lock and the half-built folder of a dead process hold nobody
    assert (tmp_path / "out.lock").exists()
    assert check(shop, folder)[0] == 0
    assert {p.name for p in tmp_path.iterdir()} == {"shop", "out"}


def test_a_lock_is_let_go_and_may_be_taken_again_within(tmp_path: Path):
    folder = tmp_path / "a" / "b"
    with alone_in(folder), alone_in(folder):
        assert (tmp_path / "a" / "b.lock").is_file()
    assert not (tmp_path / "a").exists()


def test_a_kill_between_two_renames_is_mended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Where names can't be exchanged in one step, the run before comes back with the next run."""
    folder = tmp_path / "out"
    before = made(folder)
    monkeypatch.setattr(swap, "_exchanged", lambda *_: False)
    folder.rename(tmp_path / "out.old")
    with swapped_in(folder) as new:
        assert files_in(folder) == before
        (new / "run.json").write_text("{}")
        (new / "table.csv").write_text("first")
    assert files_in(folder) == before
    assert made(folder, "second") != before
    assert {p.name for p in tmp_path.iterdir()} == {"out"}


def test_a_swap_leaves_no_moment_without_a_run(tmp_path: Path):
    """Another process looks all the time while runs are put in place."""
    folder = tmp_path / "out"
    made(folder)
    missing: list[int] = []
    stop = threading.Event()

    def looks() -> None:
        while not stop.is_set():
            if not os.path.lexists(folder / "run.json"):
                missing.append(1)

    looker = threading.Thread(target=looks)
    looker.start()
    try:
        for number in range(100):
            made(folder, f"run {number}")
    finally:
        stop.set()
        looker.join()
    if sys.platform not in ("linux", "darwin"):
        pytest.skip("no exchange of names here")
    assert missing == []
