"""Parquet files: flat columns to text, nested ones as the levels of a JSON file."""

import io

from dutylife.errors import ExportError
from dutylife.intake.readers.levels import levels_of
from dutylife.intake.readers.registry import Reader
from dutylife.intake.readers.sheet import Sheet, Source, no_table, sheet_of
from dutylife.intake.readers.workbook import cell_text
from dutylife.intake.readers.workbook_area import MOST_CELLS
from dutylife.settings import Export


def read_parquet(source: Source, export: Export, _key: str) -> list[Sheet]:
    """Read a Parquet file.

    Raises
    ------
    ExportError
        It is damaged.
    """
    import pyarrow as pa  # slow to import
    import pyarrow.parquet as pq

    try:
        file = pq.ParquetFile(io.BytesIO(source.data))
        if file.metadata.num_rows * file.metadata.num_columns > MOST_CELLS:
            raise no_table(
                f"The file holds {file.metadata.num_rows} rows of {file.metadata.num_columns} "
                f"columns; at most {MOST_CELLS} cells are read.", source,
                "export the columns and years that count",
            )  # fmt: skip
        table = file.read()
        records = table.to_pylist()
    except (pa.ArrowException, OSError, OverflowError, ValueError) as error:
        if isinstance(error, ExportError):
            raise
        said = str(error).partition("\n")[0] or type(error).__name__
        raise no_table(
            f"The Parquet file can't be opened: {said}.", source,
            "copy or export it again; it may have been cut off on its way",
        ) from error  # fmt: skip
    if any(pa.types.is_nested(f.type) for f in table.schema):
        return levels_of(source, [("", records)], export.decimal)
    header = tuple(table.column_names)
    rows = [[cell_text(r[name], export.decimal) for name in header] for r in records]
    return [sheet_of(source, "", rows, header=header, is_typed=True)]


READER = Reader(
    name="parquet",
    endings=(".parquet", ".pq"),
    read=read_parquet,
    is_mine=lambda head: head.startswith(b"PAR1"),
)
