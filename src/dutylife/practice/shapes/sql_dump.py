"""A dump of the workshop's database as SQL text, as a server's own tool writes it."""

import sqlite3
from contextlib import closing

from dutylife.practice.shapes.database import SHAPE as DATABASE
from dutylife.practice.shapes.shape import Shape, Tables

ROWS_A_STATEMENT = 50


def _written(value: object) -> str:
    if value is None:
        return "NULL"
    if isinstance(value, (int, float)):
        return str(value)
    text = str(value).replace("\\", "\\\\").replace("'", "\\'").replace("\n", "\\n")
    return f"'{text}'"


def _files(tables: Tables) -> dict[str, bytes]:
    out = [f"-- {tables.title}", "SET NAMES utf8;"]
    with closing(sqlite3.connect(":memory:")) as base:
        base.deserialize(DATABASE.files(tables)["workshop.sqlite"])
        names = [n for (n,) in base.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        for name in names:
            cursor = base.execute(f'SELECT * FROM "{name}"')
            columns = ",\n".join(
                f"  `{d[0]}` varchar(255) DEFAULT NULL" for d in cursor.description
            )
            out += [f"DROP TABLE IF EXISTS `{name}`;", f"CREATE TABLE `{name}` (\n{columns}\n);"]
            rows = [f"({','.join(map(_written, row))})" for row in cursor]
            out += [
                f"INSERT INTO `{name}` VALUES {','.join(rows[at : at + ROWS_A_STATEMENT])};"
                for at in range(0, len(rows), ROWS_A_STATEMENT)
            ]
    return {"workshop.sql": ("\n".join(out) + "\n").encode("utf-8")}


SHAPE = Shape(
    name="sql-dump", about="a dump of the database as SQL text, many rows a statement", files=_files
)
