"""From typed text and a parts file to the verdict of a reading, each part by its own figures."""

import pytest

from dutylife.components import shipped_components
from dutylife.decisions import judge_readings


@pytest.mark.parametrize(
    ("fitted", "verdict"), [("CAP-10", "keep"), ("CAP-5", "reject"), ("CAP-0", "no verdict")]
)
def test_one_text_is_judged_by_the_part_that_was_fitted(code, fitted, verdict):
    # 10 and 5 kilohm caps side by side, and one whose marking nobody noted
    shelf = [
        {"part_number": "CAP-10", "description": "plug cap", "nominal": 10.0, "unit": "kOhm"},
        {"part_number": "CAP-5", "description": "plug cap", "nominal": 5000.0, "unit": "Ohm"},
        {"part_number": "CAP-0", "description": "plug cap"},
    ]
    coded = code(
        {"part_number": fitted, "description": "plug cap"},
        {"work_done": "no spark, fitted new plug cap, new one reads 9.9k"},
        shelf=[row | {"source_row": n} for n, row in enumerate(shelf, start=2)],
    )
    found = judge_readings(coded["readings"], coded["catalogue"], shipped_components())
    assert found["moment"].tolist() == ["as left"]
    assert found["part_number"].tolist() == [fitted]
    assert found["verdict"].tolist() == [verdict]
